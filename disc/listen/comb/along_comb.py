"""Which of the tones that begin at a pluck is the tooth's own, by what the whole comb says.

One pluck alone may mislead: a struck bar's partial outshouts its fundamental, a sounding board's thump lies under it.
But partials stand at the same intervals over the fundamental from tooth to tooth, and a comb plucked in turn rises
smoothly. A choice that agrees with neither gives way to a tone that does.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.listen.sound.audio import FloatArray
from disc.listen.sound.bands import pitch_of_hz
from disc.listen.sound.beginnings import NewTone

# All limits chosen by hand on the tuning draw of listen_fit.py and on two combs of draws already looked at: a
# glockenspiel whose partials are 20 dB louder than its fundamentals, and a harp whose top register thumps.
ALIKE_SEMITONES, LEAST_ALIKE, LEAST_ALIKE_SHARE = 0.35, 5, 0.12
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
CLEAR_OVER_DB, CLEAR_SHARE = 22.0, 0.4  # over its noise, and part of the loudest: a clear tone
WHOLE_RATIOS = (2, 3, 4, 5, 6)  # partials of strings and pipes
# Beyond FAR of the plucks about it a choice is doubted; a better one lies within NEAR of them.
BESIDE, FAR_SEMITONES, NEAR_SEMITONES = 8, 8.0, 6.0
SMOOTH_SHARE = 0.6  # of the plucks that must lie near those about them, before the rise says anything
# of a better choice: over noise, part of the loudest, and below it at most; by hand as above
LEAST_OVER_DB, LEAST_SHARE, LEVEL_RANGE_DB = 10.0, 0.35, 36.0
SWELLING_DB = 6.0  # what grows so much in the second tenth of a second begins later
THUMP_OVER_DB, CLEARER_DB, OUTLASTS = 22.0, 6.0, 1.5  # a thump is a broad hump that dies soon
# The thump of a sounding board: three peaks or more within two semitones; a tooth's line stands clear of it.
HUMP_SEMITONES, HUMP_LEVEL_DB, LEAST_CROWD, HUMP_RANGE_DB = 2.0, 10.0, 3, 12.0
LINE_OVER_DB, LINE_SEMITONES = 26.0, 14.0  # of a tooth's line over noise, and how far above the hump; by hand as above
ROUNDS = 2  # of choosing by those beside; chosen by hand


def agree_along_comb(heard: Sequence[list[NewTone]], chosen: Sequence[NewTone | None]) -> list[NewTone | None]:
    """The chosen tone of each attack, or one that agrees better with the other attacks.

    heard: all tones that begin at each attack, in time order; chosen: the one taken as its tooth's fundamental, None
    where no tooth seems to ring.
    """
    tones = list(chosen)
    for _ in range(ROUNDS):
        intervals = _alike(heard, tones)
        rise = _rise(tones)
        tones = [
            None if own is None else _better(row, own, intervals, where)
            for row, own, where in zip(heard, tones, rise, strict=True)
        ]
    return tones


def _alike(heard: Sequence[list[NewTone]], chosen: Sequence[NewTone | None]) -> FloatArray:
    """Semitones from fundamental to a clear partial that many attacks have alike, ascending."""
    found = sorted(
        _semitones(own, tone)
        for row, own in zip(heard, chosen, strict=True) if own is not None
        for tone in row if _is_clear(tone) and tone.frequency_hz > 1.4 * own.frequency_hz
    )  # fmt: skip
    values = np.array(found)
    needed = max(LEAST_ALIKE, LEAST_ALIKE_SHARE * sum(own is not None for own in chosen))
    kept: list[float] = []
    for value in values:
        near = values[np.abs(values - value) < ALIKE_SEMITONES]
        if len(near) >= needed and (not kept or np.median(near) > kept[-1] + ALIKE_SEMITONES):
            kept.append(float(np.median(near)))
    return np.array(kept)


def _rise(chosen: Sequence[NewTone | None]) -> list[float | None]:
    """The middle pitch of the plucks about each attack; None everywhere if the comb does not rise smoothly."""
    places = [k for k, tone in enumerate(chosen) if tone is not None]
    pitches = np.array([pitch_of_hz(chosen[k].frequency_hz) for k in places])  # type: ignore[union-attr]
    rise: list[float | None] = [None] * len(chosen)
    if len(places) < 2 * BESIDE:
        return rise
    middles = np.array([
        np.median(np.r_[pitches[max(0, i - BESIDE) : i], pitches[i + 1 : i + 1 + BESIDE]]) for i in range(len(places))
    ])  # fmt: skip
    if np.mean(np.abs(pitches - middles) < FAR_SEMITONES) < SMOOTH_SHARE:
        return rise
    for k, middle in zip(places, middles, strict=True):
        rise[k] = float(middle)
    return rise


def _better(row: Sequence[NewTone], own: NewTone, intervals: FloatArray, middle: float | None) -> NewTone:
    """Another tone of the attack, where the own choice has no partial like the others' or lies far off the rise."""
    loudest = max(tone.level_db for tone in row)
    others = [
        t for t in row
        if t is not own and t.over_db > LEAST_OVER_DB and t.share > LEAST_SHARE
        and t.level_db > loudest - LEVEL_RANGE_DB and t.later_db < SWELLING_DB
    ]  # fmt: skip
    for another in (_nearer_the_rise, _line_over_a_hump, _under_its_partials):
        better = another(row, own, others, intervals, middle)
        if better is not None:
            return better
    return own


