"""Shared by all tests: floating-point faults raise, and a scratch job made from invented material."""

from __future__ import annotations

import os
from pathlib import Path
from types import CodeType

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

# The same examples at every run, however busy the machine: what fails on one machine fails on all.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")

# One thread a library: results and times must not depend on how many cores there are.
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

TESTS = Path(__file__).parent
# What a person or another program would use: the page in a browser, the command line.
WHOLE_FIXTURES = {"open_desk", "browser", "page"}
WHOLE_NAMES = {"subprocess", "CliRunner", "runner", "invoke", "run_disc", "running_desk", "running_command"}
# Libraries that judge what ours says, and the files whose truth is a printed table or a standard's own examples.
OUTSIDE = {
    "bagit", "ezdxf", "librosa", "mido", "mir_eval", "music21", "pyscipopt", "rocrate", "scipy", "shapely", "skimage",
    "trackpy", "verovio",
}  # fmt: skip
PRINTED = {
    "comb/test_bar.py", "library/test_abc.py", "measures/test_measures.py", "repin/test_dividing.py",
    "repin/test_gcode.py", "tune/test_abc_standard.py",
}  # fmt: skip


def pytest_collection_finish() -> None:
    """Draw once before the tests: at its first draw Hypothesis reads the program's modules for constants and builds its
    table of letters, a second or two, which its check for slow strategies would lay to the first test's charge."""

    @settings(max_examples=5, database=None, suppress_health_check=[HealthCheck.too_slow])
    @given(st.integers(), st.text(), st.floats())
    def draw(number: int, letters: str, value: float) -> None:
        """Nothing is asked of them."""

    draw()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark each test by what it asks: one function or room (unit), an outside judge (outside), the whole program."""
    for item in items:
        if isinstance(item, pytest.Function):
            item.add_marker(getattr(pytest.mark, _kind_of(item)))


def _kind_of(item: pytest.Function) -> str:
    function = getattr(item.function, "hypothesis", None)
    function = item.function if function is None else function.inner_test
    names = _names_of(function.__code__)
    if WHOLE_FIXTURES & set(item.fixturenames) or WHOLE_NAMES & names:
        return "end_to_end"
    used = (item.module.__dict__.get(name) for name in names)
    roots = {str(getattr(one, "__module__", None) or getattr(one, "__name__", "")).partition(".")[0] for one in used}
    is_printed = item.path.is_relative_to(TESTS) and item.path.relative_to(TESTS).as_posix() in PRINTED
    return "outside" if is_printed or OUTSIDE & roots else "unit"


def _names_of(code: CodeType) -> set[str]:
    """Names that a function looks up, those in functions within it too."""
    inner = (one for one in code.co_consts if isinstance(one, CodeType))
    return set(code.co_names).union(*map(_names_of, inner))


@pytest.fixture(autouse=True)
def floating_point_faults_raise():
    with np.errstate(divide="raise", invalid="raise"):
        yield


@pytest.fixture(autouse=True)
def own_user_cache(tmp_path_factory, monkeypatch):
    """No test reads or writes the library, or the lenses, of the person who runs it."""
    monkeypatch.setenv("DISC_LIBRARY", str(tmp_path_factory.mktemp("library")))
    monkeypatch.setenv("DISC_LENSES", str(tmp_path_factory.mktemp("lenses")))
