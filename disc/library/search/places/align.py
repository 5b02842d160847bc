"""One disc against one printed tune: which strikes agree, which notes are absent, what is displaced or extra.

One transposition and one tempo hold throughout, since the disc turns steadily. The disc may start anywhere in the tune,
hold only some bars, and play a repeat once or twice; the print may be the melody alone. Reading by likelihood: a note
that meets a strike speaks for the placement by how unlikely such a meeting is by chance, a note without one against it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from disc.errors import BadInput
from disc.library.records import (
    Alignment,
    FloatArray,
    IntArray,
    Pairing,
    ReferenceTune,
)
from disc.library.search.places.trial_places import Placement, trial_placements

# A strike is at its place within three standard deviations of the fit, between these limits (seconds).
NARROWEST_S, WIDEST_S = 0.030, 0.110
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
DISPLACED_S = 0.30  # the same tooth struck within this time of its place, and nothing nearer: displaced
PRESENT = 0.8  # share of printed notes that a disc still plays, for the likelihood; the bars of damage are 0 to 35 %
FOLD_NATS = 1.2  # a note found an octave off is worth this much less: about one in three is by intention
FIRST_REACH_S = 0.12  # of the first round of fitting; chosen, a little over WIDEST_S
ROUNDS, FEW_ROUNDS = 4, 2  # of fitting; a search's placement is already fine
SHORTEST_SECOND_RUN = 6  # notes of a further run of bars, before it is believed


def align(onset_s: FloatArray, pitch: FloatArray, reference: ReferenceTune, hint: Placement | None = None) -> Alignment:
    """The best alignment of a disc's strikes with a printed tune.

    onset_s: shape (n,), seconds, ascending. pitch: shape (n,), MIDI numbers, fractions allowed. hint: a placement to
    start from, where a search has found one. Raises BadInput for fewer than two strikes or an empty tune.
    """
    onset_s, pitch = np.asarray(onset_s, dtype=np.float64), np.asarray(pitch, dtype=np.float64)
    if onset_s.size < 2 or reference.pitch.size < 2:
        raise BadInput("an alignment needs at least two strikes and two printed notes.")
    tuning, whole = split_tuning(pitch)
    trials = [hint] if hint else trial_placements(onset_s, whole, reference.onset_tick, reference.pitch)
    rounds = FEW_ROUNDS if hint else ROUNDS
    if not trials:
        return _nothing(onset_s, tuning)
    best = max((_fit(onset_s, whole, reference, trial, rounds) for trial in trials), key=lambda a: a.score)
    return replace(best, transposition=round(best.transposition + tuning, 4) + 0.0)


def split_tuning(pitch: FloatArray) -> tuple[float, IntArray]:
    """(tuning, whole): how far the whole comb stands off A = 440 Hz in semitones, and pitches rounded without it."""
    arrow = np.exp(2j * np.pi * pitch).mean()
    tuning = float(np.angle(arrow)) / (2 * np.pi)
    return tuning, np.round(pitch - tuning).astype(np.int64)


def _nothing(onset_s: FloatArray, tuning: float) -> Alignment:
    return Alignment((), (), (), tuple(range(onset_s.size)), round(tuning, 4), 0.5, 0.0, 0, 0, 0.0)


# ---- fitting


def _fit(onset_s: FloatArray, pitch: IntArray, reference: ReferenceTune, trial: Placement, rounds: int) -> Alignment:
    quarter = reference.onset_quarter
    quarter_s, start_s, reach = trial.quarter_s, trial.start_s, FIRST_REACH_S
    chance = by_chance(onset_s, pitch)
    shift = _whole_transposition(onset_s, pitch, reference, trial)
    for _ in range(rounds):
        expected = start_s + quarter_s * quarter
        strike, late, octaves = _meetings(onset_s, pitch, expected, reference.pitch + shift, reach)
        gain = _gains(strike, late, octaves, chance, reach / 3.0)
        low, high, _ = _best_run(gain, _inside(expected, onset_s))
        used = np.flatnonzero((strike >= 0) & (np.arange(strike.size) >= low) & (np.arange(strike.size) < high))
        if used.size < 3:
            break
        fit = _line(quarter[used], onset_s[strike[used]])
        if abs(fit[0] / trial.quarter_s - 1.0) > 0.15:
            break
        quarter_s, start_s = fit[0], fit[1]
        spread = float(np.sqrt(np.mean((onset_s[strike[used]] - start_s - quarter_s * quarter[used]) ** 2)))
        reach = float(np.clip(3.0 * spread, NARROWEST_S, WIDEST_S))
    return _alignment(onset_s, pitch, reference, shift, quarter_s, start_s, reach, chance)


def _line(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """(slope, intercept), least squares with one round of leaving out what lies far off."""
    slope, intercept = straight_line(x, y)
    off = np.abs(y - slope * x - intercept)
    near = off <= 3.0 * max(float(np.median(off)), 1e-3)
    return straight_line(x[near], y[near]) if near.sum() >= 3 else (slope, intercept)


def straight_line(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """(slope, intercept) by least squares; a slope of 0 where all x are one."""
    centred = x - x.mean()
    spread = float((centred * centred).sum())
    slope = float((centred * y).sum()) / spread if spread > 0 else 0.0
    return slope, float(y.mean() - slope * x.mean())


def _whole_transposition(onset_s: FloatArray, pitch: IntArray, reference: ReferenceTune, trial: Placement) -> int:
    """The octave of the transposition in which most notes meet a strike."""
    expected = trial.start_s + trial.quarter_s * reference.onset_quarter
    mine, note = _near_in_time(onset_s, expected, FIRST_REACH_S)
    step = pitch[mine] - reference.pitch[note]
    fitting = step[(step - trial.transposition) % 12 == 0]
    if fitting.size == 0:
        return trial.transposition
    values, counts = np.unique(fitting, return_counts=True)
    return int(values[np.argmax(counts)])


def _meetings(
    onset_s: FloatArray, pitch: IntArray, expected: FloatArray, wanted: IntArray, reach_s: float
) -> tuple[IntArray, FloatArray, IntArray]:
    """For each note the strike that plays it: (strike or -1, late_s, octaves). No strike is used twice."""
    s, n = _near_in_time(onset_s, expected, reach_s)
    step = pitch[s] - wanted[n]
    possible = (step % 12 == 0) & (np.abs(step) <= 24)
    s, n, step = s[possible], n[possible], step[possible]
    cost = np.abs(onset_s[s] - expected[n]) / reach_s + np.abs(step) / 12
    strike = np.full(expected.size, -1, dtype=np.int64)
    taken: set[int] = set()
    met: set[int] = set()
    order = np.argsort(cost, kind="stable")
    for mine, note in zip(s[order].tolist(), n[order].tolist(), strict=True):
        if mine not in taken and note not in met:
            strike[note] = mine
            taken.add(mine)
            met.add(note)
    lateness = np.where(strike >= 0, onset_s[strike] - expected, 0.0)
    octaves = np.where(strike >= 0, (pitch[strike] - wanted) // 12, 0)
    return strike, lateness, octaves


def _near_in_time(onset_s: FloatArray, expected: FloatArray, reach_s: float) -> tuple[IntArray, IntArray]:
    """(strikes, notes): every pair that lies so near. onset_s: ascending."""
    begin = np.searchsorted(onset_s, expected - reach_s, side="left")
    count = np.searchsorted(onset_s, expected + reach_s, side="right") - begin
    note = np.repeat(np.arange(expected.size), count)
    strike = np.arange(note.size) + np.repeat(begin - (np.cumsum(count) - count), count)
    return strike, note


def by_chance(onset_s: FloatArray, pitch: IntArray) -> FloatArray:
    """Strikes a second at each strike's pitch, smoothed over the neighbours: how often a meeting happens by chance."""
    span = max(float(onset_s[-1] - onset_s[0]), 1.0)
    struck, which, count = np.unique(pitch, return_inverse=True, return_counts=True)
    near = (np.exp(-0.5 * ((struck[:, None] - struck) / 2.0) ** 2) * count).sum(axis=1) / 5.0
    return np.asarray((near[which] + 0.2) / span)


