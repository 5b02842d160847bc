"""Jobs of every schema version ever shipped open; see old-jobs/README.md for the rule."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from disc.check.decisions import load_decisions
from disc.job import open_for_writing, open_job
from disc.job.schema import SCHEMA_VERSION
from disc.records import Condition, Side, Turns
from disc.report.log import load_log

OLD_JOBS = Path(__file__).parent / "old-jobs"


@pytest.mark.parametrize("version", range(1, SCHEMA_VERSION + 1))
def test_a_job_of_this_schema_opens(version, tmp_path):
    folder = tmp_path / "job"
    shutil.copytree(OLD_JOBS / f"schema-{version}" / "job", folder)
    job = open_job(folder)
    assert job.content.schema_version == SCHEMA_VERSION
    assert job.plate.turns is Turns.COUNTERCLOCKWISE and job.plate.revolution_s == 48.0 and job.plate.bore_mm == 3.0
    pins = {pin.id: pin for pin in job.pins()}
    assert len(pins) == 6 and pins[1].condition is Condition.BENT and pins[4].condition is Condition.MISSING
    assert pins[4].side is Side.LOWER and pins[4].r_mm == 7.0 and pins[4].theta_deg == 148.0 and pins[4].tooth == 4
    assert [tooth.pitch for tooth in job.comb().teeth] == [66.0, 67.0, 68.0, 69.0, 70.0, 71.0]
    assert [correction.note for correction in job.corrections()[0]] == ["seen under the glass"]
    assert [step.note for step in load_log(job)][1:] == ["fly bridge off"]
    assert load_decisions(job) == ()
    assert job.settings["key"] == "D"
    with open_for_writing(folder) as job, job.step("probe") as stage:
        stage.write_text("out/probe.txt", "written")
    assert (folder / "out" / "probe.txt").read_text() == "written"


def test_an_old_job_keeps_its_own_file_beside_the_migrated_one(tmp_path, monkeypatch):
    """The way that a future schema will take: this program's own schema is made the old one."""
    import disc.job.folder
    import disc.job.schema

    this = disc.job.schema.SCHEMA_VERSION

    def to_next(raw):
        return {**raw, "schema_version": this + 1, "settings": {**raw["settings"], "moved": True}}

    for module in (disc.job.folder, disc.job.schema):
        monkeypatch.setattr(module, "SCHEMA_VERSION", this + 1)
    monkeypatch.setitem(disc.job.schema.MIGRATIONS, this, to_next)
    folder = tmp_path / "job"
    shutil.copytree(OLD_JOBS / f"schema-{this}" / "job", folder)
    before = (folder / "job.json").read_bytes()
    assert open_job(folder).settings["moved"] is True
    assert (folder / f"job.schema-{this}.json").read_bytes() == before
    assert open_job(folder).content.schema_version == this + 1
