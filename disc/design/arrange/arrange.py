"""A tune on a comb: one transposition and one tempo for all, and for each note a tooth, another octave, or silence.

For each transposition and each of a few tempi a programme is set up (programme.py); a bound that ignores all conflicts
orders them, and they are solved from the most promising on until no other can beat the best found. The optimum is
therefore proven over all transpositions and the listed tempi, unless the time runs out: then the gap is stated.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from disc.comb.bar import return_time_s
from disc.design.arrange.programme import Programme, Solution, solve
from disc.design.arrange.task import ArrangeTask, Attempt, intervals, set_up, what_is_left, with_conflicts
from disc.design.arrange.timing import Timing
from disc.frame import FULL_TURN_DEG
from disc.tune.score.records import Rank, ScoreIn
from disc.words import Advance, no_progress

# Unless said otherwise: chosen by hand, not measured.
MOST_OTHERS = 5  # transpositions listed beside the best
SAME_MOMENT_DEG = 1e-6  # two notes of one moment want one pin, which no damper parts


# One transposition at one tempo, its programme with all conflicts, and what came of it.
Solved = tuple[Attempt, Programme, Solution]


class Loss(StrEnum):
    """Why a note is not on the disc."""

    NO_TOOTH = "no tooth"
    NO_PLACE = "no free place"
    DAMPER = "a damper that could not have touched"
    CONFLICT = "another pin in the way"


@dataclass(frozen=True, slots=True)
class PlacedNote:
    """A note kept. note: its place in ScoreIn.notes. column: its tooth in PlayingComb.teeth.

    octaves: octaves away from the transposed note. semitones: off the note, where the nearest pitch was taken.
    """

    note: int
    column: int
    octaves: int = 0
    semitones: int = 0

    @property
    def is_changed(self) -> bool:
        """Whether it sounds at another pitch than transposed."""
        return bool(self.octaves or self.semitones)


@dataclass(frozen=True, slots=True)
class Share:
    """How much of the tune one transposition keeps. kept, folded, nearest, melody_kept: counts of notes."""

    transposition: int
    notes: int
    kept: int
    folded: int
    nearest: int
    melody: int
    melody_kept: int
    value: int
    proven: bool

    @property
    def lost(self) -> int:
        """Notes left out."""
        return self.notes - self.kept


@dataclass(frozen=True, slots=True)
class Arrangement:
    """The tune as this comb can play it.

    timing: with the tempo that was chosen. placed: in the order of the score. lost: (note, why). value, bound: worth
    reached and the highest anything could reach, in weights.UNIT. others: further good transpositions.
    """

    transposition: int
    timing: Timing
    placed: tuple[PlacedNote, ...]
    lost: tuple[tuple[int, Loss], ...]
    share: Share
    value: int
    bound: int
    others: tuple[Share, ...]

    @property
    def proven(self) -> bool:
        """Whether no arrangement under these rules is worth more."""
        return self.value >= self.bound

    @property
    def gap(self) -> float:
        """How much more at most an unproven optimum could be worth, as a share of the value reached."""
        return max(0.0, (self.bound - self.value) / max(1, self.value))


def arrange(task: ArrangeTask, transposition: int | None = None, advance: Advance = no_progress) -> Arrangement:
    """The best arrangement over all transpositions (or the one given) and the tempi of the task.

    Where no note at all can be placed, every note is lost and that is the result.
    """
    deadline = time.process_time() + task.settings.budget_s
    attempts = _attempts(task, transposition)
    if not attempts:
        return _nothing_placed(task, transposition or 0)
    best: Solved | None = None
    open_bound = 0
    solved: dict[int, Solved] = {}
    for count, attempt in enumerate(attempts):
        if best is not None and attempt.bound <= best[2].value:
            break
        left = deadline - time.process_time()
        if best is not None and left <= 0:
            open_bound = max(open_bound, attempt.bound)
            break
        programme = with_conflicts(task, attempt)
        solution = solve(programme, left)
        open_bound = max(open_bound, solution.bound if not solution.proven else 0)
        found = (attempt, programme, solution)
        if attempt.transposition not in solved or solution.value > solved[attempt.transposition][2].value:
            solved[attempt.transposition] = found
        if best is None or solution.value > best[2].value:
            best = found
        advance(min(0.9, count / len(attempts)), "choosing the key")
    assert best is not None
    others = _others(task, attempts, best, solved, deadline)
    return _result(task, best, max(open_bound, best[2].value), others)


def all_kept(score: ScoreIn, transposition: int, timing: Timing) -> Arrangement:
    """Nothing is left to arrange: old pins and old holes play the whole tune."""
    melody = sum(note.rank is Rank.MELODY for note in score.notes)
    notes = len(score.notes)
    share = Share(transposition, notes, notes, 0, 0, melody, melody, 0, proven=True)
    return Arrangement(transposition, timing, (), (), share, 0, 0, ())


def _nothing_placed(task: ArrangeTask, transposition: int) -> Arrangement:
    octaves, semitones = intervals(task, transposition)
    has_tooth = [bool(row.any()) for row in what_is_left(task, octaves, semitones)]
    lost = tuple((i, Loss.NO_PLACE if has else Loss.NO_TOOTH) for i, has in enumerate(has_tooth))
    share = Share(transposition, len(lost), 0, 0, 0, len(task.melody), 0, 0, proven=True)
    return Arrangement(transposition, task.timings[0], (), lost, share, 0, 0, ())


def _attempts(task: ArrangeTask, transposition: int | None) -> list[Attempt]:
    """Every transposition at every tempo, the most promising first; those near the key as written before others."""
    low, high = int(task.pitch.min()), int(task.pitch.max())
    span = range(int(task.nominal.min()) - high, int(task.nominal.max()) - low + 1)
    wanted = span if transposition is None else (transposition,)
    made = [set_up(task, t, tempo) for t in wanted for tempo in range(len(task.timings))]
    playable = [attempt for attempt in made if attempt.programme.value.size]
    return sorted(playable, key=lambda a: (-a.bound, a.tempo, abs(a.transposition), a.transposition))


def _others(
    task: ArrangeTask,
    attempts: Sequence[Attempt],
    best: Solved,
    solved: dict[int, Solved],
    deadline: float,
) -> tuple[Share, ...]:
    """The next best transpositions, each solved at the first tempo if it was not yet; as many as the time allows."""
    shares: list[Share] = []
    seen = {best[0].transposition}
    for attempt in attempts:
        if attempt.transposition in seen:
            continue
        seen.add(attempt.transposition)
        found = solved.get(attempt.transposition)
        if found is None:
            left = deadline - time.process_time()
            if left <= 0 or len(shares) >= MOST_OTHERS:
                break
            programme = with_conflicts(task, attempt)
            found = (attempt, programme, solve(programme, left))
        shares.append(share_of(task, *found))
        if len(shares) >= 2 * MOST_OTHERS:
            break
    return tuple(sorted(shares, key=lambda s: -s.value)[:MOST_OTHERS])


def placed_notes(attempt: Attempt, programme: Programme, solution: Solution) -> tuple[PlacedNote, ...]:
    """The chosen candidates as notes on teeth, in the order of the score."""
    placed = []
    for c in solution.chosen:
        note, tooth = int(programme.note[c]), int(programme.tooth[c])
        placed.append(PlacedNote(note, tooth, int(programme.octave[c]), int(attempt.semitones[note, tooth])))
    return tuple(sorted(placed, key=lambda p: p.note))


def share_of(task: ArrangeTask, attempt: Attempt, programme: Programme, solution: Solution) -> Share:
    """What a solved attempt keeps."""
    placed = placed_notes(attempt, programme, solution)
    kept = {p.note for p in placed}
    return Share(
        transposition=attempt.transposition,
        notes=len(task.score.notes),
        kept=len(placed),
        folded=sum(p.octaves != 0 for p in placed),
        nearest=sum(p.semitones != 0 for p in placed),
        melody=len(task.melody),
        melody_kept=sum(note in kept for note in task.melody),
        value=solution.value,
        proven=solution.proven,
    )


def _result(task: ArrangeTask, best: Solved, bound: int, others: tuple[Share, ...]) -> Arrangement:
    attempt, programme, solution = best
    placed = placed_notes(attempt, programme, solution)
    kept = {p.note for p in placed}
    lost = [(i, _why_lost(task, attempt, i, placed)) for i in range(len(task.score.notes)) if i not in kept]
    return Arrangement(
        transposition=attempt.transposition,
        timing=task.timings[attempt.tempo],
        placed=placed,
        lost=tuple(lost),
        share=share_of(task, attempt, programme, solution),
        value=solution.value,
        bound=bound,
        others=others,
    )


def _why_lost(task: ArrangeTask, attempt: Attempt, note: int, placed: Sequence[PlacedNote]) -> Loss:
    candidates = attempt.programme.candidates_of(note)
    if candidates:
        columns = [int(attempt.programme.tooth[c]) for c in candidates]
        return Loss.DAMPER if all(_still_rings(task, attempt, note, c, placed) for c in columns) else Loss.CONFLICT
    octaves, semitones = intervals(task, attempt.transposition)
    return Loss.NO_PLACE if (what_is_left(task, octaves, semitones)[note] > 0).any() else Loss.NO_TOOTH


def _still_rings(task: ArrangeTask, attempt: Attempt, note: int, column: int, placed: Sequence[PlacedNote]) -> bool:
    """Whether a note kept on this tooth comes too soon before or after for the damper to have touched between them."""
    turn = task.places[attempt.tempo].turn_deg
    tooth, timing = task.comb.teeth[column].tooth, task.timings[attempt.tempo]
    need_deg = return_time_s(tooth.pitch) / timing.revolution_s * FULL_TURN_DEG
    gaps = [abs(float(turn[p.note] - turn[note])) for p in placed if p.column == column]
    return any(SAME_MOMENT_DEG < gap < need_deg for gap in gaps)
