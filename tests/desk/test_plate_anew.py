"""The diameter corrected on the page: the photographs take the new scale as with `disc set`; undo brings all back."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from disc import correct_plate
from disc.desk.open_job.changes import plate_changes
from disc.desk.open_job.session import Session
from disc.desk.work import tasks
from disc.desk.work.read_photos import needs_reading
from disc.job import open_for_writing, open_job

from .rig import make_job


@pytest.fixture
def session(tmp_path, monkeypatch):
    folder = make_job(tmp_path / "watch", size_px=200)
    with open_for_writing(folder) as job, job.step("read"):
        for face in job.content.faces.values():
            face["photo"] = f"photos/{face['photo']}"

    # The reader's own work is tested in its room: here the scale counts.
    def read_as_before(job, request, advance, *, upper, lower, naming):
        with job.step("read") as stage:
            pins = tuple(replace(pin, r_mm=pin.r_mm * request.grown_by) for pin in job.reading())
            in_force, _ = job.stage_reading(stage, pins, request.grown_by)
            if naming is not None:
                naming(stage, pins, in_force)

    monkeypatch.setattr("disc.photo.read_photos.read_job", read_as_before)
    made = Session(folder)
    made.change({"do": "change", "pins": [3], "changes": {"condition": "bent"}})
    made.change({"do": "move", "pin": 5, "r_mm": 6.0, "theta_deg": 33.0})
    made.change({"do": "note", "pins": [9], "note": "looked at"})
    yield made
    made.close()


def radii(session):
    return {pin.id: pin.r_mm for pin in session.pins}


def test_pins_and_corrections_take_the_new_scale_and_undo_gives_the_old_one_back(session):
    before, marked = radii(session), {pin.id: pin.condition for pin in session.pins}
    was_mm = session.job.plate.diameter_mm
    tasks.run_task(session, {"do": "plate", "plate": {"diameter_mm": str(was_mm * 1.25)}}, session.folder)
    assert session.job.plate.diameter_mm == pytest.approx(was_mm * 1.25)
    assert radii(session) == pytest.approx({number: r * 1.25 for number, r in before.items()}, abs=2e-4)
    assert {pin.id: pin.condition for pin in session.pins} == marked and len(session.notes[9]) == 1
    assert session.history.steps[-1].words == f"set diameter {was_mm * 1.25:g}" and session.history.done == 4
    session.go_to(3)
    assert radii(session) == pytest.approx(before, abs=2e-4) and session.job.plate.diameter_mm == was_mm
    session.go_to(0)
    session.go_to(4)
    assert radii(session)[5] == pytest.approx(6.0 * 1.25, abs=2e-4) and session.notes[9]
    fresh = Session(session.folder)
    assert radii(fresh) == radii(session)
    fresh.close()


def test_the_desk_and_the_command_leave_the_same_tables(session, tmp_path):
    """By the same code: pins, reading and corrections are the same to the letter."""
    asked = {"diameter_mm": session.job.plate.diameter_mm * 0.9}
    other = make_job(tmp_path / "other", size_px=200)
    for name in ("job.json", "pins.csv", ".pins.csv", "reading.csv", "corrections.json"):
        (other / name).write_bytes((session.folder / name).read_bytes())
    with open_for_writing(other) as job:
        correct_plate.correct_plate(job, asked)
    tasks.run_task(session, {"do": "plate", "plate": asked}, session.folder)
    for name in ("pins.csv", "reading.csv"):
        assert (other / name).read_text() == (session.folder / name).read_text(), name
    done = [json.loads((folder / "corrections.json").read_text())["done"] for folder in (other, session.folder)]
    assert done[0] == done[1]


def test_only_what_gives_the_photographs_their_scale_has_them_read_anew(session):
    job = open_job(session.folder)
    assert needs_reading(job, plate_changes(job, {"diameter_mm": "30"}))
    assert not needs_reading(job, plate_changes(job, {"diameter_mm": job.plate.diameter_mm, "bore_mm": "2"}))
    job.content.faces.clear()
    assert not needs_reading(job, plate_changes(job, {"diameter_mm": "30"}))
