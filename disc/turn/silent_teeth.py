"""Pitches of a few teeth that cannot be heard any more, from their neighbours in the comb.

A tooth that is broken, missing or dead has no pitch to measure, and the tune must not wait for it: teeth stand in the
order of their pitch, so its neighbours leave room for a few notes only. The middle of that room is taken and every
strike of the tooth is marked as doubtful.
"""

from __future__ import annotations

from collections.abc import Sequence

from disc.records import Comb

# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
# More than this share of the teeth is no gap but a comb without pitches: a guess must then be asked for (--order).
MOST_UNKNOWN = 1.0 / 3.0
SCALE_STEP = 2.0  # semitones from tooth to tooth beyond the last that is known; common practice, no source


def pitches_between(comb: Comb, unknown: Sequence[int]) -> dict[int, float] | None:
    """A pitch by tooth for those in `unknown`, whole semitones; None where too few teeth have one to go by."""
    teeth = sorted(comb.teeth, key=lambda tooth: (tooth.side, tooth.number))
    without = sum(tooth.pitch is None for tooth in teeth)
    if not teeth or without > MOST_UNKNOWN * len(teeth):
        return None
    found: dict[int, float] = {}
    for side in {tooth.side for tooth in teeth}:
        row = [tooth for tooth in teeth if tooth.side is side]
        known = [(place, tooth.pitch) for place, tooth in enumerate(row) if tooth.pitch is not None]
        if not known:
            return None
        found |= {t.number: _between(known, place) for place, t in enumerate(row) if t.number in set(unknown)}
    return found


def _between(known: Sequence[tuple[int, float]], place: int) -> float:
    below = [pair for pair in known if pair[0] < place]
    above = [pair for pair in known if pair[0] > place]
    if below and above:
        (first, low), (last, high) = below[-1], above[0]
        return float(round(low + (high - low) * (place - first) / (last - first)))
    rising = 1.0 if known[-1][1] >= known[0][1] else -1.0
    edge, pitch = known[-1] if below else known[0]
    return float(min(max(round(pitch + rising * SCALE_STEP * (place - edge)), 0), 127))
