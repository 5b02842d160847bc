"""What a search by exact places gives: tunes with their best placement, and how far it looked."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from disc.library.index.tune_index import Index
from disc.library.read.likeness import ALIKE, likeness
from disc.library.records import FloatArray, IntArray
from disc.library.search.asked.disc_pulse import DiscPulse, divided, find_grids, unlike
from disc.library.search.places.trial_places import Placement

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
GRIDS_FOUND = 4  # strongest pulses, of which the unlike ones are followed


@dataclass(frozen=True, slots=True)
class Effort:
    """How far the search looks: pulses, groups and votes, placements looked at, rated, and fitted finely."""

    grids: int
    groups: int
    votes: int
    looks: int
    rated: int
    fine: int


@dataclass(frozen=True, slots=True, eq=False)
class PlacedTune:
    """One tune's best placement. shift: semitones from print to disc, octaves included.

    pitch_of_rank: the solved comb, where only ranks were known; -1 for idle teeth.
    """

    tune: int
    score: float
    place: Placement
    shift: int = 0
    pitch_of_rank: IntArray | None = None


def is_version(index: Index, a: int, b: int) -> bool:
    """Whether two tunes are versions of each other: of one group, or alike by their tones on the beats."""
    return bool(index.group[a] == index.group[b]) or _likeness(index, min(a, b), max(a, b)) >= ALIKE


@lru_cache(maxsize=512)
def _likeness(index: Index, a: int, b: int) -> float:
    """A search asks after the same pairs several times."""
    return likeness(index.reference(a), index.reference(b))


def pulses(most: int, onset_s: FloatArray) -> list[DiscPulse]:
    """The pulses tried: the likeliest that differ."""
    return [divided(onset_s, grid) for grid in unlike(find_grids(onset_s, GRIDS_FOUND), most)]


def highest(score: FloatArray, most: int) -> IntArray:
    """Indices of the highest scores, highest first."""
    if most >= score.size:
        return np.argsort(-score, kind="stable")
    part = np.sort(np.argpartition(-score, most)[:most])
    return part[np.argsort(-score[part], kind="stable")]


def placed_tunes(
    tune: IntArray, score: FloatArray, shift: IntArray, quarter_s: FloatArray, start_s: FloatArray,
    tuning: IntArray | None = None,
) -> list[PlacedTune]:  # fmt: skip
    """One placement each."""
    return [
        PlacedTune(
            int(tune[i]), float(score[i]),
            Placement(int(shift[i]) % 12, float(quarter_s[i]), float(start_s[i]), float(score[i])), int(shift[i]),
            None if tuning is None else tuning[i],
        )
        for i in range(tune.size)
    ]  # fmt: skip


def best_of_each(found: list[PlacedTune]) -> list[PlacedTune]:
    """Each tune's best placement, best first."""
    best: dict[int, PlacedTune] = {}
    for one in sorted(found, key=lambda one: -one.score):
        best.setdefault(one.tune, one)
    return list(best.values())
