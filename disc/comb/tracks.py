"""Tracks on a face: the radii of its pins parted into the fewest, sharpest circles.

The parting is exact (dynamic programming over the sorted radii, as in Jenks' natural breaks and Wang and Song,
Ckmeans.1d.dp, R Journal 3(2), 2011), with a price on every further track, so that their number need not be known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray

# Spread of pins about their track where nothing better is known: setting error of the maker, about 0.02 mm in each
# direction (common practice, no source), and the reading's own error of the same size.
SPREAD_MM = 0.03
# No two tracks of one face lie closer: the tips of two teeth must pass each other. Common practice, no source.
CLOSEST_TRACKS_MM = 0.15


@dataclass(frozen=True, slots=True)
class Track:
    """One circle of pins: its radius, spread (root mean square), and which of the given radii lie on it."""

    r_mm: float
    spread_mm: float
    members: tuple[int, ...]


def find_tracks(r_mm: FloatArray, spread_mm: float = SPREAD_MM) -> tuple[Track, ...]:
    """Part radii, shape (n,), of one face into tracks, from the centre outwards. Empty for no radii.

    spread_mm: standard deviation of a pin about its track. A further track costs log(n) + log(span / spread), the
    description length of its radius and of the choice of members.
    """
    radii = np.asarray(r_mm, dtype=np.float64)
    if radii.size == 0:
        return ()
    order = np.argsort(radii, kind="stable")
    groups = _part(radii[order], spread_mm)
    return tuple(_track(radii, order[first:last]) for first, last in groups)


def _part(r: FloatArray, spread_mm: float) -> list[tuple[int, int]]:
    """Half-open index ranges of the cheapest parting of the sorted radii."""
    n = len(r)
    sums, squares = np.concatenate([[0.0], np.cumsum(r)]), np.concatenate([[0.0], np.cumsum(r * r)])
    price = np.log(max(n, 2)) + np.log(max((r[-1] - r[0]) / spread_mm, np.e))
    best, cut = np.full(n + 1, np.inf), np.zeros(n + 1, dtype=int)
    best[0] = 0.0
    for last in range(1, n + 1):
        first = np.arange(last)
        count = last - first
        scatter = squares[last] - squares[first] - (sums[last] - sums[first]) ** 2 / count
        costs = best[first] + np.maximum(scatter, 0.0) / (2.0 * spread_mm**2) + price
        cut[last] = int(np.argmin(costs))
        best[last] = costs[cut[last]]
    groups = []
    last = n
    while last > 0:
        groups.append((int(cut[last]), last))
        last = int(cut[last])
    return _join_close(r, groups[::-1])


def _join_close(r: FloatArray, groups: list[tuple[int, int]]) -> list[tuple[int, int]]:
    joined: list[tuple[int, int]] = []
    for first, last in groups:
        if joined and r[first:last].mean() - r[joined[-1][0] : joined[-1][1]].mean() < CLOSEST_TRACKS_MM:
            joined[-1] = (joined[-1][0], last)
        else:
            joined.append((first, last))
    return joined


def _track(radii: FloatArray, members: npt.NDArray[np.intp]) -> Track:
    mine = radii[members]
    middle = float(np.median(mine))
    return Track(middle, float(np.sqrt(np.mean((mine - middle) ** 2))), tuple(int(i) for i in members))
