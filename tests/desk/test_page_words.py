"""What a room says of commands is said on the page by its tabs; no command and no folder is left over."""

from __future__ import annotations

from pathlib import Path

import pytest

from disc.check.check_job import check_job
from disc.desk.page.words import page_doubts, page_words
from disc.errors import MissingPart
from disc.job import create_job, open_for_writing
from disc.photo.seen.face_doubts import not_photographed
from disc.records import Comb, Plate, Side
from disc.turn.assumed import assumed_doubts

from .rig import PLATE


@pytest.mark.parametrize(
    "said, shown",
    [
        ("{job}: no comb. Run: disc comb {job} --table FILE (or --from-pins)", "no comb. Give the comb (tab Comb)"),
        ("Not known: run disc transcribe for places.", "Not known: make the score (tab Save) for places."),
        ("{job}/out/a.json: bad. Run disc repin again.", "out/a.json: bad. Make the work list (tab Plan) again."),
        ("No photos. Run: disc read {job} --upper PHOTO --lower PHOTO", "No photos. Read the photographs (tab Disc)"),
        ("Time it: disc set JOB --revolution-s S.", "Time it: set the seconds a turn (tab Disc)."),
        ("Measure; then disc set JOB --diameter-mm 28.3", "Measure; then set the diameter to 28.3 mm (tab Disc)"),
        ("disc read JOB --upper LOWER --lower UPPER", "bring each photograph as the other side's (tab Disc)"),
        ("Read it again with disc read.", "Read it again (tab Disc)."),
        ("Mark it: disc read JOB ... --slot-upper u,v (pixels), or at the desk.", "Mark it (tab Disc)."),
        ("check it, or mark it: disc read JOB ... --slot-SIDE u,v (pixels), or at the desk.",
         "check it, or mark it (tab Disc)."),
        ("Its table (disc comb JOB --table FILE), or a draft (--from-pins).", "Its table (tab Comb), or a draft."),
        ("and give both: disc read JOB --upper PHOTO OTHER", "and give both (tab Disc)"),
        ("the key  'H'\ncannot be read.", "the key 'H' cannot be read."),
    ],
)  # fmt: skip
def test_commands_become_tabs(said, shown):
    folder = Path("/home/a person/my watch")
    assert page_words(said.format(job=folder), folder) == shown


def test_no_command_is_left_in_the_doubts_of_plate_comb_and_faces():
    plate, comb_draft = Plate.known(diameter_mm=28.0), Comb((), draft=True)
    made = [*assumed_doubts(plate, comb_draft), *(not_photographed(side) for side in Side)]
    said = " ".join(f"{doubt.say} {doubt.advice}" for doubt in page_doubts(made, Path("/watch")))
    assert len(made) == 6 and "disc " not in said.replace("the disc ", "") and "--" not in said and "JOB" not in said


def test_a_room_s_own_words_of_a_bare_job(tmp_path):
    create_job(tmp_path / "bare", PLATE)
    with open_for_writing(tmp_path / "bare") as job, pytest.raises(MissingPart) as told:
        check_job(job)
    words = page_words(str(told.value), tmp_path / "bare")
    assert "tab Disc" in words and "disc read" not in words and "bare" not in words
