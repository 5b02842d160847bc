"""A draft comb from the tracks alone: one tooth a track, its tip's angle and pitch unknown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from disc.comb.tracks import find_tracks
from disc.errors import MissingPart
from disc.records import Comb, Condition, Pin, Side, Tooth

# A single pin may be a track of its own, but a single empty hole away from all tracks is a slip, not a tooth.
_PROOF = frozenset({Condition.SOUND, Condition.BENT, Condition.STUB})


def comb_from_pins(pins: Sequence[Pin]) -> tuple[Comb, tuple[Pin, ...]]:
    """(draft comb, the pins with their draft teeth). Teeth are numbered from the centre outwards, upper face first.

    Raises MissingPart if there are no pins.
    """
    teeth: list[Tooth] = []
    placed: dict[int, int] = {}
    for side in Side:
        mine = [pin for pin in pins if pin.side is side]
        for track in find_tracks(np.array([pin.r_mm for pin in mine])):
            members = [mine[i] for i in track.members]
            if not any(pin.condition in _PROOF for pin in members):
                continue
            number = len(teeth) + 1
            teeth.append(Tooth(number, side, track.r_mm))
            placed |= {pin.id: number for pin in members}
    if not teeth:
        raise MissingPart("there are no pins from which a draft comb could be made. Run: disc read JOB first.")
    return Comb(tuple(teeth), draft=True), tuple(replace(pin, tooth=placed.get(pin.id)) for pin in pins)
