"""Bad days in short: killed at any moment, moved elsewhere, odd names, a clock set back.

The long runs are tests/bench/measure/hostile.py.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

import disc.job.folder
from disc.job import open_for_writing, open_job
from disc.job.journal import STAGING_FOLDER
from disc.report.log import add_step, in_order, load_log

OLD_JOB = Path(__file__).parent / "old-jobs" / "schema-1" / "job"
# One edit after the other, as the desk does them, with a file large enough that a kill falls into its writing.
EDITS = """
import sys
from pathlib import Path
from disc.job.corrections import Action, Correction
from disc.job import open_for_writing
from disc.records import Side
with open_for_writing(Path(sys.argv[1])) as job:
    print("ready", flush=True)
    for turn in range(100000):
        done, undone = job.corrections()
        new = Correction(Action.CHANGE, Side.UPPER, 5.5, 37.0, (("height_mm", 0.001 * (turn % 500)),))
        with job.step(f"edit {turn}") as stage:
            job.stage_edit(stage, (*done[-20:], new))
            stage.write_bytes("out/large.bin", bytes([turn % 256]) * 400_000)
"""


@pytest.fixture
def job_folder(tmp_path):
    shutil.copytree(OLD_JOB, tmp_path / "job")
    return tmp_path / "job"


def test_killed_at_any_moment_the_last_edit_is_whole(job_folder):
    rng = np.random.default_rng(20260402)
    edits = 0
    for _ in range(6):
        process = subprocess.Popen([sys.executable, "-c", EDITS, str(job_folder)], stdout=subprocess.PIPE, text=True)
        assert process.stdout.readline() == "ready\n"
        time.sleep(rng.uniform(0.0, 0.25))
        os.kill(process.pid, signal.SIGKILL)
        process.communicate()
        job = open_job(job_folder)
        last = job.content.runs[-1]
        edits = max(edits, sum(run.command.startswith("edit") for run in job.content.runs))
        assert hashlib.sha256((job_folder / "pins.csv").read_bytes()).hexdigest() == job.content.pins_sha256
        done, _ = job.corrections()
        if last.command.startswith("edit"):
            turn = int(last.command.split()[1])
            assert done[-1].changes == (("height_mm", 0.001 * (turn % 500)),)
            assert (job_folder / "out/large.bin").read_bytes() == bytes([turn % 256]) * 400_000
            assert next(pin for pin in job.pins() if pin.id == 1).height_mm == pytest.approx(0.001 * (turn % 500))
        assert not (job_folder / STAGING_FOLDER).exists()
        assert not list(job_folder.rglob("*.tmp"))
    assert edits > 0  # the kills fell into the work and not before it


@pytest.mark.parametrize(
    "name", ["a disc with spaces", "Käthes größte Scheibe", "時計の円盤", "-n", "100% #1 [new] 'x'"]
)
def test_a_job_copied_elsewhere_under_any_name_goes_on(name, job_folder, tmp_path):
    place = tmp_path / "elsewhere" / name
    shutil.copytree(job_folder, place)
    shutil.rmtree(job_folder)
    with open_for_writing(place) as job, job.step("probe") as stage:
        stage.write_text("out/größe 円.txt", "written")
    job = open_job(place)
    assert len(job.pins()) == 6 and job.out("größe 円.txt").read_text() == "written"
    assert str(job_folder) not in (place / "job.json").read_text(encoding="utf-8")


def test_a_clock_that_goes_backwards_loses_no_order(job_folder, monkeypatch):
    hours = iter(range(23, 0, -1))
    monkeypatch.setattr(disc.job.folder, "now_text", lambda: f"2020-01-01T{next(hours):02d}:00:00+00:00")
    with open_for_writing(job_folder) as job:
        for number in range(3):
            with job.step(f"probe {number}"):
                pass
    runs = open_job(job_folder).content.runs
    assert [run.command for run in runs[-3:]] == ["probe 0", "probe 1", "probe 2"]
    assert runs[-1].at < runs[-2].at < runs[-3].at


def test_a_clock_set_back_keeps_the_bench_log_in_its_order(job_folder, monkeypatch):
    import disc.report.log as log

    times = iter([log.datetime(2026, 5, 2, 10), log.datetime(2026, 5, 1, 9), log.datetime(2020, 1, 1)])

    class SetBack:
        @staticmethod
        def now():
            return next(times)

    with open_for_writing(job_folder) as job:
        # The fixture's own step is of the real present; without it the log begins in May.
        shutil.move(job.path("log.json"), job_folder.parent / "log.json")
        monkeypatch.setattr(log, "datetime", SetBack)
        for note in ("first", "second", "third"):
            add_step(job, note)
        assert [step.note for step in in_order(load_log(job))][1:] == ["first", "second", "third"]
