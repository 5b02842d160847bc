"""Where the disc was at each moment: the expected strikes laid along the recording by one smooth path.

First a straight line (start and time of a revolution) is sought on which most expected strikes find their pitch
beginning. Then dynamic programming lays every group of strikes in turn, with a speed that may change only slowly. The
recording may start late or hold more than one turn: the strikes then come round again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter1d

from disc.listen.sound.audio import FloatArray
from disc.listen.turn.place.tones import Tones

# Discs of this kind turn in 30 to 60 s (common practice, no source); the search goes well beyond.
SHORTEST_TURN_S, LONGEST_TURN_S = 12.0, 120.0
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
LONGEST_SHARE = 3.0  # of the recording; a third of a turn can still be laid over the pins
KNOWN_WITHIN = 0.35  # how far a turn may be from the time the job gives
REACH_S = 0.25  # a straight line misses a movement that slows down by five in a hundred by so much
COARSE_S = 0.04  # grid of the search for a line
STARTS, ALIKE_S = 3, 0.6  # starts looked at for each time of a revolution; nearer ones are one
ABSENT = -0.35  # what a strike that finds nothing says against a place, against up to 1 for one that does


@dataclass(frozen=True)
class Expected:
    """One strike the pins let expect. turn: position in turns from the recording's first lap on, fraction + lap."""

    index: int
    turn: float
    tooth: int
    group: int


@dataclass(frozen=True)
class SteadyTurn:
    """A steady turn: position 0 at start_s, one revolution in revolution_s. score: mean gain of a strike."""

    start_s: float
    revolution_s: float
    score: float


def salience(tones: Tones) -> FloatArray:
    """Strength made comparable between pitches, 0 to 1; shape (pitches, frames).

    One is what the pitch's own loud beginnings reach; a hundredth part of that, or thrice its noise, is nothing.
    """
    loud = loudness(tones)
    floor = np.maximum(loud * 0.03, 4.0 * tones.noise)
    scaled = np.log(np.maximum(tones.strength, 1e-12) / floor[:, None]) / np.log(np.maximum(loud / floor, 2.0))[:, None]
    return np.clip(scaled, 0.0, 1.0)


def loudness(tones: Tones) -> FloatArray:
    """Usual strength of a pitch's own beginnings: the 5th largest separated peak, but no less than a share of the
    comb's; a dead tooth has none of its own. Shape (pitches,)."""
    apart = max(1, round(0.25 / tones.step_s))
    peaks = []
    for row in tones.strength:
        tops = row[(row >= maximum_filter1d(row, apart)) & (row > 0)]
        peaks.append(np.sort(tops)[-4:].mean() if len(tops) >= 4 else row.max())
    found = np.array(peaks)
    return np.maximum(found, 0.2 * np.median(found))


def find_line(tones: Tones, turns: FloatArray, groups: Sequence[int], hint_s: float | None = None) -> list[SteadyTurn]:
    """The likeliest steady turns, best first. turns: fraction of a turn of each strike, groups: its pitch."""
    every = round(COARSE_S / tones.step_s)
    map_ = salience(tones)
    usable = map_.shape[1] // every * every
    map_ = map_[:, :usable].reshape(len(map_), -1, every).max(axis=2)
    wide = maximum_filter1d(map_, round(2 * REACH_S / COARSE_S), axis=1)
    # A pitch that sounds all the time says little; one that is mostly silent says much.
    gain = wide - wide.mean(axis=1, keepdims=True)
    length = map_.shape[1] * COARSE_S
    low, high = (SHORTEST_TURN_S, LONGEST_TURN_S)
    if hint_s:
        low, high = hint_s * (1 - KNOWN_WITHIN), hint_s * (1 + KNOWN_WITHIN)
    high = min(high, max(LONGEST_SHARE * length, low * 1.05))
    margin = int(np.ceil(high / COARSE_S)) + 1
    padded = np.pad(gain, ((0, 0), (margin, margin)))
    found: list[SteadyTurn] = []
    rows = [int(g) for g in groups]
    revolution = low
    while revolution <= high:
        found += _starts(padded, margin, turns, rows, revolution)
        revolution *= 1.004
    found.sort(key=lambda line: -line.score)
    kept: list[SteadyTurn] = []
    for line in found:
        alike = [k for k in kept if _alike(k, line)]
        if not alike:
            kept.append(line)
        if len(kept) == 4:
            break
    return kept


