"""Small discs made by hand for the tests of the check: a comb of eight teeth and a tune of two equal strains."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

import numpy as np

from disc.comb.pin_spread import give_teeth
from disc.comb.strikes import pins_from_strikes
from disc.frame import turn_for_onset_deg
from disc.records import Comb, Key, Metre, Note, Pin, Plate, Side, Strike, Tooth, Tune, Turns
from disc.turn.one_turn import OneTurn, resolve_strikes, with_known_tune

# C major from C5 on; teeth alternate between the faces, tips staggered. Invented.
PITCHES = (72, 74, 76, 77, 79, 81, 83, 84)
COMB = Comb(
    tuple(
        Tooth(n, Side.UPPER if n % 2 else Side.LOWER, 5.0 + 0.9 * (n // 2), (40.0 + 4.0 * n) % 360, float(p))
        for n, p in enumerate(PITCHES, start=1)
    )
)
PLATE = Plate(26.0, Turns.CLOCKWISE, 40.0, 14.0, 1.0, 3.0)
# Eight bars of 2/4 in eighths, by tooth; 0 is a rest. Played twice. Invented.
STRAIN = (1, 3, 5, 3, 6, 5, 3, 0, 2, 4, 6, 4, 5, 3, 1, 0, 1, 3, 5, 8, 7, 6, 5, 0, 4, 2, 3, 1, 2, 2, 1, 0)
EIGHTH_S = 0.56
START_S = 1.2


def strikes(setting_s: float = 0.0, seed: int = 0) -> tuple[Strike, ...]:
    """The tune's strikes, both strains, each off its place by a normal error of setting_s seconds."""
    rng = np.random.default_rng(seed)
    made = []
    for k, tooth in enumerate(STRAIN * 2):
        if tooth:
            at = START_S + EIGHTH_S * k + float(rng.normal(0, setting_s)) if setting_s else START_S + EIGHTH_S * k
            made.append(Strike(float(turn_for_onset_deg(at, PLATE.revolution_s)), at, tooth, float(PITCHES[tooth - 1])))
    return tuple(made)


def sound_disc(setting_s: float = 0.010, seed: int = 0) -> tuple[Pin, ...]:
    """All pins of the undamaged disc, numbered in the order of the turn."""
    return pins_from_strikes(strikes(setting_s, seed), COMB, PLATE)


def tune() -> Tune:
    """The tune as its maker wrote it."""
    notes = tuple(
        Note(Fraction(k, 2), Fraction(1, 2), PITCHES[tooth - 1], tooth=tooth)
        for k, tooth in enumerate(STRAIN * 2)
        if tooth
    )
    return Tune(notes, Metre(2, 4), Key(0, "major", 0), Fraction(0), 2 * EIGHTH_S, START_S, "Two strains")


def turn_of(pins: Iterable[Pin], tune: Tune | None = None, comb: Comb = COMB, plate: Plate = PLATE) -> OneTurn:
    """The turn of these pins, with a tune that is known beforehand, or without any."""
    turn = resolve_strikes(give_teeth(tuple(pins), comb), comb, plate)
    return turn if tune is None else with_known_tune(turn, tune)
