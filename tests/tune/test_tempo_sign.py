"""The tempo over a score: what is counted, and a sign that needs no music font."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from xml.etree import ElementTree

import pytest

from disc.records import Metre
from disc.tune.write.engrave import engrave
from disc.tune.write.musicxml import musicxml_text
from disc.tune.write.tempo_sign import DOT, LETTERS, SLANT_DEG, Beat, beat_of

from .made import JIG, MAMAN_A, parse, tune_of


# Common practice: cut time by halves, compound metres by dotted beats; nobody beats more than 160 in a minute.
@pytest.mark.parametrize(
    ("metre", "quarter_a_minute", "beat"),
    [
        (Metre(4, 4), 96, Beat(Fraction(1), False, 96)),
        (Metre(2, 2), 192, Beat(Fraction(2), False, 96)),
        (Metre(4, 4), 200, Beat(Fraction(2), False, 100)),
        (Metre(3, 4), 180, Beat(Fraction(2), True, 60)),
        (Metre(6, 8), 144, Beat(Fraction(1), True, 96)),
        (Metre(3, 8), 50, Beat(Fraction(1, 2), False, 100)),
        (Metre(3, 8), 96, Beat(Fraction(1), True, 64)),
    ],
)
def test_what_is_counted(metre: Metre, quarter_a_minute: float, beat: Beat) -> None:
    assert beat_of(metre, 60.0 / quarter_a_minute) == beat


@pytest.mark.parametrize(
    ("text", "metre", "quarter_s", "unit", "shapes"),
    [
        (MAMAN_A, Metre(2, 2), 0.3, "half", 2),
        (JIG, Metre(6, 8), 0.4, "quarter", 1),
        (JIG, Metre(3, 8), 1.0, "eighth", 1),
    ],
)
def test_the_beat_is_drawn_not_lettered(text: str, metre: Metre, quarter_s: float, unit: str, shapes: int) -> None:
    """Other programs read the mark; on the page stands a drawing: a head, open for a half, and no letter of a font."""
    music = musicxml_text(replace(tune_of(parse(text), metre=metre), quarter_s=quarter_s))
    root = ElementTree.fromstring(music[music.index("<score-partwise") :])
    (mark,) = root.iter("metronome")
    assert mark.findtext("beat-unit") == unit
    (page,) = engrave(music).pages
    assert not set(page) & {*LETTERS, DOT} and "@font-face" not in page
    assert page.count(f"rotate({SLANT_DEG:g}") == shapes and f">{mark.findtext('per-minute')}<" in page
    ElementTree.fromstring(page)
