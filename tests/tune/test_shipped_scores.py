"""The scores that come with the program can be read, and hold what music21 (peer reader) finds in them."""

from __future__ import annotations

from pathlib import Path

import music21
import pytest

from disc.tune.score.read_score import read_score

SCORES = sorted((Path(__file__).parents[2] / "scores").glob("*.abc"))


def test_there_is_a_score_to_try_the_design_with():
    assert SCORES


@pytest.mark.parametrize("path", SCORES, ids=lambda path: path.stem)
def test_a_shipped_score_holds_the_notes_that_music21_reads(path):
    (score,) = read_score(path)
    peer = music21.converter.parse(path).expandRepeats().flatten().notes
    assert sorted(note.pitch for note in score.notes) == sorted(note.pitch.midi for note in peer)
