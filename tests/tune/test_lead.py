"""Which part carries the tune: counted by moments, named by a score or by a person."""

from __future__ import annotations

from fractions import Fraction

import pytest

from disc.errors import BadInput
from disc.tune.score.lead import leading_part, name_score, part_named
from disc.tune.score.ranks import rank_notes
from disc.tune.score.records import Rank, ScoreNote, ScorePart


def line(part: int, text: str) -> list[ScoreNote]:
    """ "72 1 74+77 2": pitches (chords with +) and lengths in quarters."""
    words, place, notes = text.split(), Fraction(0), []
    for pitches, length in zip(words[::2], words[1::2], strict=True):
        notes += [ScoreNote(place, Fraction(length), int(p), part=part) for p in pitches.split("+")]
        place += Fraction(length)
    return notes


# A waltz of our own: the left hand's chords sound 60 quarters if lengths are added up, the right hand 12.
RIGHT = "76 1 77 1 79 1 81 2 79 1 77 1 76 1 74 1 72 3"
LEFT = "48 1 60+64+67 1 60+64+67 1 " * 4


def test_the_left_hand_of_a_waltz_is_not_its_tune() -> None:
    """Whichever stands first in the file, named or not."""
    for right, left in ((0, 1), (1, 0)):
        notes = [*line(right, RIGHT), *line(left, LEFT)]
        assert leading_part(notes, {0: ScorePart(), 1: ScorePart()}) == right
        ranked = rank_notes(notes, right)
        assert [n.pitch for n in ranked if n.rank is Rank.MELODY] == [76, 77, 79, 81, 79, 77, 76, 74, 72]


def test_a_voice_leads_over_a_busy_right_hand() -> None:
    notes = [*line(0, "72 1 74 1 76 1 77 3"), *line(1, "84 1/2 79 1/2 " * 6), *line(2, "48 3 43 3")]
    names = {0: ScorePart("Singstimme"), 1: ScorePart("Piano"), 2: ScorePart("Piano")}
    assert leading_part(notes, names) == 0
    sung = {0: ScorePart("", sung=True), 1: ScorePart(), 2: ScorePart()}
    assert leading_part(notes, sung) == 0


def test_names_are_told_apart() -> None:
    lead = ("Violin I", "Violino 1", "Soprano", "Right Hand", "Voice", "Flute 1", "Melody")
    assert all(name_score(name) > 0 for name in lead)
    assert all(
        name_score(name) < 0 for name in ("Violin II", "Viola", "Violoncello", "Left Hand", "Bass", "Bass Clarinet")
    )
    assert name_score("") == 0 == name_score("Part X")


def test_a_person_names_the_part() -> None:
    parts = {0: ScorePart("Violin I"), 1: ScorePart("Violin II"), 2: ScorePart("Cello")}
    assert part_named("cello", parts, "air") == 2 == part_named("3", parts, "air")
    assert part_named("violin i", parts, "air") == 0
    assert part_named("left hand", {0: ScorePart("Piano"), 1: ScorePart("Piano")}, "air") == 1
    with pytest.raises(BadInput, match=r"air: no part is called 'flute'; its parts are 1 'Violin I', 2 .*--melody"):
        part_named("flute", parts, "air")
    with pytest.raises(BadInput, match="several parts are called 'violin'"):
        part_named("violin", parts, "air")
