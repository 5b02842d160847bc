"""The package from Python: its examples run, its names load nothing until they are asked for, none hides a room."""

from __future__ import annotations

import doctest
import subprocess
import sys
from pathlib import Path

import pytest

import disc
from disc import api
from disc.library.index import library_store
from disc.library.read import read_files
from disc.words import no_progress

PACKAGE = Path(disc.__file__).parent
# Invented: a scale's worth of teeth, and a melody on them of eight bars' shape known to every child (18th century).
TUNE = "X:1\nT:A star\nM:4/4\nL:1/4\nQ:1/4=96\nK:C\nCCGG|AAG2|FFEE|DDC2|\n"
COMB = "number,side,tip_r_mm,tip_theta_deg,pitch\n" + "".join(
    f"{number},upper,{5 + 0.6 * number:.2f},0,{pitch}\n"
    for number, pitch in enumerate((72, 74, 76, 77, 79, 81, 83, 84), start=1)
)


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A folder with a tune and a comb, and a library of one small collection."""
    (tmp_path / "tune.abc").write_text(TUNE, encoding="utf-8")
    (tmp_path / "comb.csv").write_text(COMB, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(read_files, "CORPUS_COLLECTIONS", ("miscFolk",))
    library_store.build_library(no_progress)
    return tmp_path


@pytest.mark.slow
def test_the_examples_run(bench):
    finder = doctest.DocTestFinder(recurse=False)
    names = ("design_disc", "open_job", "read_photographs", "resolve", "transcribe", "identify", "check_disc", "plan")
    assert sorted(names) == disc.__all__
    for thing in (disc, api, *(getattr(api, name) for name in names)):
        tests = finder.find(thing, globs={})
        assert sum(len(test.examples) for test in tests) >= 2, thing
        for test in tests:
            said: list[str] = []
            result = doctest.DocTestRunner().run(test, out=said.append)
            assert result.failed == 0, "".join(said)


def test_names_are_offered_and_load_nothing():
    code = "import sys, disc; dir(disc); print(' '.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert {name for name in loaded if name.split(".")[0] in {"disc", "numpy", "scipy", "pydantic"}} == {"disc"}
    code = "import sys, disc; disc.plan; print(' '.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert {"numpy", "cv2", "pydantic"} & set(done.stdout.split()) == set()


def test_no_name_hides_a_room():
    rooms = {path.stem if path.suffix else path.name for path in PACKAGE.iterdir()}
    assert rooms & set(disc.__all__) == set()
    with pytest.raises(AttributeError, match="sing"):
        disc.sing  # noqa: B018


def test_types_are_shipped():
    assert (PACKAGE / "py.typed").is_file()
    assert '"py.typed"' in (PACKAGE.parent / "pyproject.toml").read_text(encoding="utf-8")
