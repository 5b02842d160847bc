"""Turn, tempo and cuts, worked out by hand."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from disc.design.arrange.phrases import phrase_ends
from disc.design.arrange.timing import set_timing, written_quarter_s
from disc.design.settings import DesignSettings
from disc.errors import BadInput
from disc.records import Metre

from .small import PLATE, score_of

SETTINGS = DesignSettings()
# Eight bars of 4/4, the fourth and the eighth ending on a held note, played twice over: bar 9 begins as bar 1 did.
HELD = [(12.0, 1.0, 64), (13.0, 3.0, 67)]
PHRASE = [(4.0 * b + q, 1.0, 60 + (3 * b + q) % 7) for b in range(3) for q in range(4)] + HELD
EIGHT = PHRASE + [(on + 16, d, p + 2) for on, d, p in PHRASE]
SIXTEEN = EIGHT + [(on + 32, d, p) for on, d, p in EIGHT]


def test_phrases_end_where_a_singer_breathes() -> None:
    ends = phrase_ends(score_of(SIXTEEN))
    assert ends == (4, 8, 12, 16)


def test_a_turn_given_sets_the_tempo() -> None:
    """45 s, rest arc 14 and twice 1 degree run-up: 344/360 of 45 s is 43 s for 61 quarters, first to last strike."""
    timing = set_timing(score_of(SIXTEEN, quarter_s=0.7), PLATE, SETTINGS, 45.0)
    assert timing.quarter_s == pytest.approx(43.0 / 61)
    assert timing.tempo_ratio == pytest.approx(0.7 * 61 / 43.0)
    assert timing.start_deg == 8.0


def test_a_short_tune_is_not_dragged() -> None:
    timing = set_timing(score_of(SIXTEEN, quarter_s=0.3), PLATE, SETTINGS, 60.0)
    assert timing.quarter_s == pytest.approx(0.3 / SETTINGS.slowest)
    assert timing.turn_deg(61.0) < 352.0  # silence after it


def test_a_long_tune_says_what_fits() -> None:
    """61 quarters of 0.9 s, at most 1.3 times as fast, need 42.2 s; a turn of 25 s has room for 25 * 344 / 360 = 23.9.

    That is 34.5 quarters from the first strike: bar 9's last strike, the 35th quarter, is beyond; bars 1 to 8 fit.
    """
    with pytest.raises(BadInput) as told:
        set_timing(score_of(SIXTEEN, quarter_s=0.9), PLATE, SETTINGS, 25.0)
    words = str(told.value)
    assert "42 s even played fast" in words and "room for 24 s" in words
    assert "Bars 1 to 8 fit; phrases end after bar 4, 8." in words
    assert re.search(r"Try --bars 1-8 or --bars 1-4\.$", words)


def test_without_a_mark_the_beat_is_the_usual_one() -> None:
    """96 beats a minute: 0.625 s a beat, which is a quarter in 4/4 and a dotted quarter in 6/8."""
    plain = replace(score_of(SIXTEEN), quarter_s=None)
    assert written_quarter_s(plain) == pytest.approx(0.625)
    assert written_quarter_s(replace(plain, metre=Metre(6, 8))) == pytest.approx(0.625 / 1.5)


def test_no_room_beside_the_rest_arc() -> None:
    with pytest.raises(BadInput, match="rest arc of 359 degrees leaves no room"):
        set_timing(score_of(SIXTEEN), replace(PLATE, rest_arc_deg=359.0), SETTINGS, None)


def test_twice_on_end() -> None:
    once = score_of(EIGHT)
    twice = once.played_times(2)
    assert len(twice.notes) == 2 * len(once.notes) and [bar.number for bar in twice.bars] == list(range(1, 17))
    assert twice.notes[len(once.notes)].onset_quarter == once.notes[0].onset_quarter + 32