def _starts(
    padded: FloatArray, margin: int, turns: FloatArray, rows: Sequence[int], revolution: float
) -> list[SteadyTurn]:
    """The best starts for one time of revolution. padded: gain with margin columns of nothing on either side."""
    length, near = padded.shape[1] - 2 * margin, round(ALIKE_S / COARSE_S)
    first = -round(0.9 * revolution / COARSE_S)
    offsets = np.round(turns * revolution / COARSE_S).astype(int)
    # One lap from every start at once: each strike adds its pitch's gain, moved by where it stands in the turn.
    lap = round(revolution / COARSE_S)
    count = length - first
    one = np.zeros(count)
    for row, offset in zip(rows, offsets, strict=True):
        begin = margin + first + int(offset)
        piece = padded[row, begin : begin + count]
        one[: len(piece)] += piece
    starts = np.arange(first, first + count)
    order = np.sort(offsets)
    inside = np.searchsorted(order, length - starts) - np.searchsorted(order, -starts)
    total, strikes = one.copy(), inside.astype(float)
    for moved in range(lap, count, lap):
        total[: count - moved] += one[moved:]
        strikes[: count - moved] += inside[moved:]
    # A start early enough to need a whole lap before it is the same as a later one; the sum favours using all sound.
    score = total / np.sqrt(np.maximum(strikes, 0.3 * len(rows))) / np.sqrt(len(rows))
    last = int(min(length - 0.3 * lap, 0.9 * length)) - first
    score = score[: max(1, last)]
    found = []
    for _ in range(STARTS):
        k = int(np.argmax(score))
        found.append(SteadyTurn(float(starts[k] * COARSE_S), revolution, float(score[k])))
        score[max(0, k - near) : k + near + 1] = -np.inf
    return found


def _alike(a: SteadyTurn, b: SteadyTurn) -> bool:
    ends = abs(a.start_s + a.revolution_s - b.start_s - b.revolution_s)
    return abs(a.start_s - b.start_s) < ALIKE_S and ends < ALIKE_S


def expected_along(
    line: SteadyTurn, strikes: Sequence[tuple[float, int]], tones: Tones, margin_s: float
) -> list[Expected]:
    """All strikes that fall into the recording on this line, over as many laps as it holds, in order."""
    length = tones.frames * tones.step_s
    found = []
    for lap in range(-1, int((length - line.start_s) / line.revolution_s) + 2):
        for index, (turn, tooth) in enumerate(strikes):
            at = line.start_s + (turn + lap) * line.revolution_s
            if -margin_s <= at <= length + margin_s:
                found.append(Expected(index, turn + lap, tooth, tones.group_of(tooth)))
    return sorted(found, key=lambda e: (e.turn, e.tooth))


# ---- the path

GRID_S = 0.008  # of the path's search; chosen, a third of CHORD_TURN_S
CHORD_TURN_S = 0.025  # strikes nearer than this are laid together
WANDER_S = 0.8  # how far the path may leave the line
SPEEDS = np.arange(-12, 13) * 0.01  # against the line's speed
SPEED_STEP_COST = 0.6  # of one hundredth of change between groups half a second apart
SLIP_COST = 0.35  # of one grid step that the speed does not explain, squared
SLIPS = np.arange(-2, 4)  # grid steps of slip between two groups


