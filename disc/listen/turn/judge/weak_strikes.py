"""Strikes that are weak each time, and teeth weak in all their strikes: a pin too short, a tooth that stands too far.

A strike is held against the others of its tooth, a tooth against the teeth nearest in pitch.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.listen.turn.hear.heard_strikes import HeardStrike
from disc.listen.turn.hear.strike_steps import ToneStep

# Strongest of a strike's repeats against the usual of the tooth's other strikes. Of the tuning recordings' pins that
# were made to give a tenth to a quarter of the usual force all that were heard lie under 0.45; of 448 others one does,
# of a tooth with one other strike.
WEAK_SHARE, FEWEST_OTHERS = 0.46, 2
# Usual of a tooth's strikes against that of the nearest teeth, measured on drawn turns: 0.05 to 0.22 where a tooth was
# made weak (twelve of fourteen; 0.39 and more for the others), 0.31 at least of 127 others: partials differ from tooth
# to tooth.
WEAK_TOOTH_SHARE, FEWEST_OF_A_TOOTH, BESIDE = 0.26, 3, 6


def weak_strikes(heard: Sequence[HeardStrike], steps: Sequence[ToneStep | None]) -> list[int]:
    """Indices of the strikes that are weak each time they are heard, in order. steps: one for each of heard."""
    by_tooth: dict[int, dict[int, list[float]]] = {}
    for h, step in zip(heard, steps, strict=True):
        if h.beginning is not None and step is not None:
            by_tooth.setdefault(h.expected.tooth, {}).setdefault(h.expected.index, []).append(step.level)
    found = []
    for strikes in by_tooth.values():
        for index, strengths in strikes.items():
            others = [max(s) for other, s in strikes.items() if other != index]
            if len(others) >= FEWEST_OTHERS and max(strengths) < WEAK_SHARE * np.median(others):
                found.append(index)
    return sorted(found)


def weak_teeth(heard: Sequence[HeardStrike]) -> tuple[int, ...]:
    """Teeth that sound, but far more weakly than the teeth next to them in pitch."""
    strengths: dict[int, list[float]] = {}
    group = {h.expected.tooth: h.expected.group for h in heard}
    for h in heard:
        if h.beginning is not None:
            strengths.setdefault(h.expected.tooth, []).append(h.beginning.strength)
    usual = {tooth: float(np.median(values)) for tooth, values in strengths.items()}
    found = []
    for tooth, values in strengths.items():
        others = sorted((abs(group[o] - group[tooth]), o) for o in usual if group[o] != group[tooth])[:BESIDE]
        if len(values) >= FEWEST_OF_A_TOOTH and others:
            beside = float(np.median([usual[o] for _, o in others]))
            if usual[tooth] < WEAK_TOOTH_SHARE * beside:
                found.append(tooth)
    return tuple(sorted(found))
