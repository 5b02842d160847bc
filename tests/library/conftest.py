"""A small library of the installed corpus, read once for all tests of this room."""

from __future__ import annotations

import pytest

from disc.library.index import library_store as store
from disc.library.read import read_files as reading
from disc.words import no_progress

SMALL = ("airdsAirs", "miscFolk", "nottingham-dataset")


@pytest.fixture(scope="session")
def small_folder(tmp_path_factory):
    """A built library of three collections (about 1,370 tunes)."""
    folder = tmp_path_factory.mktemp("small-library")
    patch = pytest.MonkeyPatch()
    patch.setattr(reading, "CORPUS_COLLECTIONS", SMALL)
    store.build_library(no_progress, folder)
    patch.undo()
    return folder


@pytest.fixture
def small(small_folder, monkeypatch):
    """The index of the small library, opened; commands see it too."""
    monkeypatch.setattr(reading, "CORPUS_COLLECTIONS", SMALL)
    monkeypatch.setenv("DISC_LIBRARY", str(small_folder))
    opened = store.open_library(no_progress)
    assert not opened.remarks  # it is in force, not built anew
    return opened.index
