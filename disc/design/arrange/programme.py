"""The arrangement as a mixed-integer programme, and its solution with HiGHS.

maximise    sum of value[c] x[c]  -  break_cost * sum of b[k]
subject to  at most one candidate of each note; at most one of each clique (pins that cannot both stand);
            an ornament's notes all or none, and each only in the octave in which the note it leads to is played;
            no pins on both teeth of an excluding pair; b[k] = 1 where two melody notes in a row are both played but in
            different octaves against the score.
x are 0 or 1. The record says all of it without naming a solver, so that another solver can be set the same task.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import numpy.typing as npt

IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Programme:
    """value, note, tooth, octave: shape (m,), one entry for each candidate (note on tooth); value in weights.UNIT.

    cliques: candidate indices of which at most one may be chosen. excluding: pairs of teeth. melody: the notes of the
    leading part in order. ornaments: notes of each in order, the note they lead to last. constant: added to the
    objective.
    """

    value: IntArray
    note: IntArray
    tooth: IntArray
    octave: IntArray
    cliques: tuple[tuple[int, ...], ...]
    excluding: tuple[tuple[int, int], ...] = ()
    melody: tuple[int, ...] = ()
    break_cost: int = 0
    constant: int = 0
    ornaments: tuple[tuple[int, ...], ...] = ()
    by_note: dict[int, list[int]] = field(default_factory=dict)

    def candidates_of(self, note: int) -> list[int]:
        """The candidates of one note."""
        return self.by_note.get(note, [])

    def breaks(self) -> list[tuple[int, list[list[int]]]]:
        """For each pair of melody notes that could break the line: its number and its rows.

        A row lists candidates of which all but one count as a break: those of the first note in one octave, and those
        of the second note in any other.
        """
        found = []
        for number, (first, second) in enumerate(pairwise(self.melody)):
            ours, theirs = self.candidates_of(first), self.candidates_of(second)
            rows = []
            for octave in sorted({int(self.octave[c]) for c in ours}):
                here = [c for c in ours if self.octave[c] == octave]
                there = [c for c in theirs if self.octave[c] != octave]
                if there:
                    rows.append(here + there)
            if rows:
                found.append((number, rows))
        return found

    def whole_ornaments(self) -> list[tuple[list[int], list[int]]]:
        """Rows of candidates (ours, theirs): no more of ours are chosen than of theirs.

        Each small note against the one after it and the other way, and in each octave against the note proper.
        """
        rows = []
        for *graces, note in self.ornaments:
            for one, other in pairwise(graces):
                rows.append((self.candidates_of(one), self.candidates_of(other)))
                rows.append((self.candidates_of(other), self.candidates_of(one)))
            for grace in graces:
                for octave in sorted({int(self.octave[c]) for c in self.candidates_of(grace)}):
                    ours = [c for c in self.candidates_of(grace) if self.octave[c] == octave]
                    rows.append((ours, [c for c in self.candidates_of(note) if self.octave[c] == octave]))
        return rows

    def objective(self, chosen: Sequence[int]) -> int:
        """The value of a choice, breaks taken off: counted here, not taken from a solver."""
        octave_of = {int(self.note[c]): int(self.octave[c]) for c in chosen}
        broken = sum(
            a in octave_of and b in octave_of and octave_of[a] != octave_of[b] for a, b in pairwise(self.melody)
        )
        return int(self.value[list(chosen)].sum()) - self.break_cost * broken + self.constant

    def upper_bound(self) -> int:
        """A bound that ignores every conflict: each note at its best."""
        return sum(max(int(self.value[c]) for c in group) for group in self.by_note.values()) + self.constant


@dataclass(frozen=True, slots=True)
class Solution:
    """chosen: candidate indices. value: what they are worth. bound: no choice is worth more. proven: bound reached."""

    chosen: tuple[int, ...]
    value: int
    bound: int

    @property
    def proven(self) -> bool:
        """Whether nothing better exists."""
        return self.value >= self.bound


def index_by_note(note: IntArray) -> dict[int, list[int]]:
    """Candidate indices by note."""
    groups: dict[int, list[int]] = {}
    for index, number in enumerate(note):
        groups.setdefault(int(number), []).append(index)
    return groups


def solve(programme: Programme, seconds: float) -> Solution:
    """The best choice found within the time, and how good any choice can be."""
    easy = _without_conflict(programme)
    if easy is not None:
        return easy
    return _solve_highs(programme, seconds)


def _without_conflict(programme: Programme) -> Solution | None:
    """Each note at its best, if that happens to break no rule: then it is the optimum, and no solver is asked."""
    best = [max(group, key=lambda c: (programme.value[c], -c)) for group in programme.by_note.values()]
    chosen = set(best)
    if any(sum(c in chosen for c in clique) > 1 for clique in programme.cliques):
        return None
    used = {int(programme.tooth[c]) for c in best}
    if any(a in used and b in used for a, b in programme.excluding):
        return None
    if any(sum(c in chosen for c in a) > sum(c in chosen for c in b) for a, b in programme.whole_ornaments()):
        return None
    value = programme.objective(best)
    return Solution(tuple(sorted(best)), value, value) if value == programme.upper_bound() else None


def _solve_highs(programme: Programme, seconds: float) -> Solution:
    from scipy.optimize import Bounds, LinearConstraint, milp

    rows = matrix_rows(programme)
    count = programme.value.size
    width = rows.width
    cost = np.zeros(width)
    cost[:count] = -programme.value
    cost[rows.first_break :] = programme.break_cost
    integrality = np.ones(width)
    integrality[rows.first_break :] = 0  # pushed to 0 or 1 by the rest
    result = milp(
        cost,
        constraints=LinearConstraint(rows.matrix(), -np.inf, np.array(rows.limit, dtype=float)),
        integrality=integrality,
        bounds=Bounds(0, 1),
        options={"time_limit": max(0.05, seconds), "mip_rel_gap": 0.0},
    )
    bound = programme.upper_bound()
    if result.mip_dual_bound is not None and np.isfinite(result.mip_dual_bound):
        # Values are whole: a bound is rounded down, past the solver's own tolerance.
        bound = min(bound, int(np.floor(-result.mip_dual_bound + 1e-3)) + programme.constant)
    chosen = () if result.x is None else tuple(int(c) for c in np.flatnonzero(result.x[:count] > 0.5))
    value = programme.objective(chosen)
    return Solution(chosen, value, max(bound, value) if result.status != 0 else max(value, min(bound, value)))


@dataclass(slots=True)
class ProgrammeRows:
    """The rows of the programme, sum of coefficient * variable <= limit. Variables: candidates, teeth, breaks."""

    width: int
    first_break: int
    entries: list[tuple[int, int, float]] = field(default_factory=list)
    limit: list[float] = field(default_factory=list)

    def add(self, terms: dict[int, float], limit: float) -> None:
        """One row: coefficients by variable."""
        number = len(self.limit)
        self.entries += [(number, variable, coefficient) for variable, coefficient in terms.items()]
        self.limit.append(limit)

    def matrix(self):  # type: ignore[no-untyped-def]
        """As a sparse matrix."""
        from scipy.sparse import csr_array

        row, column, value = zip(*self.entries, strict=True)
        return csr_array((value, (row, column)), shape=(len(self.limit), self.width))


def matrix_rows(programme: Programme) -> ProgrammeRows:
    """All rows of the programme."""
    count = programme.value.size
    shared = sorted({tooth for pair in programme.excluding for tooth in pair})
    tooth_variable = {tooth: count + i for i, tooth in enumerate(shared)}
    breaks = programme.breaks() if programme.break_cost else []
    first_break = count + len(shared)
    rows = ProgrammeRows(first_break + len(breaks), first_break)
    for group in programme.by_note.values():
        rows.add(dict.fromkeys(group, 1.0), 1.0)
    for clique in programme.cliques:
        rows.add(dict.fromkeys(clique, 1.0), 1.0)
    for candidate in range(count):
        tooth = int(programme.tooth[candidate])
        if tooth in tooth_variable:
            rows.add({candidate: 1.0, tooth_variable[tooth]: -1.0}, 0.0)
    for ours, theirs in programme.whole_ornaments():
        rows.add(dict.fromkeys(ours, 1.0) | dict.fromkeys(theirs, -1.0), 0.0)
    for a, b in programme.excluding:
        rows.add({tooth_variable[a]: 1.0, tooth_variable[b]: 1.0}, 1.0)
    for i, (_, alternatives) in enumerate(breaks):
        for candidates in alternatives:
            rows.add(dict.fromkeys(candidates, 1.0) | {first_break + i: -1.0}, 1.0)
    return rows