def _gains(strike: IntArray, late: FloatArray, octaves: IntArray, chance: FloatArray, sigma_s: float) -> FloatArray:
    """Log-likelihood ratio of each note, nats: at its place against by chance; absent against by chance."""
    sigma = max(sigma_s, 0.008)
    density = np.exp(-0.5 * (late / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi))
    met = np.log(PRESENT * density + 1e-3) - np.log(chance[np.maximum(strike, 0)]) - FOLD_NATS * (octaves != 0)
    return np.where(strike >= 0, np.maximum(met, 0.0), np.log(1.0 - PRESENT))


def _inside(expected: FloatArray, onset_s: FloatArray) -> np.ndarray:
    """Notes that fall within the turn; those beyond its first and last strike say nothing."""
    return (expected >= onset_s[0] - 0.5) & (expected <= onset_s[-1] + 0.5)


def _best_run(gain: FloatArray, inside: np.ndarray) -> tuple[int, int, float]:
    """(low, high, sum): the run of notes with the highest sum (Kadane)."""
    value = np.where(inside, gain, 0.0)
    total = np.concatenate([[0.0], np.cumsum(value)])
    least = np.minimum.accumulate(total)
    high = int(np.argmax(total - least))
    low = int(np.argmin(total[: high + 1]))
    return low, high, float(total[high] - total[low])


# ---- the answer


