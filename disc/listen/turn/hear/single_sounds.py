"""Single beginnings of a turn: peaks of each pitch's strength, and how much of each the other strikes explain.

A strike of one tooth shows in other pitches too: a partial falls on an octave tooth, a loud neighbour leaks, a tooth of
related pitch answers. How much, the recording itself tells: the usual share at strikes where the other pitch is not
expected.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import find_peaks

from disc.listen.sound.audio import FloatArray
from disc.listen.turn.place.tones import Tones

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
APART_S = 0.045  # two beginnings of one pitch nearer than this are one
# of a pitch's loudest, and over its noise: low, since later steps weigh what is found (chosen by eye)
LEAST_SHARE, LEAST_OVER_NOISE = 0.02, 2.5
EDGE_S = 0.12  # a tone comes up within the longest window


@dataclass(frozen=True)
class Beginning:
    """Something of one pitch begins. strength: amplitude. explained: what other strikes account for. steady: 0 to 1,
    how far it goes on as a tone. edge_s: where the strength has come half way up, surer than its top if that is flat.
    """

    group: int
    time_s: float
    strength: float
    explained: float = 0.0
    steady: float = 1.0
    edge_s: float = 0.0


def find_beginnings(tones: Tones, loud: FloatArray) -> list[Beginning]:
    """All peaks of all pitches that could be a strike, in time order."""
    found = []
    distance, farthest = max(1, round(APART_S / tones.step_s)), round(EDGE_S / tones.step_s)
    for group, row in enumerate(tones.strength):
        least = max(LEAST_SHARE * loud[group], LEAST_OVER_NOISE * tones.noise[group])
        places, _ = find_peaks(row, height=least, distance=distance)
        for k in places:
            at = _vertex(row, int(k)) * tones.step_s
            # Half of a sudden tone is in the window when its middle passes the strike.
            edge = _edge(row, int(k), farthest) * tones.step_s + 0.5 * float(tones.window_s[group])
            found.append(Beginning(group, at, float(row[k]), 0.0, _steady(tones, group, int(k)), edge))
    return sorted(found, key=lambda b: b.time_s)


def _steady(tones: Tones, group: int, k: int) -> float:
    return float(tones.steady[group, max(0, k - 1) : k + 2].max())


def _vertex(row: FloatArray, k: int) -> float:
    """Place of a peak between frames, by a parabola."""
    if not 0 < k < len(row) - 1:
        return float(k)
    a, b, c = row[k - 1], row[k], row[k + 1]
    bend = a - 2 * b + c
    return float(k + (0.5 * (a - c) / bend if bend < 0 else 0.0))


def _edge(row: FloatArray, k: int, farthest: int) -> float:
    """Place, going back from a peak, where half its height is passed; at most so many frames back."""
    half, first = 0.5 * row[k], k
    while first > 0 and k - first < farthest and row[first - 1] > half:
        first -= 1
    if first == 0 or row[first - 1] > half or row[first] <= row[first - 1]:
        return float(first)
    return first - float((row[first] - half) / (row[first] - row[first - 1]))


def peak_near(tones: Tones, group: int, time_s: float, reach_s: float) -> float:
    """Largest strength of a pitch within reach_s of a time."""
    low = max(0, round((time_s - reach_s) / tones.step_s))
    piece = tones.strength[group, low : round((time_s + reach_s) / tones.step_s) + 1]
    return float(piece.max()) if len(piece) else 0.0


# A strike's share in a pitch is learned for what begins together with it and for some spans after it: its tone may
# beat, tremble or set off a sympathetic tooth.
LAGS_S = ((-0.06, 0.055), (0.055, 0.12), (0.12, 0.25), (0.25, 0.5), (0.5, 0.9))
# Shares are pooled over pairs of pitches with the same interval where a pair was never heard alone.
INTERVAL_CENTS = 35.0
UNKNOWN_SHARE = 0.01  # of a strike in a pitch that it was never heard in
NOISE_PEAK = 3.0  # of a pitch's noise, taken off its peaks; chosen by hand
# A strike shows in other pitches when it begins: what begins so much before it is none of its doing. A low tooth
# speaks later than a high one.
LATER_S = 0.03
MOST_CROWD = 2.5  # loudness of what else begins, over the pitch's own; chosen by hand


def shares_of(tones: Tones, struck: Sequence[tuple[float, int]], loud: FloatArray) -> FloatArray:
    """How much a strike of one pitch shows in another: shape (lags, pitches, pitches), [lag, shown in, struck].

    struck: (time, group) of the strikes believed to have sounded. Own pitch at lag 0 is zero.
    """
    count = len(tones.hz)
    seen: list[list[list[list[float]]]] = [[[[] for _ in range(count)] for _ in range(count)] for _ in LAGS_S]
    times = np.array([t for t, _ in struck])
    groups = np.array([g for _, g in struck])
    for t, q in struck:
        own = peak_near(tones, q, t, 0.03)
        if own < 0.3 * loud[q]:
            continue
        for lag, (low, high) in enumerate(LAGS_S):
            near = (times > t + low - 0.1) & (times < t + high + 0.1)
            busy = set(groups[near & ~((times == t) & (groups == q))].tolist())
            others = [g for g in groups[(times > t + min(low, 0) - 0.1) & (times < t + high + 0.1)] if g != q]
            # In a crowd others' shares would be counted as this one's; the median over several chords evens that out.
            if sum(loud[g] for g in others) > MOST_CROWD * loud[q]:
                continue
            middle, reach = t + 0.5 * (low + high), 0.5 * (high - low)
            first = max(0, round((middle - reach) / tones.step_s))
            piece = tones.strength[:, first : round((middle + reach) / tones.step_s) + 1]
            peaks = piece.max(axis=1) if piece.shape[1] else np.zeros(count)
            # Noise has its peaks too, about thrice its usual strength: they are no share of a strike.
            parts = np.sqrt(np.maximum(0.0, peaks**2 - (NOISE_PEAK * tones.noise) ** 2)) / own
            for p, part in enumerate(parts.tolist()):
                if p not in busy and not (p == q and lag == 0):
                    seen[lag][p][q].append(part)
    return _plausible(np.array([_pooled(part, tones.hz, lag) for lag, part in enumerate(seen)]), tones.hz)


# Partials lie above their tooth; below it only the thump of the blow shows. What begins later is a tremble of what was
# there, or a sympathetic tooth: weaker than the strike's own share. Early and extra strikes nearby must not be learned
# as shares.
DOWNWARD_SEMITONES, MOST_DOWNWARD = -2.5, 0.1
MOST_LATER_OWN, MOST_LATER_OTHER = 0.6, 0.6  # of the strike in its own pitch, and of its share at once in another


def _plausible(shares: FloatArray, hz: FloatArray) -> FloatArray:
    """Shares held to what bars can do; same shape."""
    interval = 12 * np.log2(hz[:, None] / hz[None, :])
    together = np.where(interval < DOWNWARD_SEMITONES, np.minimum(shares[0], MOST_DOWNWARD), shares[0])
    same = np.eye(len(hz), dtype=bool)
    most = np.where(same, MOST_LATER_OWN, np.maximum(MOST_LATER_OTHER * together, UNKNOWN_SHARE))
    return np.array([together, *(np.minimum(later, most) for later in shares[1:])])


def _pooled(seen: list[list[list[float]]], hz: FloatArray, lag: int) -> FloatArray:
    count = len(hz)
    interval = 1200 * np.log2(hz[:, None] / hz[None, :])
    direct = np.full((count, count), np.nan)
    for p in range(count):
        for q in range(count):
            if len(seen[p][q]) >= 3:
                direct[p, q] = _median(seen[p][q])
            elif seen[p][q]:  # too few to outvote an early or extra strike among them
                direct[p, q] = min(seen[p][q])
    shares = direct.copy()
    known = np.isfinite(direct)
    order = np.argsort(interval[known], kind="stable")
    intervals, values = interval[known][order], direct[known][order].tolist()
    unknown = np.nonzero(~known)
    first = np.searchsorted(intervals, interval[unknown] - INTERVAL_CENTS, side="right").tolist()
    last = np.searchsorted(intervals, interval[unknown] + INTERVAL_CENTS, side="left").tolist()
    shares[unknown] = [_median(values[i:j]) if j > i else UNKNOWN_SHARE for i, j in zip(first, last, strict=True)]
    if lag == 0:
        np.fill_diagonal(shares, 0.0)
    return shares


def _median(values: Sequence[float]) -> float:
    """Of a short list: numpy's takes ten times as long."""
    ordered = sorted(values)
    middle = len(ordered) // 2
    return ordered[middle] if len(ordered) % 2 else 0.5 * (ordered[middle - 1] + ordered[middle])


