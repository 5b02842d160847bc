"""What begins at each attack: the tone of a tooth, or the click of one that may be dead.

A tone counts as a tooth's if it is new, clear, not far below the recording's usual pluck, and rings. Which of several
is the tooth's goes by the whole comb.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.listen.comb.along_comb import agree_along_comb
from disc.listen.comb.plucks.no_plucks import doubted, one_each, without_short, without_strays
from disc.listen.comb.plucks.pluck_start import LIVE_SCORE, SHARP_DB, PluckStart, click_score
from disc.listen.sound.attacks import Attack
from disc.listen.sound.audio import FloatArray
from disc.listen.sound.beginnings import (
    NewTone,
    fundamental,
    harmonic_fundamental,
    has_harmonics,
    quiet_fundamental,
)

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
LEAST_OVER_DB, LEAST_SHARE, LEVEL_RANGE_DB, LEAST_T60_S = 15.0, 0.35, 30.0, 0.10  # of what may be a tooth's tone
# A tone louder in its second tenth of a second began later than this attack (a tick just before a pluck). 4 and 6 dB
# lost ten teeth of a noisy recording of the second set.
GROWING_DB = 2.5
SWELLING_DB = 6.0  # after a sharp attack that is no tick the tone may swell: some instruments do
LEAST_ALIKE, LEAST_ALIKE_SHARE = 4, 0.15  # attacks with the same interval from partial to quiet fundamental
HARMONIC_SHARE = 0.3  # of the attacks, from which the instrument has whole-number partials; chance gives a tenth
NEAR_PLUCKS, REGISTERS_DB = 12, 15.0  # how far a register's loud plucks may lie under those of the whole comb
LONGEST_USUAL_S = 4.0  # a tone that swells at first seems to ring for ever
LEAST_T60_SHARE = 0.1  # of the usual ring time: a knock on the bench is shorter


def judge(attacks: Sequence[Attack], heard: Sequence[list[NewTone]]) -> list[PluckStart]:
    """The same from the tones that begin at each attack."""
    usual_db = _usual_levels(heard)
    rings = [
        min(tones[0].t60_s, LONGEST_USUAL_S)
        for tones, usual in zip(heard, usual_db, strict=True) if tones and tones[0].level_db > usual - 12.0
    ]  # fmt: skip
    least_t60 = max(LEAST_T60_S, LEAST_T60_SHARE * float(np.median(rings))) if rings else LEAST_T60_S
    clear = [
        [t for t in tones if _is_tooth(attack, t, usual, least_t60)]
        for attack, tones, usual in zip(attacks, heard, usual_db, strict=True)
    ]
    found = []
    fundamentals = agree_along_comb(heard, _fundamentals(clear, heard))
    for attack, tones, tone in zip(attacks, heard, fundamentals, strict=True):
        if tone is not None:
            score = LIVE_SCORE + min(2.0, attack.rise_db / 15.0)
        else:
            score = click_score(attack)
        found.append(PluckStart(attack, tone, tuple(tones), score))
    return [doubted(c, found) for c in without_strays(one_each(without_short(found, usual_db)))]


def _usual_levels(heard: Sequence[list[NewTone]]) -> FloatArray:
    """Level in dB of the loud plucks about each attack: a register may sound much weaker than another."""
    loud = [bool(tones) and tones[0].over_db > 25.0 and tones[0].share > 0.5 for tones in heard]
    places = np.flatnonzero(loud)
    if not len(places):
        return np.zeros(len(heard))
    levels = np.array([heard[int(k)][0].level_db for k in places])
    everywhere = float(np.percentile(levels, 75))
    usual = np.empty(len(heard))
    for k in range(len(heard)):
        near = np.argsort(np.abs(places - k), kind="stable")[:NEAR_PLUCKS]
        usual[k] = max(float(np.percentile(levels[near], 75)), everywhere - REGISTERS_DB)
    return usual


def _fundamentals(clear: Sequence[list[NewTone]], heard: Sequence[list[NewTone]]) -> list[NewTone | None]:
    """The fundamental at each attack. One much weaker than its partials counts where many teeth have it so; clear: the
    tones that may be a tooth's, heard: all of them."""
    tones = [fundamental(row) for row in clear]
    quiet = [None if t is None else quiet_fundamental(row, t) for row, t in zip(clear, tones, strict=True)]
    intervals = np.array([
        np.nan if q is None or t is None else 12 * np.log2(t.frequency_hz / q.frequency_hz)
        for q, t in zip(quiet, tones, strict=True)
    ])  # fmt: skip
    needed = max(LEAST_ALIKE, LEAST_ALIKE_SHARE * sum(t is not None for t in tones))
    chosen = []
    for tone, low, interval in zip(tones, quiet, intervals, strict=True):
        alike = np.sum(np.abs(intervals - interval) < 1.0) if low is not None else 0
        chosen.append(low if low is not None and alike >= needed else tone)
    both = [(row, t) for row, t in zip(heard, chosen, strict=True) if t is not None]
    if sum(has_harmonics(row, t) for row, t in both) < max(LEAST_ALIKE, HARMONIC_SHARE * len(both)):
        return chosen
    return [None if t is None else harmonic_fundamental(row, t) or t for row, t in zip(heard, chosen, strict=True)]


def _is_tooth(attack: Attack, tone: NewTone, usual_db: float, least_t60_s: float) -> bool:
    sharp = attack.rise_db > SHARP_DB and not attack.tick
    growing = tone.later_db > (SWELLING_DB if sharp else GROWING_DB)  # it begins later than this attack
    return (
        tone.over_db > LEAST_OVER_DB
        and tone.share > LEAST_SHARE
        and tone.level_db > usual_db - LEVEL_RANGE_DB
        and tone.t60_s > least_t60_s
        and not growing
    )