def lay_path(tones: Tones, expected: Sequence[Expected], line: SteadyTurn) -> tuple[FloatArray, float]:
    """(time of each expected strike in s, mean salience there) along the best smooth path; shape (n,)."""
    every = max(1, round(GRID_S / tones.step_s))
    grid_s = every * tones.step_s
    fine = maximum_filter1d(salience(tones), 2 * every + 1, axis=1)[:, ::every]
    chords = _chords(expected, line.revolution_s)
    reach = round(WANDER_S / grid_s)
    offsets = np.arange(-reach, reach + 1)
    score = np.zeros((len(SPEEDS), len(offsets)))
    traces: list[np.ndarray] = []
    centre_before = 0.0
    for k, chord in enumerate(chords):
        turn = float(np.mean([expected[i].turn for i in chord]))
        centre = (line.start_s + turn * line.revolution_s) / grid_s
        if k:
            gap_s = (centre - centre_before) * grid_s
            score, trace = _advance(score, gap_s, grid_s)
            traces.append(trace)
        score = score + _emission(fine, expected, chord, centre, offsets)[None, :]
        centre_before = centre
    places = _trace_back(score, traces)
    times = np.zeros(len(expected))
    gains = []
    for (_, at), chord in zip(places, chords, strict=True):
        turn = float(np.mean([expected[i].turn for i in chord]))
        middle = line.start_s + turn * line.revolution_s + offsets[at] * grid_s
        for i in chord:
            times[i] = middle + (expected[i].turn - turn) * line.revolution_s
            frame = int(np.clip(round(times[i] / grid_s), 0, fine.shape[1] - 1))
            gains.append(fine[expected[i].group, frame])
    return times, float(np.mean(gains)) if gains else 0.0


def _chords(expected: Sequence[Expected], revolution_s: float) -> list[list[int]]:
    chords: list[list[int]] = []
    for i, strike in enumerate(expected):
        if chords and (strike.turn - expected[chords[-1][0]].turn) * revolution_s < CHORD_TURN_S:
            chords[-1].append(i)
        else:
            chords.append([i])
    return chords


def _emission(
    fine: FloatArray, expected: Sequence[Expected], chord: list[int], centre: float, offsets: np.ndarray
) -> FloatArray:
    frames = np.round(centre + offsets).astype(int)
    inside = (frames >= 0) & (frames < fine.shape[1])
    total = np.zeros(len(offsets))
    for i in chord:
        values = fine[expected[i].group, np.clip(frames, 0, fine.shape[1] - 1)]
        total += np.where(inside, np.where(values > 0, values, ABSENT), 0.0)
    return total


def _advance(score: FloatArray, gap_s: float, grid_s: float) -> tuple[FloatArray, np.ndarray]:
    """One group onwards: change speed, then move by what the speed gains or loses over the gap, with a little slip."""
    speeds, places = score.shape
    cost = SPEED_STEP_COST / max(0.3, gap_s / 0.5)
    changed, from_speed = score.copy(), np.tile(np.arange(speeds)[:, None], (1, places))
    for step in (-2, -1, 1, 2):
        moved = np.full_like(score, -np.inf)
        source = slice(max(0, -step), speeds - max(0, step))
        target = slice(max(0, step), speeds - max(0, -step))
        moved[target] = score[source] - cost * abs(step)
        better = moved > changed
        changed = np.where(better, moved, changed)
        from_speed = np.where(better, np.arange(speeds)[:, None] - step, from_speed)
    drift = gap_s * (1.0 / (1.0 + SPEEDS) - 1.0) / grid_s
    shifts = np.floor(drift).astype(int)[:, None] + SLIPS[None, :]
    penalty = SLIP_COST * (shifts - drift[:, None]) ** 2
    source = np.arange(places)[None, None, :] - shifts[:, :, None]
    padded = np.pad(changed, ((0, 0), (1, 1)), constant_values=-np.inf)
    rows = np.arange(speeds)[:, None]
    values = padded[rows[:, :, None], np.clip(source + 1, 0, places + 1)] - penalty[:, :, None]
    top = np.argmax(values, axis=1)
    at = np.arange(places)[None, :]
    came_from = np.clip(source[rows, top, at], 0, places - 1)
    trace = np.stack([from_speed[rows, came_from], came_from]).astype(np.int32)
    return values[rows, top, at], trace


def _trace_back(score: FloatArray, traces: list[np.ndarray]) -> list[tuple[int, int]]:
    speed, place = (int(v) for v in np.unravel_index(int(np.argmax(score)), score.shape))
    path = [(speed, place)]
    for trace in reversed(traces):
        speed, place = int(trace[0, speed, place]), int(trace[1, speed, place])
        path.append((speed, place))
    return path[::-1]
