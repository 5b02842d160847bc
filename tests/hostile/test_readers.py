"""Every reader of a file that a person may bring: whatever the bytes, an answer or one line that says what is wrong.

The long runs, guided by coverage, are tests/bench/measure/fuzz.py, whose targets and mutations these are.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from disc.errors import BadInput
from disc.job import create_job, open_job
from disc.job.journal import JOURNAL, STAGING_FOLDER
from disc.records import Plate


def _fuzz():
    path = Path(__file__).parents[1] / "bench" / "measure" / "fuzz.py"
    spec = importlib.util.spec_from_file_location("fuzz_bench", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["fuzz_bench"] = module
    spec.loader.exec_module(module)
    return module


FUZZ = _fuzz()
BAG_TARGETS = {name for name in FUZZ.TARGETS if name.startswith("bag-")}
SLOW = BAG_TARGETS | {
    "musicxml",
    "mxl",
    "abc",
    "kern",
    "query",
    "own-midi",
    "plan",
    "jpeg",
    "png",
    "tiff",
    "log-photo",
    "journal",
}


@pytest.mark.parametrize("name", FUZZ.TARGETS)
def test_odd_bytes_are_answered_or_refused_in_one_line(name, tmp_path):
    trial = FUZZ.Trial(name, tmp_path)
    inputs = FUZZ.mutations(trial.seeds, np.random.default_rng(20260401))
    for _ in range(12 if name == "abc" else 30 if name in SLOW else 150):
        trial(next(inputs))
    assert trial.faults == []
    assert trial.strays == set()
    assert name == "desk" or 0 < trial.refused < trial.tried  # the mutations reach beyond the first check


def test_what_hypothesis_invents_is_answered_or_refused_in_one_line(tmp_path):
    """The quick readers, each with a few of the inputs that the bench goes on with for minutes."""
    for name in sorted(FUZZ.TARGETS.keys() - SLOW):
        trial = FUZZ.Trial(name, tmp_path)
        FUZZ.try_invented(trial, 20260403, 25)
        assert trial.faults == [] and trial.strays == set(), name
        assert trial.tried >= 25


def test_a_refusal_that_quotes_a_broken_name_is_one_line(tmp_path):
    """Found by the bench: a key with a line break in it, quoted as it stands."""
    create_job(tmp_path / "job", Plate(28.0))
    (tmp_path / "job" / "job.json").write_text('{"schema_version": 1, "plate": {"diameter_mm": 28}, "a\\nb": 1}')
    with pytest.raises(BadInput, match="the job file is damaged: a b: ") as caught:
        open_job(tmp_path / "job")
    assert len(str(caught.value).splitlines()) == 1


def test_a_reader_that_writes_elsewhere_is_seen(tmp_path):
    """The watch itself: what the test above rests on."""
    trial = FUZZ.Trial("rates", tmp_path)
    trial.reader = lambda path: (tmp_path / "stray").write_text("x")
    trial(b"")
    assert trial.strays == {f"open {tmp_path / 'stray'}"}


@pytest.mark.parametrize("key", ["names", "removed"])
def test_the_journal_of_a_foreign_job_does_not_reach_out_of_it(key, tmp_path):
    outside = tmp_path / "mine.txt"
    outside.write_text("mine")
    create_job(tmp_path / "job", Plate(28.0))
    staging = tmp_path / "job" / STAGING_FOLDER
    staging.mkdir()
    names = {"names": [], "removed": []} | {key: ["../mine.txt"]}
    (staging / JOURNAL).write_text(str(names).replace("'", '"'))
    with pytest.raises(BadInput, match="names a file outside the job"):
        open_job(tmp_path / "job")
    assert outside.read_text() == "mine"
