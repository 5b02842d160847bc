"""A tooth of which only clicks were taken rings if one clear tone begins at each of its plucks."""

from __future__ import annotations

from disc.listen.comb.plucks.pluck_start import PluckStart
from disc.listen.comb.plucks.rings_after_all import common_tones, with_those_that_ring
from disc.listen.sound.attacks import Attack
from disc.listen.sound.beginnings import NewTone

from .struck_bars import hz


def click(*tones: tuple[float, float]) -> PluckStart:
    """A pluck without a tone of its own. tones: (pitch, dB over its noise) of what begins there."""
    heard = tuple(NewTone(hz(pitch), -20.0, over, 1.0, 0.5, 20.0) for pitch, over in tones)
    return PluckStart(Attack(1.0, 20.0, (-20.0, -20.0, -20.0)), None, heard, 1.0)


def ringing(pitch: float) -> PluckStart:
    tone = NewTone(hz(pitch), -10.0, 45.0, 1.0, 1.0, 40.0)
    return PluckStart(Attack(1.0, 20.0, (-20.0, -20.0, -20.0)), tone, (tone,), 10.0)


BESIDE = [[ringing(70.0)] * 2, [ringing(72.0)] * 2, [ringing(76.0)] * 2, [ringing(77.0)] * 2]


def pitches(middle: list[PluckStart]) -> list[float | None]:
    rows = with_those_that_ring([*BESIDE[:2], middle, *BESIDE[2:]])
    return [None if p.pitch is None else round(p.pitch, 1) for p in rows[2]]


def test_one_clear_tone_at_both_clicks_is_the_tooths() -> None:
    assert pitches([click((74.0, 35.0), (90.0, 20.0)), click((74.02, 33.0), (61.0, 40.0))]) == [74.0, 74.0]


def test_clicks_that_share_only_noise_stay_clicks() -> None:
    assert pitches([click((74.0, 20.0)), click((74.0, 20.0))]) == [None, None]
    assert pitches([click((74.0, 35.0)), click((75.0, 35.0))]) == [None, None]
    assert common_tones([click((74.0, 35.0))], 1.0) == []  # one pluck alone says nothing


def test_where_a_partial_tells_that_it_rings_the_weaker_line_near_its_neighbours_is_the_pitch() -> None:
    plucks = [click((102.0, 40.0), (74.5, 18.0)), click((102.0, 41.0), (74.5, 17.0))]
    assert pitches(plucks) == [74.5, 74.5]
    far = [click((102.0, 40.0)), click((102.0, 41.0))]
    assert pitches(far) == [None, None] and common_tones(far, 1.0)  # it rings, at which pitch is open


def test_a_choked_note_is_no_ring() -> None:
    """A tenth of a second, where the comb's teeth ring for one."""
    choked = PluckStart(
        Attack(1.0, 20.0, (-20.0, -20.0, -20.0)), None, (NewTone(hz(74.0), -20.0, 40.0, 1.0, 0.1, 20.0),), 1.0
    )
    assert pitches([choked, choked]) == [None, None] and not common_tones([choked, choked], 1.0)


def test_a_tooth_heard_to_ring_once_rings_at_the_other_pluck_too() -> None:
    once = [ringing(74.0), click((74.03, 30.0), (80.0, 35.0))]
    assert pitches(once) == [74.0, 74.0]
