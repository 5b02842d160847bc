"""A known tune laid over the disc's strikes: one transposition, one tempo, one start, found by votes and refined.

The tune is given here, not searched for (library/ does that); what is left is where it lies. Pairs of strike and note
vote for (transposition, start) at the tempos that the disc's own grid allows; the best are refined by least squares.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.check.grid import Grid
from disc.check.repeats import Heard
from disc.check.spread import robust_sigma
from disc.frame import FloatArray
from disc.library.records import TICKS_PER_QUARTER, Alignment, IntArray, Pairing, ReferenceTune, TuneKey
from disc.tune.score_records import ScoreIn

# How the printed quarter may stand to the quarter of the reading: the reader may have taken a beat for its double,
# half, or a compound beat for a simple one.
TEMPO_RATIOS = (1.0, 2.0, 0.5, 1.5, 2 / 3, 3.0, 1 / 3, 4 / 3, 0.75, 4.0, 0.25)
VOTE_WIDTH_S = 0.05  # of a histogram bin for the start; several setting errors wide
TRIED = 6  # best votes that are refined
NEAR_SIGMAS = 3.5
DISPLACED_BEATS = 0.55  # a strike of the right sound this near to an absent note may be that note, displaced
LEAST_AGREEING = 8
LEAST_SHARE = 0.5  # of the printed notes within the turn that must be found for the tune to be that of the disc


def reference_of_score(score: ScoreIn, file: str, number: int = 1) -> ReferenceTune:
    """A score read from a file as a reference, repeats played out."""
    order = sorted(score.notes, key=lambda note: (note.onset_quarter, note.pitch))
    first = min((bar.start_quarter for bar in score.bars), default=order[0].onset_quarter)
    bars = [next((b.number for b in reversed(score.bars) if b.start_quarter <= n.onset_quarter), 0) for n in order]
    return ReferenceTune(
        TuneKey(file, number),
        score.title,
        "",
        np.array([round((n.onset_quarter - first) * TICKS_PER_QUARTER) for n in order], dtype=np.int64),
        np.array([round(n.duration_quarter * TICKS_PER_QUARTER) for n in order], dtype=np.int64),
        np.array([n.pitch for n in order], dtype=np.int64),
        np.array(bars, dtype=np.int64),
        (score.metre.beats, score.metre.unit),
    )


@dataclass(frozen=True, slots=True)
class _Lie:
    """How a tune lies on the disc: onset_s = start_s + quarter * quarter_s, sound = pitch + shift."""

    quarter_s: float
    start_s: float
    shift: int


def lay_over(heard: Heard, reference: ReferenceTune) -> Alignment | None:
    """The reference laid over the strikes; None if it is not the tune of this disc. heard.sound must be pitches."""
    quarter, pitch = reference.onset_quarter, reference.pitch
    if heard.t_s.size < LEAST_AGREEING or quarter.size < LEAST_AGREEING:
        return None
    tried = [_refined(heard, quarter, pitch, lie) for lie in _voted(heard, quarter, pitch)]
    best = max(tried, key=lambda lie: _agreement(heard, quarter, pitch, lie), default=None)
    return None if best is None else _alignment(heard, reference, best)


def best_of(heard: Heard, references: Sequence[ReferenceTune]) -> tuple[ReferenceTune, Alignment] | None:
    """The reference that lies best, of a file with several tunes; None if none does."""
    laid = [(r, a) for r in references if (a := lay_over(heard, r)) is not None]
    return max(laid, key=lambda pair: pair[1].score, default=None)


def _voted(heard: Heard, quarter: FloatArray, pitch: IntArray) -> list[_Lie]:
    """The lies with most votes, over all tempos and transpositions."""
    ballots = []
    step = heard.sound[:, None] - pitch[None, :]
    for ratio in TEMPO_RATIOS:
        quarter_s = heard.grid.quarter_s * ratio
        start = heard.t_s[:, None] - quarter[None, :] * quarter_s
        for shift in np.unique(step):
            values = start[step == shift]
            if values.size < LEAST_AGREEING:
                continue
            bins = np.floor(values / VOTE_WIDTH_S).astype(np.int64)
            low = bins.min()
            counts = np.bincount(bins - low)
            counts = counts + np.append(counts[1:], 0)  # a start at the edge of a bin falls into two
            peak = int(np.argmax(counts))
            lie = _Lie(quarter_s, float(low + peak + 1) * VOTE_WIDTH_S, int(shift))
            ballots.append((int(counts[peak]), -abs(float(np.log(ratio))), lie))
    ballots.sort(key=lambda item: item[:2], reverse=True)
    return [lie for _, _, lie in ballots[:TRIED]]


def _pairs(
    heard: Heard, quarter: FloatArray, pitch: IntArray, lie: _Lie, reach_s: float
) -> list[tuple[int, int, float]]:
    """(strike, note, how late in s) of strikes at a note's place, each used once, the nearest first."""
    expected = lie.start_s + quarter * lie.quarter_s
    late = heard.t_s[:, None] - expected[None, :]
    fits = (np.abs(late) < reach_s) & (heard.sound[:, None] == pitch[None, :] + lie.shift)
    strikes, notes = np.nonzero(fits)
    order = np.argsort(np.abs(late[strikes, notes]), kind="stable")
    used_strikes: set[int] = set()
    used_notes: set[int] = set()
    pairs = []
    for i, j in zip(strikes[order].tolist(), notes[order].tolist(), strict=True):
        if i not in used_strikes and j not in used_notes:
            used_strikes.add(i)
            used_notes.add(j)
            pairs.append((i, j, float(late[i, j])))
    return pairs