def _alignment(
    onset_s: FloatArray,
    pitch: IntArray,
    reference: ReferenceTune,
    shift: int,
    quarter_s: float,
    start_s: float,
    reach_s: float,
    chance: FloatArray,
) -> Alignment:
    runs = _runs(onset_s, pitch, reference, shift, quarter_s, start_s, reach_s, chance)
    agree: list[Pairing] = []
    absent: list[tuple[int, float]] = []
    expected: dict[int, float] = {}
    used: set[int] = set()
    for run in runs:
        for note in range(run.low, run.high):
            if not run.inside[note]:
                continue
            strike = int(run.strike[note])
            expected[note] = float(run.expected[note])
            if strike >= 0 and strike not in used:
                used.add(strike)
                agree.append(Pairing(strike, note, float(run.late[note]), int(run.octaves[note])))
            else:
                absent.append((note, float(run.expected[note])))
    displaced, missing = _displaced(onset_s, pitch, reference.pitch + shift, absent, used, reach_s)
    notes = [p.note for p in (*agree, *displaced)] or [0]
    bars = reference.bar[notes]
    lates = np.array([p.late_s for p in agree]) if agree else np.zeros(1)
    extra = tuple(i for i in range(onset_s.size) if i not in used)
    return Alignment(
        tuple(sorted(agree, key=lambda p: p.strike)), tuple(displaced), tuple(missing), extra, float(shift), quarter_s,
        float(np.sqrt(np.mean(lates**2))), int(bars.min()), int(bars.max()),
        float(sum(run.score for run in runs)), start_s, expected,
    )  # fmt: skip


class _Run:
    """Notes low..high of the print at one start, with the strikes that play them."""

    def __init__(
        self,
        onset_s: FloatArray,
        pitch: IntArray,
        reference: ReferenceTune,
        shift: int,
        quarter_s: float,
        start_s: float,
        reach_s: float,
        chance: FloatArray,
    ) -> None:
        self.expected = start_s + quarter_s * reference.onset_quarter
        self.strike, self.late, self.octaves = _meetings(
            onset_s, pitch, self.expected, reference.pitch + shift, reach_s
        )
        self.inside = _inside(self.expected, onset_s)
        gain = _gains(self.strike, self.late, self.octaves, chance, reach_s / 3.0)
        self.low, self.high, self.score = _best_run(gain, self.inside)

    def span_s(self) -> tuple[float, float]:
        """First and last expected second of the run."""
        return float(self.expected[self.low]), float(self.expected[max(self.low, self.high - 1)])


def _runs(
    onset_s: FloatArray,
    pitch: IntArray,
    reference: ReferenceTune,
    shift: int,
    quarter_s: float,
    start_s: float,
    reach_s: float,
    chance: FloatArray,
) -> list[_Run]:
    """The main run, and further ones before or after it where only one of disc and print plays a repeat."""
    runs = [_Run(onset_s, pitch, reference, shift, quarter_s, start_s, reach_s, chance)]
    first, last = runs[0].span_s()
    for side in (onset_s < first - reach_s, onset_s > last + reach_s):
        if side.sum() < SHORTEST_SECOND_RUN:
            continue
        other = _other_start(onset_s[side], pitch[side], reference, shift, quarter_s)
        run = _Run(onset_s[side], pitch[side], reference, shift, quarter_s, other, reach_s, chance[side])
        if run.high - run.low >= SHORTEST_SECOND_RUN and run.score > 15.0:  # nats; chance runs stay below about 10
            run.strike = np.where(run.strike >= 0, np.flatnonzero(side)[np.maximum(run.strike, 0)], -1)
            runs.append(run)
    return runs


def _other_start(onset_s: FloatArray, pitch: IntArray, reference: ReferenceTune, shift: int, quarter_s: float) -> float:
    """The start at which most notes of the tune meet these strikes, tempo and transposition known."""
    start = onset_s[:, None] - quarter_s * reference.onset_quarter[None]
    same = pitch[:, None] == reference.pitch[None] + shift
    starts = np.sort(start[same])
    if starts.size == 0:
        return float(onset_s[0])
    ends = np.searchsorted(starts, starts + 2 * FIRST_REACH_S, side="right")
    best = int(np.argmax(ends - np.arange(starts.size)))
    return float(np.median(starts[best : ends[best]]))


def _displaced(
    onset_s: FloatArray,
    pitch: IntArray,
    wanted: IntArray,
    absent: list[tuple[int, float]],
    used: set[int],
    reach_s: float,
) -> tuple[list[Pairing], list[int]]:
    """Notes without a strike at their place whose tooth is struck a little earlier or later; and those quite absent."""
    displaced: list[Pairing] = []
    missing: list[int] = []
    for note, at in absent:
        free = [
            i for i in np.flatnonzero((pitch == wanted[note]) & (np.abs(onset_s - at) <= DISPLACED_S)) if i not in used
        ]
        if free:
            nearest = int(min(free, key=lambda i: abs(onset_s[i] - at)))
            used.add(nearest)
            displaced.append(Pairing(nearest, note, float(onset_s[nearest] - at)))
        else:
            missing.append(note)
    return displaced, missing
