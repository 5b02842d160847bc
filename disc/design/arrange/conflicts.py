"""Which pins cannot both stand: too soon after each other on one tooth, or too little brass between two holes."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from disc.comb.bar import return_time_s
from disc.design.arrange.free_places import ROUNDING_MM, Places, least_turn_deg
from disc.design.arrange.pitches import PlayingComb
from disc.design.settings import DesignSettings
from disc.frame import FULL_TURN_DEG, FloatArray, to_xy_mm

IntArray = npt.NDArray[np.int64]
Clique = tuple[int, ...]


def least_gaps_deg(comb: PlayingComb, settings: DesignSettings, revolution_s: float) -> FloatArray:
    """For each tooth the least turn between two of its pins, shape (k,): to come back, be damped and fall free."""
    gaps = []
    for tooth in comb.teeth:
        time_deg = return_time_s(tooth.tooth.pitch) / revolution_s * FULL_TURN_DEG
        room_deg = least_turn_deg(tooth.tooth.tip_r_mm, settings.track_distance_mm + ROUNDING_MM)
        gaps.append(max(time_deg, room_deg))
    return np.array(gaps)


def find_cliques(
    places: Places, note: IntArray, tooth: IntArray, gaps_deg: FloatArray, hole_mm: float
) -> tuple[Clique, ...]:
    """Sets of candidates of which at most one can stand. note, tooth: shape (m,), rows and columns of places."""
    turn = places.turn_deg[note]
    found: list[Clique] = []
    for column in np.unique(tooth):
        members = np.flatnonzero(tooth == column)
        found += _along_the_track(members[np.argsort(turn[members], kind="stable")], turn, float(gaps_deg[column]))
    found += _through_the_plate(places, note, tooth, hole_mm)
    return tuple(found)


def _along_the_track(members: IntArray, turn: FloatArray, gap_deg: float) -> Iterable[Clique]:
    """Runs of one tooth's candidates, in order of turn, that all lie within the least gap: each run a clique."""
    cliques = []
    reached = -1
    turns = turn[members]
    for start in range(len(members)):
        end = int(np.searchsorted(turns, turns[start] + gap_deg - 1e-9, side="left"))
        if end - start > 1 and end - 1 > reached:
            cliques.append(tuple(int(c) for c in members[start:end]))
            reached = end - 1
    # Across the rest arc the last pin is followed by the first.
    for first in range(len(members)):
        over = turns[first] + FULL_TURN_DEG - gap_deg + 1e-9
        for last in range(len(members) - 1, first, -1):
            if turns[last] <= over:
                break
            cliques.append((int(members[first]), int(members[last])))
    return cliques


def _through_the_plate(places: Places, note: IntArray, tooth: IntArray, hole_mm: float) -> list[Clique]:
    """Pairs on different tracks, of either face, whose holes would leave too thin a wall."""
    from scipy.spatial import cKDTree

    if not note.size:
        return []
    x, y = to_xy_mm(places.r_mm[note, tooth], places.theta_deg[note, tooth])
    pairs = cKDTree(np.column_stack([x, y])).query_pairs(hole_mm + ROUNDING_MM, output_type="ndarray")
    apart = (tooth[pairs[:, 0]] != tooth[pairs[:, 1]]) & (note[pairs[:, 0]] != note[pairs[:, 1]])
    return [(int(a), int(b)) for a, b in pairs[apart]]