def _refined(heard: Heard, quarter: FloatArray, pitch: IntArray, lie: _Lie) -> _Lie:
    """Tempo and start by least squares over the agreeing pairs, a few times with a narrowing reach."""
    for reach_s in (0.15, 0.12, 0.09, 0.08):
        pairs = _pairs(heard, quarter, pitch, lie, reach_s)
        if len(pairs) < LEAST_AGREEING:
            return lie
        strikes, notes, _ = zip(*pairs, strict=True)
        slope, start = np.polyfit(quarter[list(notes)], heard.t_s[list(strikes)], 1)
        if slope <= 0:
            return lie
        lie = _Lie(float(slope), float(start), lie.shift)
    return lie


def _agreement(heard: Heard, quarter: FloatArray, pitch: IntArray, lie: _Lie) -> float:
    """Agreeing pairs less the printed notes within the turn that are not found: what is to be greatest."""
    inside = _inside(heard, quarter, lie)
    pairs = _pairs(heard, quarter, pitch, lie, _reach_s(heard.grid))
    return len(pairs) - 0.5 * (int(inside.sum()) - len(pairs))


def _inside(heard: Heard, quarter: FloatArray, lie: _Lie) -> npt.NDArray[np.bool_]:
    """Which printed notes fall between the disc's first and last strike, shape (m,), with a beat to spare."""
    expected = lie.start_s + quarter * lie.quarter_s
    spare = heard.grid.beat_s
    return (expected > heard.t_s.min() - spare) & (expected < heard.t_s.max() + spare)


def _reach_s(grid: Grid) -> float:
    return NEAR_SIGMAS * grid.sigma_s


def _alignment(heard: Heard, reference: ReferenceTune, lie: _Lie) -> Alignment | None:
    quarter, pitch = reference.onset_quarter, reference.pitch
    pairs = _pairs(heard, quarter, pitch, lie, _reach_s(heard.grid))
    inside = np.flatnonzero(_inside(heard, quarter, lie)).tolist()
    if len(pairs) < LEAST_AGREEING or len(pairs) < LEAST_SHARE * len(inside):
        return None
    strikes, notes = {i for i, _, _ in pairs}, {j for _, j, _ in pairs}
    expected = lie.start_s + quarter * lie.quarter_s
    free_strikes = [i for i in range(len(heard.t_s)) if i not in strikes]
    open_notes = [j for j in inside if j not in notes]
    displaced = _displaced(heard, pitch + lie.shift, expected, free_strikes, open_notes)
    late = {i for i, _, _ in displaced}
    moved = {j for _, j, _ in displaced}
    absent = [j for j in open_notes if j not in moved]
    bars = reference.bar[sorted(notes)]
    return Alignment(
        agree=tuple(Pairing(i, j, s) for i, j, s in sorted(pairs)),
        displaced=tuple(Pairing(i, j, s) for i, j, s in displaced),
        absent=tuple(absent),
        extra=tuple(i for i in free_strikes if i not in late),
        transposition=float(lie.shift),
        quarter_s=lie.quarter_s,
        sigma_s=robust_sigma([s for _, _, s in pairs]),
        from_bar=int(bars.min()),
        to_bar=int(bars.max()),
        score=_agreement(heard, quarter, pitch, lie),
        start_s=lie.start_s,
        expected_s={j: float(expected[j]) for j in (*absent, *moved)},
    )


def _displaced(
    heard: Heard, sound: IntArray, expected: FloatArray, strikes: Sequence[int], notes: Sequence[int]
) -> list[tuple[int, int, float]]:
    """Left-over strikes that stand beside a left-over note of their sound, each used once, the nearest first."""
    reach = DISPLACED_BEATS * heard.grid.beat_s
    options = [
        (abs(heard.t_s[i] - expected[j]), i, j)
        for i in strikes
        for j in notes
        if heard.sound[i] == sound[j] and abs(heard.t_s[i] - expected[j]) < reach
    ]
    taken: list[tuple[int, int, float]] = []
    for _, i, j in sorted(options):
        if all(i != a and j != b for a, b, _ in taken):
            taken.append((i, j, float(heard.t_s[i] - expected[j])))
    return taken