def explain(beginnings: Sequence[Beginning], shares: FloatArray, causes: Sequence[Beginning]) -> list[Beginning]:
    """The same beginnings with what strikes near and before them explain. causes: those taken for strikes.

    Only a strike explains anything: noise has peaks at pitches whose strikes are all partials, and would explain away
    whatever sounds there.
    """
    if not len(causes) or not len(beginnings):
        return [replace(b, explained=0.0) for b in beginnings]
    times = np.array([c.time_s for c in causes])
    order = np.argsort(times, kind="stable")
    times = times[order]
    groups = np.array([causes[k].group for k in order], dtype=int)
    strengths = np.array([causes[k].strength for k in order])
    edges = np.array([high for _, high in LAGS_S])
    at, own_group, own_strength = (
        np.array([getattr(b, k) for b in beginnings]) for k in ("time_s", "group", "strength")
    )
    low, high = np.searchsorted(times, at - edges[-1]), np.searchsorted(times, at + LATER_S)
    # Every pair of a beginning (row) and a cause near it (column), one after the other.
    row = np.repeat(np.arange(len(beginnings)), high - low)
    column = np.arange(len(row)) - np.repeat(np.cumsum(high - low) - (high - low), high - low) + low[row]
    apart = ~((groups[column] == own_group[row]) & (times[column] == at[row]))
    row, column = row[apart], column[apart]
    lag = np.searchsorted(edges, at[row] - times[column]).clip(0, len(edges) - 1)
    parts = shares[lag, own_group[row], groups[column]] * strengths[column]
    # What shows there together with it may itself be this one's share in the other: it explains nothing then.
    back = np.where(lag == 0, shares[0, groups[column], own_group[row]] * own_strength[row], 0.0)
    power = np.where(strengths[column] > 1.5 * back, parts**2, 0.0)
    explained = np.sqrt(np.bincount(row, weights=power, minlength=len(beginnings)))
    return [replace(b, explained=float(e)) for b, e in zip(beginnings, explained, strict=True)]
