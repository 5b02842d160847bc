"""The same disc twice in a collection: under two names, photographed again, or copied with its folder.

Two jobs that hold one photograph are one disc. Else their holes are laid over each other: whatever the slot was taken
for, at whatever angle, one disc's holes fall on the other's on both faces. Discs set out from one template do that too,
more loosely, so how closely the holes lie and whether the same pins are damaged is said with it: the eye decides.

The holes of a disc are first counted in sectors of 2 degrees (Row.layout), so that only discs with like counts, turned
as they may be, are compared hole by hole.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree

from disc.collect.rows import DONE, DiscRow
from disc.errors import DiscError
from disc.frame import FloatArray
from disc.job import open_job
from disc.records import Condition, Pin, Side

SECTORS = 180  # of two degrees; chosen by hand

DIGITS = "0123456789abcdefghijklmnopqrstuvwxyz"  # more holes in a sector than 35 count as 35
# Each sector shares its holes with those beside it, so that a hole at a border counts alike in both discs. Chosen on 60
# pairs each of invented discs with 60, 120 and 220 holes on one maker's tracks, read twice with 6 % of the holes lost
# and turned at random: one disc gives 0.89 at least, two different ones 0.45 at most. Sectors of 5 degrees without
# sharing gave 0.47 and 0.33.
SHARING = 4
LIKE_LAYOUT = 0.7  # cosine of two layouts from which they are compared; chosen by hand
# Unless said otherwise: chosen by hand, not measured.
# Two readings of one disc find nine holes in ten alike, within what a diameter given 1 % wrong moves the outermost.
LEAST_SHARE, NEAR_MM = 0.85, 0.25
COUNT_REACH = 0.15  # of the holes, that one reading may have missed or found too many
FEWEST = 12  # with fewer holes, chance lays one disc over another
STEP_DEG = 360.0 / SECTORS  # between turns tried, by definition
# Jobs that hold one photograph are named each with each up to so many, more only each with the next; chosen by hand.
MOST_IN_FULL = 20


def layout_of(pins: Sequence[Pin]) -> str:
    """Holes a sector of 2 degrees, upper face then lower, a digit each; empty where there are too few to tell."""
    sites = _sites(pins)
    if len(sites) < FEWEST:
        return ""
    counts = np.zeros((2, SECTORS), int)
    for pin in sites:
        counts[list(Side).index(pin.side), int(pin.theta_deg // STEP_DEG) % SECTORS] += 1
    return "".join(DIGITS[min(count, len(DIGITS) - 1)] for count in counts.ravel())


def same_disc(
    rows: Sequence[DiscRow], pins_of: Callable[[DiscRow], Sequence[Pin]] | None = None
) -> list[dict[str, object]]:
    """Pairs of discs that may be one: their names, why, and how closely the holes lie (None: by the photograph)."""
    read = pins_of or _stored_pins
    done = [row for row in rows if row.status == DONE]
    found: list[dict[str, object]] = []
    known: set[frozenset[str]] = set()
    for one, other in _sharing_a_photograph(done):
        known.add(frozenset((one.job, other.job)))
        found.append({"discs": [one.name, other.name], "why": "the same photograph", "apart_mm": None, "share": None})
    for one, other in _alike(done):
        if frozenset((one.job, other.job)) in known:
            continue
        share, apart_mm, damage = _laid_over(read(one), read(other))
        if share >= LEAST_SHARE:
            why = "the same holes, and the same pins damaged" if damage else "the same holes, other pins damaged"
            place = {"apart_mm": round(apart_mm, 3), "share": round(share, 3)}
            found.append({"discs": [one.name, other.name], "why": why, **place})
    return found


def _stored_pins(row: DiscRow) -> Sequence[Pin]:
    try:
        return open_job(Path(row.job)).pins()
    except DiscError:
        return ()  # gone or damaged since


def _sharing_a_photograph(rows: Sequence[DiscRow]) -> list[tuple[DiscRow, DiscRow]]:
    by_photo: dict[str, list[DiscRow]] = {}
    for row in rows:
        for digest in dict.fromkeys(row.photographs.split()):
            by_photo.setdefault(digest, []).append(row)
    pairs: dict[tuple[str, str], tuple[DiscRow, DiscRow]] = {}
    for some in by_photo.values():
        each = combinations(some, 2) if len(some) <= MOST_IN_FULL else pairwise(some)
        pairs |= {(a.job, b.job): (a, b) for a, b in each}
    return list(pairs.values())


def _alike(rows: Sequence[DiscRow]) -> list[tuple[DiscRow, DiscRow]]:
    """Pairs whose counts by sector agree at some turn."""
    known = [row for row in rows if len(row.layout) == 2 * SECTORS]
    if len(known) < 2:
        return []
    counts = np.array([[DIGITS.index(digit) for digit in row.layout] for row in known], float)
    faces = counts.reshape(len(known), 2, SECTORS)
    holes = counts.sum(axis=1)
    for _ in range(SHARING):
        faces = (np.roll(faces, 1, axis=2) + 2.0 * faces + np.roll(faces, -1, axis=2)) / 4.0
    centred = faces - faces.mean(axis=2, keepdims=True)
    waves = np.fft.rfft(centred, axis=2)
    size = np.sqrt((centred**2).sum(axis=(1, 2)))
    pairs = []
    for i in range(len(known) - 1):
        near = i + 1 + np.flatnonzero(np.abs(holes[i + 1 :] - holes[i]) <= COUNT_REACH * holes[i])
        if not len(near):
            continue
        products = np.fft.irfft((waves[near] * waves[i].conj()).sum(axis=1), SECTORS, axis=1).max(axis=1)
        like = products / np.maximum(size[near] * size[i], 1e-9)
        pairs += [(known[i], known[j]) for j in near[like >= LIKE_LAYOUT]]
    return pairs


def _sites(pins: Sequence[Pin]) -> list[Pin]:
    return [pin for pin in pins if pin.condition not in (Condition.EXTRA, Condition.UNSEEN)]


def _laid_over(one: Sequence[Pin], other: Sequence[Pin]) -> tuple[float, float, bool]:
    """(share of all holes that have a mate, their median distance in mm, whether damage agrees) at the best turn."""
    mine, theirs = _sites(one), _sites(other)
    if min(len(mine), len(theirs)) < FEWEST:
        return 0.0, math.inf, False
    trees = {side: cKDTree(_places(theirs, side, 0.0)) for side in Side if _of(theirs, side)}
    best = max((_closeness(mine, trees, turn), turn) for turn in np.arange(0.0, 360.0, 0.5))[1]
    turn = max((_closeness(mine, trees, best + fine), best + fine) for fine in np.arange(-0.5, 0.51, 0.05))[1]
    gaps, pairs = [], []
    for side, tree in trees.items():
        if not _of(mine, side):
            continue
        far, index = tree.query(_places(mine, side, turn))
        for pin, gap, mate in zip(_of(mine, side), far, index, strict=True):
            if gap <= NEAR_MM:
                gaps.append(gap)
                pairs.append((pin, _of(theirs, side)[mate]))
    damaged = [(a, b) for a, b in pairs if Condition.SOUND not in (a.condition, b.condition)]
    either = [(a, b) for a, b in pairs if {a.condition, b.condition} != {Condition.SOUND}]
    share = len(gaps) / max(len(mine), len(theirs))
    return share, float(np.median(gaps)) if gaps else math.inf, len(damaged) * 2 >= len(either)


def _closeness(mine: Sequence[Pin], trees: dict[Side, cKDTree], turn_deg: float) -> float:
    """How well the holes lie over each other: one for each that falls upon a mate, less the farther off it is."""
    total = 0.0
    for side, tree in trees.items():
        if _of(mine, side):
            far = tree.query(_places(mine, side, turn_deg))[0]
            total += float(np.maximum(1.0 - (far / NEAR_MM) ** 2, 0.0).sum())
    return total


def _of(pins: Sequence[Pin], side: Side) -> list[Pin]:
    return [pin for pin in pins if pin.side is side]


def _places(pins: Sequence[Pin], side: Side, turn_deg: float) -> FloatArray:
    """Shape (n, 2), mm, turned by so much."""
    here = _of(pins, side)
    angles = np.radians([pin.theta_deg + turn_deg for pin in here])
    radii = np.array([pin.r_mm for pin in here])
    return np.column_stack((radii * np.cos(angles), radii * np.sin(angles)))


def together(pairs: Sequence[dict[str, object]]) -> dict[str, list[dict[str, object]]]:
    """The pairs by the name of each disc in them."""
    found: dict[str, list[dict[str, object]]] = {}
    for pair in pairs:
        for name in pair["discs"]:  # type: ignore[attr-defined]
            found.setdefault(str(name), []).append(pair)
    return found
