"""Every script of the bench still loads and says how it is run; those that can be tiny are run on something tiny.

A bench that nobody runs dies unnoticed: a renamed function is seen here, not at the next measurement.
"""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from disc.library.records import ReferenceTune, TuneKey
from disc.tune.score.records import TICKS_PER_QUARTER

BENCH = Path(__file__).parent
ROOT = BENCH.parents[1]
SCRIPTS = sorted(
    path.relative_to(BENCH).as_posix()
    for folder in ("measure", "fit", "truth", "pictures")
    for path in (BENCH / folder).rglob("*.py")
    if path.name != "__init__.py"
)
# Needed for making or fitting alone, and in no list of dependencies: large, or not for every machine.
NOT_EVERYWHERE = {"torch", "mitsuba", "pyluxcore", "atheris", "embreex", "trimesh", "mapbox_earcut", "sklearn"}


def loaded(script: str, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The script as a module; the test is skipped where a library is lacking that not every machine has."""
    path = BENCH / script
    monkeypatch.syspath_prepend(str(path.parent))
    spec = importlib.util.spec_from_file_location("script_" + path.stem, path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(sys.modules, spec.name, module)
    before = set(sys.modules)
    try:
        spec.loader.exec_module(module)
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] not in NOT_EVERYWHERE:
            raise
        pytest.skip(f"{error.name} is not installed")
    finally:
        for name in set(sys.modules) - before:  # siblings found by the folder alone, which two folders may both have
            if getattr(sys.modules[name], "__file__", None) == str(path.parent / f"{name}.py"):
                del sys.modules[name]
    return module


def run(module: ModuleType, monkeypatch: pytest.MonkeyPatch, *words: object) -> int:
    """The script's main with these words on its command line; its exit code."""
    monkeypatch.setattr(sys, "argv", [str(module.__file__), *map(str, words)])
    try:
        module.main()
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else int(end.code is not None)
    return 0


@pytest.mark.parametrize("script", SCRIPTS)
def test_it_loads_and_says_how_it_is_run(script, monkeypatch, capsys):
    module = loaded(script, monkeypatch)
    assert module.__doc__
    if not hasattr(module, "main"):
        return
    if "argparse" in (BENCH / script).read_text(encoding="utf-8"):
        assert run(module, monkeypatch, "--help") == 0
        assert "usage:" in capsys.readouterr().out
    else:
        assert Path(script).name in module.__doc__ or Path(script).stem in module.__doc__


# ---- tiny runs


def test_every_mutation_names_text_that_stands_there_once_and_tests_that_exist(monkeypatch):
    """So that a changed line is seen at once, not at the next hour-long run of the table."""
    mutate = loaded("measure/mutate.py", monkeypatch)
    assert len(mutate.MUTATIONS) >= 40
    assert len({m.what for m in mutate.MUTATIONS}) == len(mutate.MUTATIONS)
    for mutation in mutate.MUTATIONS:
        text = (mutate.ROOT / mutation.file).read_text(encoding="utf-8")
        assert text.count(mutation.old) == 1 and mutation.old != mutation.new, mutation.what
        for word in mutation.tests.split():
            assert not word.startswith("tests/") or (mutate.ROOT / word).is_file(), mutation.what


def test_a_reader_is_fed_damaged_bytes(tmp_path):
    """In a process of its own, whose memory is counted: this one's has held other tests' photographs."""
    words = ("--here", "comb", "--plain", "--minutes", "0.01", "--keep", str(tmp_path))
    script = [sys.executable, str(BENCH / "measure" / "fuzz.py")]
    done = subprocess.run(
        [*script, *words], capture_output=True, text=True, env={**os.environ, "PYTHONPATH": str(ROOT)}
    )
    assert done.returncode == 0, done.stderr
    row = json.loads(done.stdout.splitlines()[-1])
    assert row["tried"] > 0 and row["faults"] == 0


def test_uses_of_the_lowest_versions_are_told_apart(monkeypatch, capsys):
    lowest = loaded("measure/lowest_versions.py", monkeypatch)

    def fails() -> None:
        raise RuntimeError("exit code 2: too old")

    assert lowest.tried("report", lambda: None) and not lowest.tried("desk", fails)
    assert "desk       FAILED: exit code 2: too old" in capsys.readouterr().out


SONG = (67, 71, 74, 71, 72, 71, 69, 66, 67, 69, 71, 72, 74, 74, 67, 67) * 4  # quarters of 4/4 in G, invented


def song() -> ReferenceTune:
    """The song as the library would hold it."""
    onset = np.arange(len(SONG), dtype=np.int64) * TICKS_PER_QUARTER
    bar = np.arange(len(SONG), dtype=np.int64) // 4 + 1
    pitch = np.array(SONG, dtype=np.int64)
    whole = np.full(len(SONG), TICKS_PER_QUARTER, dtype=np.int64)
    return ReferenceTune(TuneKey("song.abc", 1), "A song", "own", onset, whole, pitch, bar, (4, 4), 1)


def test_a_damaged_disc_is_made_of_a_tune_and_checked(monkeypatch):
    truth, measure = loaded("truth/check_discs.py", monkeypatch), loaded("measure/check.py", monkeypatch)
    made = (truth.simulate(song(), np.random.default_rng(seed)) for seed in range(10))
    disc = next(one for one in made if one is not None)
    assert len(disc.played) > len(SONG) / 2 and disc.gone
    turn = measure.read(disc, disc.pins)
    assert turn.tune is not None
    assert measure.checked(turn).findings is not None


def test_a_practice_disc_plays_a_part_of_its_tune(monkeypatch):
    practice = loaded("truth/practice.py", monkeypatch)
    disc = practice.practice_disc(song(), practice.LEVELS["mild"], np.random.default_rng(3))
    assert disc is not None and (disc.melody >= 0).sum() >= 12


def test_a_turn_is_read_and_scored(monkeypatch):
    score, corpus = loaded("measure/score.py", monkeypatch), loaded("truth/tune_corpus.py", monkeypatch)
    notes = tuple((Fraction(k), Fraction(1), pitch, False) for k, pitch in enumerate(SONG))
    melody = corpus.Melody("a song", "own", "held out", notes, (4, 4), 1, 7, "major", Fraction(len(SONG)))
    assert score.measure_one(melody, 0, 0.05, 5, True)["collection"] == "own"
