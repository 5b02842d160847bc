"""Why a strike is said to have been silent, or why that cannot be told, in words for a person."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.listen.turn.followed import Followed
from disc.listen.turn.hear.heard_strikes import SILENT_FROM, HeardStrike
from disc.listen.turn.hear.strike_steps import own_levels
from disc.listen.turn.place.tones import SHARED_SEMITONES
from disc.listen.turn.turn_record import Silence

FEWEST_OTHERS = 2  # silent strikes that make the tooth the reason, not the pin; chosen: one other may be chance
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
RINGS_S = 2.5  # a twin struck so long before may still ring
LOUD_BEFORE = 0.15  # of a strike's usual step: what rings is heard


def silences_of(heard: Sequence[HeardStrike], followed: Followed) -> list[Silence]:
    """One for every strike that is silent or open in some lap, in order; strikes by their index in expected."""
    usual = own_levels(followed.steps, [h.expected for h in heard])
    said: dict[int, Silence] = {}
    for k, h in enumerate(heard):
        if h.beginning is None and not h.beyond and h.silent is not None and h.expected.index not in said:
            reason = _reason(k, heard, followed, float(usual[k]))
            said[h.expected.index] = Silence(h.expected.index, round(h.silent, 3), reason)
    return [said[index] for index in sorted(said)]


def _reason(k: int, heard: Sequence[HeardStrike], followed: Followed, usual: float) -> str:
    h, step = heard[k], followed.steps[k]
    tooth = h.expected.tooth
    assert step is not None and h.silent is not None
    if h.silent < SILENT_FROM:
        twins = _twins(followed, tooth)
        at_once = [o.expected.tooth for o in heard if o.expected.tooth in twins and abs(o.path_s - h.path_s) < 0.05]
        if at_once:
            return f"one of the teeth {tooth} and {at_once[0]}, of one note, or both"
        low, high = (max(0.0, step.level + s * 2.0 * step.sigma) / usual for s in (-1, 1))
        return f"between {100 * low:.0f} and {100 * min(high, 1.0):.0f} % of its usual tone is added: too uncertain"
    others = {o.expected.index: o.beginning is not None for o in heard if o.expected.tooth == tooth and o is not h}
    others.pop(h.expected.index, None)
    if len(others) >= FEWEST_OTHERS and not any(others.values()):
        return f"tooth {tooth} is heard at none of its {len(others) + 1} strikes"
    added = f"its own tone grows by {100 * min(1.0, step.level / usual):.0f} % of what its strikes usually add"
    twins = _twins(followed, tooth)
    before = [
        (h.path_s - o.path_s, o.expected.tooth) for o in heard
        if o.beginning is not None and o.expected.tooth in twins and 0.0 < h.path_s - o.path_s < RINGS_S
    ]  # fmt: skip
    if before and step.before > LOUD_BEFORE * usual:
        return f"only tooth {min(before)[1]}, of the same note, rings on; {added}"
    return added


def _twins(followed: Followed, tooth: int) -> set[int]:
    hz = followed.voices[tooth].hz
    return {t for t, v in followed.voices.items() if t != tooth and abs(12 * np.log2(v.hz / hz)) < SHARED_SEMITONES}
