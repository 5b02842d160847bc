"""What else is heard beside the comb, and what is in doubt because of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from disc.listen.comb.doubtful import doubts_of_plucked
from disc.listen.comb.plucked import PluckedComb, PluckedTooth
from disc.listen.sound.attacks import Attack
from disc.listen.sound.audio import Recording
from disc.listen.sound.disturbed import Disturbance, faint_stretches, loud_stretches, together
from disc.records import ToothCondition

RATE = 8000


def comb_with_voice(voiced: tuple[tuple[float, float], ...]) -> Recording:
    """Twelve seconds of a ringing tone of 800 Hz each second, quiet noise, and a voice of 120 Hz where it is asked."""
    rng = np.random.default_rng(5)
    t = np.arange(12 * RATE) / RATE
    audio = 0.002 * rng.normal(size=len(t)) + 0.3 * np.sin(2 * np.pi * 800 * t) * np.exp(-5 * (t % 1.0))
    for start, end in voiced:
        inside = (t > start) & (t < end)
        audio[inside] += sum(0.03 / k * np.sin(2 * np.pi * 120 * k * t[inside]) for k in range(1, 8))
    return Recording(audio, RATE)


def test_a_voice_is_named_with_its_seconds_and_nothing_where_nobody_speaks() -> None:
    (found,) = loud_stretches(comb_with_voice(((3.0, 3.5), (3.7, 4.4))), 700.0)
    assert abs(found.start_s - 3.0) < 0.06 and abs(found.end_s - 4.4) < 0.06 and not found.is_knock
    assert loud_stretches(comb_with_voice(()), 700.0) == []
    assert loud_stretches(comb_with_voice(((3.0, 3.1),)), 700.0) == []  # no word is so short
    assert loud_stretches(comb_with_voice(((3.0, 3.1), (3.3, 3.4))), 700.0) == []  # two thumps are no word


def test_a_comb_as_low_as_a_voice_leaves_no_band_to_hear_it_in() -> None:
    assert loud_stretches(comb_with_voice(((3.0, 4.0),)), 150.0) == []


def test_beginnings_of_nobody_in_a_row_are_a_disturbance_ticks_and_plucks_are_none() -> None:
    vowel, tick = (-60.0, -60.0, -60.0), (-50.0, -42.0, -30.0)
    left = [Attack(4.0, 10.0, vowel), Attack(4.6, 10.0, vowel), *(Attack(7 + k / 5, 35.0, tick) for k in range(9))]
    (found,) = faint_stretches(left, np.array([1.0, 2.0]))
    assert found.words == "speech or another sound from 4.0 to 4.8 s"
    assert faint_stretches(left, np.array([4.05, 4.55])) == []
    (knock,) = faint_stretches([Attack(9.0, 30.0, (-16.0, -30.0, -31.0))], np.array([1.0]))
    assert knock.words == "a knock at 9.0 s"


def test_stretches_that_overlap_are_one() -> None:
    one = together([Disturbance(1.0, 2.0, False)], [Disturbance(1.5, 1.6, True), Disturbance(3.0, 3.1, True)])
    assert one == (Disturbance(1.0, 2.0, False), Disturbance(3.0, 3.1, True))


def tooth(number: int, *plucks_s: float, agrees: bool | None = True) -> PluckedTooth:
    return PluckedTooth(number, 60.0 + number, 1.0, ToothCondition.SOUND, plucks_s, 0.1, agrees)


def test_doubts_name_the_tooth_to_be_plucked_again() -> None:
    rows = (tooth(10, 19.0, 20.0), tooth(11, 21.0, 22.0, agrees=False))
    comb = PluckedComb(rows, None, (), 2, (Disturbance(20.9, 21.6, False),))
    (doubt,) = doubts_of_plucked(comb)
    assert doubt.say == "speech or another sound from 20.9 to 21.6 s, while tooth 11 sounded."
    assert doubt.advice == "Pluck tooth 11 again."
    # Where both plucks agree all the same, what else sounded did no harm.
    assert doubts_of_plucked(replace(comb, teeth=(tooth(10, 19.0, 20.0), tooth(11, 21.0, 22.0)))) == ()


def test_a_break_in_the_numbering_is_said_at_the_tooth() -> None:
    comb = PluckedComb((tooth(1, 1.0, 2.0), tooth(2, 4.0, agrees=None), tooth(3)), None)
    first, second = doubts_of_plucked(comb)
    assert first.say.startswith("tooth 2: only 1 of its 2 plucks is heard") and "--tooth 2 " in first.advice
    assert second.say.startswith("tooth 3: none of its 2 plucks is heard")
    many = PluckedComb(tuple(tooth(k) for k in range(1, 12)), None)
    assert len(doubts_of_plucked(many)) == 7 and "7, 8, 9, 10, 11" in doubts_of_plucked(many)[-1].say


def test_plucks_left_over_are_said() -> None:
    rows = tuple(PluckedTooth(k, 60.0 + k, 1.0, ToothCondition.SOUND, (k, k + 0.5), 0.1, True) for k in (1, 2))
    comb = PluckedComb(rows, None, left_over_s=(3.04, 3.6))
    (said,) = doubts_of_plucked(comb)
    assert "plucks are left over (2), the first at 3.0 s" in said.say
    assert doubts_of_plucked(replace(comb, left_over_s=(3.04,))) == ()  # a neighbour may have been touched
