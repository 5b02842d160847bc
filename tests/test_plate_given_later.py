"""What is not known at the start is unknown, said to be so, and can be given or corrected later."""

from __future__ import annotations

import json

import pytest

from disc.correct_plate import correct_plate
from disc.errors import BadInput, MissingPart
from disc.job import JOB_FILE, create_job, open_for_writing, open_job
from disc.records import Plate, Turns


def test_a_job_needs_nothing_and_asks_where_it_needs(tmp_path):
    job = create_job(tmp_path / "j")
    with pytest.raises(MissingPart, match=r"diameter is not known yet.*caliper.*disc set"):
        _ = job.plate


def test_what_nobody_gave_is_named_as_assumed(tmp_path):
    create_job(tmp_path / "j", {"diameter_mm": 28.0, "turns": Turns.COUNTERCLOCKWISE})
    plate = open_job(tmp_path / "j").plate
    assert plate.assumed == {"revolution_s", "rest_arc_deg"}
    stored = json.loads((tmp_path / "j" / JOB_FILE).read_text())["plate"]
    assert stored["revolution_s"] is None and stored["turns"] == "counterclockwise"


def test_a_value_can_be_given_corrected_and_forgotten(tmp_path):
    create_job(tmp_path / "j", {"diameter_mm": 82.0})
    with open_for_writing(tmp_path / "j") as job:
        correct_plate(job, {"diameter_mm": 28.0, "turns": Turns.CLOCKWISE})
        assert job.plate.diameter_mm == 28.0 and "turns" not in job.plate.assumed
        correct_plate(job, {"turns": None})
    assert "turns" in open_job(tmp_path / "j").plate.assumed


def test_a_value_that_cannot_be_changes_nothing(tmp_path):
    create_job(tmp_path / "j", Plate(28.0))
    with open_for_writing(tmp_path / "j") as job, pytest.raises(BadInput, match="diameter_mm"):
        correct_plate(job, {"diameter_mm": 900.0})
    assert open_job(tmp_path / "j").plate.diameter_mm == 28.0


def test_schema_1_filled_in_what_nobody_gave(tmp_path):
    """What stands at the value that schema 1 filled in may never have been said; any other value was."""
    create_job(tmp_path / "j", Plate(28.0, revolution_s=51.0))
    path = tmp_path / "j" / JOB_FILE
    raw = json.loads(path.read_text())
    raw["schema_version"] = 1
    path.write_text(json.dumps(raw))
    plate = open_job(tmp_path / "j").plate
    assert plate.assumed == {"turns", "rest_arc_deg"} and plate.revolution_s == 51.0
    assert (tmp_path / "j" / "job.schema-1.json").is_file()
