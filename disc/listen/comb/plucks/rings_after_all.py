"""A tooth of which only clicks were taken, though one clear tone begins at each of them: it rings.

Its tone was passed over because it is weak beside its like, dies sooner, or lies where a choked note could. But a click
has no line in common with the next one that stands so far over its noise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from disc.listen.comb.plucks.pluck_start import PluckStart
from disc.listen.sound.bands import pitch_of_hz
from disc.listen.sound.beginnings import NewTone

# Measured on 112 drawn combs: of 176 dead teeth none has a tone in common that stands over 20.6 dB over its noise; of
# 11 that rang and were called dead, ten have one over 34 dB.
RINGS_OVER_DB = 26.0
# Unless said otherwise: chosen on the same combs, not fitted.
LEAST_OVER_DB, LEAST_SHARE, LEAST_GROWTH_DB = 15.0, 0.3, 3.0  # of what is its pitch, once something rings
ALIKE_SEMITONES = 0.25  # of one tone heard twice
COURSE_SEMITONES = 5.0  # from the teeth beside it, within which its pitch lies
# Of those eleven teeth the tone rings for .34 of what is usual at least; and the longest that counts as usual, since a
# tone that swells at first seems to ring for ever.
LEAST_T60_SHARE, LONGEST_USUAL_S = 0.25, 4.0
BESIDE = 4  # plucks on each side that say where the comb stands


def usual_ring_s(plucks: Sequence[PluckStart]) -> float:
    """How long the comb's teeth usually ring; 0 where none does."""
    rings = [min(p.tone.t60_s, LONGEST_USUAL_S) for p in plucks if p.tone is not None]
    return float(np.median(rings)) if rings else 0.0


def common_tones(plucks: Sequence[PluckStart], usual_s: float) -> list[tuple[NewTone, ...]]:
    """Tones that begin at every one of these plucks, one of each; empty unless one stands clear of its noise and rings,
    held against what is usual in this comb: a dead tooth's choked note does not."""
    if len(plucks) < 2:
        return []
    found = []
    for tone in plucks[0].tones:
        same = [tone, *(_like(tone, p.tones) for p in plucks[1:])]
        begun = [t for t in same if t is not None and _begins(t) and t.t60_s > LEAST_T60_SHARE * usual_s]
        if len(begun) == len(plucks):
            found.append(tuple(begun))
    return found if any(min(t.over_db for t in same) > RINGS_OVER_DB for same in found) else []


def with_those_that_ring(teeth: Sequence[Sequence[PluckStart]]) -> list[list[PluckStart]]:
    """The plucks of each tooth, in order of the teeth; where one had no tone though all have one in common, near its
    own pitch or those of the teeth beside it, with that."""
    pitches = [float(np.median(heard)) if (heard := [p.pitch for p in row if p.pitch is not None]) else None
               for row in teeth]  # fmt: skip
    usual_s = usual_ring_s([p for row in teeth for p in row])
    rows = []
    for k, row in enumerate(teeth):
        own = pitches[k]
        lacks = any(p.tone is None for p in row)
        rows.append(_ringing(row, _course(pitches, k) if own is None else own, usual_s) if lacks else list(row))
    return rows


def _ringing(plucks: Sequence[PluckStart], course: float | None, usual_s: float) -> list[PluckStart]:
    near = [
        same for same in common_tones(plucks, usual_s)
        if course is not None and abs(pitch_of_hz(same[0].frequency_hz) - course) < COURSE_SEMITONES
    ]  # fmt: skip
    if not near:
        return list(plucks)
    own = max(near, key=lambda same: min(t.over_db for t in same))
    return [replace(p, tone=tone) for p, tone in zip(plucks, own, strict=True)]


def _course(pitches: Sequence[float | None], k: int) -> float | None:
    beside = [p for p in (*pitches[max(0, k - BESIDE) : k], *pitches[k + 1 : k + 1 + BESIDE]) if p is not None]
    return float(np.median(beside)) if beside else None


def _like(tone: NewTone, others: Sequence[NewTone]) -> NewTone | None:
    nearest = min(others, key=lambda t: abs(np.log2(t.frequency_hz / tone.frequency_hz)), default=None)
    if nearest is None or abs(12.0 * np.log2(nearest.frequency_hz / tone.frequency_hz)) > ALIKE_SEMITONES:
        return None
    return nearest


def _begins(tone: NewTone) -> bool:
    return tone.over_db > LEAST_OVER_DB and tone.share > LEAST_SHARE and tone.growth_db > LEAST_GROWTH_DB
