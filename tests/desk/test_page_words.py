"""What a room says of commands is said on the page by its tabs; no command and no folder is left over."""

from __future__ import annotations

from pathlib import Path

import pytest

from disc.check.check_job import check_job
from disc.desk.page.words import page_words
from disc.errors import MissingPart
from disc.job import create_job, open_for_writing

from .rig import PLATE


@pytest.mark.parametrize(
    "said, shown",
    [
        ("{job}: no comb. Run: disc comb {job} --table FILE (or --from-pins)", "no comb. Give the comb (tab Comb)"),
        ("Not known: run disc transcribe for places.", "Not known: make the score (tab Save) for places."),
        ("{job}/out/a.json: bad. Run disc repin again.", "out/a.json: bad. Make the work list (tab Plan) again."),
        ("No photos. Run: disc read {job} --upper PHOTO --lower PHOTO", "No photos. Read the photographs (tab Disc)"),
        ("the key  'H'\ncannot be read.", "the key 'H' cannot be read."),
    ],
)  # fmt: skip
def test_commands_become_tabs(said, shown):
    folder = Path("/home/a person/my watch")
    assert page_words(said.format(job=folder), folder) == shown


def test_a_room_s_own_words_of_a_bare_job(tmp_path):
    create_job(tmp_path / "bare", PLATE)
    with open_for_writing(tmp_path / "bare") as job, pytest.raises(MissingPart) as told:
        check_job(job)
    words = page_words(str(told.value), tmp_path / "bare")
    assert "tab Disc" in words and "disc read" not in words and "bare" not in words
