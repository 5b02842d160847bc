"""Shared by all tests: floating-point faults raise, and a scratch job made from invented material."""

from __future__ import annotations

import os

import numpy as np
import pytest
from hypothesis import settings

# The same examples at every run: what fails on one machine fails on all.
settings.register_profile("repeatable", derandomize=True)
settings.load_profile("repeatable")

# One thread a library: results and times must not depend on how many cores there are.
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")


@pytest.fixture(autouse=True)
def floating_point_faults_raise():
    with np.errstate(divide="raise", invalid="raise"):
        yield


@pytest.fixture(autouse=True)
def own_user_cache(tmp_path_factory, monkeypatch):
    """No test reads or writes the library, or the lenses, of the person who runs it."""
    monkeypatch.setenv("DISC_LIBRARY", str(tmp_path_factory.mktemp("library")))
    monkeypatch.setenv("DISC_LENSES", str(tmp_path_factory.mktemp("lenses")))
