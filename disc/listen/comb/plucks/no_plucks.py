"""What begins and is no tooth's pluck: short knocks, things put down, a tone heard twice, ringing stirred up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from disc.listen.comb.plucks.pluck_start import (
    SAME_PITCH_SEMITONES,
    SHARP_DB,
    SHORTEST_GAP_S,
    PluckStart,
    click_score,
)
from disc.listen.sound.audio import FloatArray

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
NO_CLICK = -4.0  # a dead tooth's pluck where the attack is not sharp, or a tick
# One hand plucks one tooth about equally hard; a tone much weaker than its like nearby is no pluck of its own.
FORCE_RANGE_DB, LACK_PER_DB = 6.0, 1.2
LONELY = 4.0  # a tone heard only once within some seconds is hardly one of a tooth's plucks
# A tone heard once is no tooth's so far under the lowest or over the highest that are heard again; share of the tones,
# and their number, from which that is asked. Chosen by hand: a fifth from one tooth to the next and a little more.
STRAY_SEMITONES, MOST_COME_BACK, FEWEST_BACK = 8.0, 0.6, 6
BACK_S = 4.0  # a tooth's next pluck comes within; the board under two dead teeth far apart has one pitch too
LONGEST_USUAL_S = 4.0  # a tone that swells at first seems to ring for ever
# Of the ring time of the loud plucks nearest in pitch; knocks, a vowel, a dead tooth's choked note ring shorter. Teeth
# that buzz ring 0.35 of their like at least (drawn combs).
LEAST_LIKE_SHARE, LIKE_PLUCKS, FEWEST_LIKE, LIKE_LOUD_DB = 0.22, 8, 4, 12.0


def without_short(candidates: list[PluckStart], usual_db: FloatArray) -> list[PluckStart]:
    """The candidates; a tone that dies away far sooner than the loud plucks nearest in pitch is no tooth's, but the
    click of a dead one may be under it."""
    loud = [
        k for k, c in enumerate(candidates) if c.tone is not None and c.tone.level_db > usual_db[k] - LIKE_LOUD_DB
    ]  # fmt: skip
    kept = []
    for k, c in enumerate(candidates):
        tone = c.tone
        if tone is None:
            kept.append(c)
            continue
        others = sorted((j for j in loud if j != k), key=lambda j: abs(candidates[j].pitch - c.pitch))  # type: ignore[operator]
        rings = [min(candidates[j].tone.t60_s, LONGEST_USUAL_S) for j in others[:LIKE_PLUCKS]]  # type: ignore[union-attr]
        if len(rings) >= FEWEST_LIKE and tone.t60_s < LEAST_LIKE_SHARE * float(np.median(rings)):
            kept.append(PluckStart(c.attack, None, c.tones, click_score(c.attack)))
        else:
            kept.append(c)
    return kept


def without_strays(candidates: list[PluckStart]) -> list[PluckStart]:
    """The candidates; where most tones come back, one that never does and lies far outside those that do is no
    tooth's: something put down after the last pluck, the board under a dead tooth's click."""
    pitches = np.array([np.nan if c.pitch is None else c.pitch for c in candidates])
    apart = np.abs(pitches[:, None] - pitches[None, :])
    times = np.array([c.time_s for c in candidates])
    soon = np.abs(times[:, None] - times[None, :]) < BACK_S
    back = ((apart < SAME_PITCH_SEMITONES) & soon).sum(axis=1) > 1
    if back.sum() < max(FEWEST_BACK, MOST_COME_BACK * np.isfinite(pitches).sum()):
        return candidates
    low, high = pitches[back].min() - STRAY_SEMITONES, pitches[back].max() + STRAY_SEMITONES
    return [
        PluckStart(c.attack, None, c.tones, click_score(c.attack)) if p < low or p > high else c
        for c, p in zip(candidates, pitches, strict=True)
    ]


def doubted(candidate: PluckStart, all_of_them: Sequence[PluckStart]) -> PluckStart:
    """A tone that may only be the unsteady ringing of an earlier pluck speaks less for a pluck."""
    tone = candidate.tone
    if tone is None:
        return candidate
    same = [
        c.tone.level_db for c in all_of_them
        if c.tone and abs(c.time_s - candidate.time_s) < 6.0
        and abs(np.log2(c.tone.frequency_hz / tone.frequency_hz)) < 0.02
    ]  # fmt: skip
    lack_db = max(same) - tone.level_db
    score = candidate.score - LACK_PER_DB * max(0.0, lack_db - FORCE_RANGE_DB)
    if len(same) < 2:
        score -= LONELY
    if tone.growth_db < 3.0:
        score -= 2.0 + (4.0 if candidate.attack.tick else 0.0)
    if score > 0:
        return replace(candidate, score=score)
    # Ringing that was only stirred up, or a dead tooth whose dull note is choked: then it still clicks.
    sharp = candidate.attack.rise_db > SHARP_DB and not candidate.attack.tick
    return PluckStart(candidate.attack, None, candidate.tones, click_score(candidate.attack) if sharp else NO_CLICK)


def one_each(candidates: list[PluckStart]) -> list[PluckStart]:
    """Of several attacks near one beginning tone only the sharpest keeps it."""
    kept = []
    for c in candidates:
        near = [o for o in candidates if o is not c and abs(o.time_s - c.time_s) < SHORTEST_GAP_S and o.tone and c.tone]
        if any(_outdoes(o, c) for o in near):
            kept.append(PluckStart(c.attack, None, c.tones, NO_CLICK))
        else:
            kept.append(c)
    return kept


def _outdoes(other: PluckStart, candidate: PluckStart) -> bool:
    """Whether the tone heard at a candidate is really that of the other: the same one, or one that drowns it."""
    if other.tone is None or candidate.tone is None:
        return False
    same = abs(np.log2(other.tone.frequency_hz / candidate.tone.frequency_hz)) < 0.03
    if same:
        return (_worth(other), -other.time_s) > (_worth(candidate), -candidate.time_s)
    return other.time_s > candidate.time_s and other.tone.level_db > candidate.tone.level_db + 6.0


def _worth(candidate: PluckStart) -> float:
    """Of attacks that share a tone: the sharpest, unless it is a mere tick."""
    return candidate.attack.rise_db - (12.0 if candidate.attack.tick else 0.0)