def _nearer_the_rise(
    row: Sequence[NewTone], own: NewTone, others: list[NewTone], intervals: FloatArray, middle: float | None
) -> NewTone | None:
    """Where the own choice lies far off the rise: a tone near it that explains more, or is its octave, say."""
    if middle is None or abs(pitch_of_hz(own.frequency_hz) - middle) <= FAR_SEMITONES:
        return None
    support = _support(row, own, intervals)
    near = [
        t for t in others
        if abs(pitch_of_hz(t.frequency_hz) - middle) < NEAR_SEMITONES
        and (_support(row, t, intervals) > support or _is_whole(t, own))
    ]  # fmt: skip
    return _best(row, near, intervals)


def _line_over_a_hump(
    row: Sequence[NewTone], own: NewTone, others: list[NewTone], intervals: FloatArray, middle: float | None
) -> NewTone | None:
    """Where the own choice is a thump: the clear line over it, or a clear tone with the comb's usual partials."""
    hump = _hump(row, own)
    if hump:
        ring = float(np.median([t.t60_s for t in hump]))
        lines = [
            t for t in others
            if 0.0 < _semitones(own, t) < LINE_SEMITONES and t.over_db > max(LINE_OVER_DB, own.over_db + CLEARER_DB)
            and t.t60_s > ring and t.level_db > own.level_db - HUMP_RANGE_DB
        ]  # fmt: skip
        if lines:
            return min(lines, key=lambda t: t.frequency_hz)
    if own.over_db >= THUMP_OVER_DB:
        return None
    clear = [
        t for t in _outlasting(own, others)
        if _semitones(own, t) > 0 and t.over_db > own.over_db + CLEARER_DB and _support(row, t, intervals) > 0
    ]  # fmt: skip
    return _best(row, clear, intervals)


def _under_its_partials(
    row: Sequence[NewTone], own: NewTone, others: list[NewTone], intervals: FloatArray, middle: float | None
) -> NewTone | None:
    """Where the own choice stands over a lasting tone as the comb's partials do: that tone."""
    support = _support(row, own, intervals)
    under = [
        t for t in _outlasting(own, others)
        if np.any(np.abs(intervals - _semitones(t, own)) < ALIKE_SEMITONES) and _support(row, t, intervals) > support
    ]  # fmt: skip
    return _best(row, under, intervals)


def _best(row: Sequence[NewTone], tones: list[NewTone], intervals: FloatArray) -> NewTone | None:
    return max(tones, key=lambda t: (_support(row, t, intervals), t.level_db), default=None)


def _outlasting(own: NewTone, others: list[NewTone]) -> list[NewTone]:
    return [t for t in others if _is_clear(t) and t.t60_s > OUTLASTS * own.t60_s]


def _semitones(lower: NewTone, upper: NewTone) -> float:
    return float(12.0 * np.log2(upper.frequency_hz / lower.frequency_hz))


def _hump(row: Sequence[NewTone], own: NewTone) -> list[NewTone]:
    """The tones crowded about the own one, itself among them, if they make a broad hump and no line."""
    near = [
        t for t in row
        if abs(_semitones(own, t)) < HUMP_SEMITONES and t.level_db > own.level_db - HUMP_LEVEL_DB
    ]  # fmt: skip
    return near if own.over_db < THUMP_OVER_DB and len(near) >= LEAST_CROWD else []


def _support(row: Sequence[NewTone], tone: NewTone, intervals: FloatArray) -> int:
    """How many of the comb's usual partials stand over a tone."""
    above = [_semitones(tone, t) for t in row if _is_clear(t)]
    return sum(any(abs(a - interval) < ALIKE_SEMITONES for a in above) for interval in intervals)


def _is_clear(tone: NewTone) -> bool:
    return tone.over_db > CLEAR_OVER_DB and tone.share > CLEAR_SHARE


def _is_whole(one: NewTone, other: NewTone) -> bool:
    ratio = max(one.frequency_hz, other.frequency_hz) / min(one.frequency_hz, other.frequency_hz)
    return round(ratio) in WHOLE_RATIOS and abs(1200.0 * np.log2(ratio / round(ratio))) < 15.0
