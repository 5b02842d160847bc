"""The simple way to arrange, for comparison: note by note, melody first, each on the first tooth that is still free."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass

from disc.comb.bar import return_time_s
from disc.design.arrange.programme import Programme
from disc.design.arrange.task import ArrangeTask, set_up, with_conflicts
from disc.design.plan import Design
from disc.tune.score.records import Rank

ORDER = {Rank.MELODY: 0, Rank.BASS: 1, Rank.INNER: 2}


@dataclass(frozen=True)
class Greedy:
    value: int
    kept: int


def greedy_arrangement(task: ArrangeTask) -> Greedy:
    """The best over all transpositions of what note-by-note choice keeps, at the first tempo; same objective."""
    low, high = int(task.pitch.min()), int(task.pitch.max())
    best = Greedy(-(10**9), 0)
    span = range(int(task.nominal.min()) - high, int(task.nominal.max()) - low + 1)
    attempts = [attempt for t in span if (attempt := set_up(task, t, 0)).programme.value.size]
    for attempt in sorted(attempts, key=lambda a: -a.bound):
        if attempt.bound <= best.value:  # no choice of notes can be worth more than this
            break
        programme = with_conflicts(task, attempt)
        chosen = choose(task, programme)
        value = programme.objective(chosen)
        if value > best.value:
            best = Greedy(value, len(chosen))
    return best


def choose(task: ArrangeTask, programme: Programme) -> list[int]:
    cliques_of: dict[int, list[int]] = defaultdict(list)
    for number, clique in enumerate(programme.cliques):
        for c in clique:
            cliques_of[c].append(number)
    excluded_by: dict[int, set[int]] = defaultdict(set)
    for a, b in programme.excluding:
        excluded_by[a].add(b)
        excluded_by[b].add(a)
    taken: set[int] = set()
    used: set[int] = set()
    chosen = []
    notes = task.score.notes
    order = [(ORDER[note.rank], note.onset_quarter, -note.pitch, i) for i, note in enumerate(notes)]
    for *_, note in sorted(order):
        for c in sorted(programme.candidates_of(note), key=lambda c: (-programme.value[c], c)):
            tooth = int(programme.tooth[c])
            if taken.isdisjoint(cliques_of[c]) and excluded_by[tooth].isdisjoint(used):
                taken.update(cliques_of[c])
                used.add(tooth)
                chosen.append(c)
                break
    return chosen


def thinned_melody(design: Design) -> int:
    """Melody notes that could stand if nothing but the track of their own pitch's teeth were in the way.

    For each pitch a sweep in order of time: a note goes to the tooth of its pitch that is free again, else it is lost;
    taking the tooth freed longest ago is optimal for such intervals. Notes without a tooth count as playable in another
    octave, so this is an upper bound.
    """
    timing, settings = design.timing, design.settings
    by_pitch = defaultdict(list)
    for note in design.score.melody():
        by_pitch[note.pitch + design.transposition].append(float(note.onset_quarter) * timing.quarter_s)
    total = 0
    for pitch, onsets in by_pitch.items():
        teeth = [t for t in design.playing.teeth if t.nominal == pitch]
        if not teeth:
            total += len(onsets)
            continue
        distance = settings.pin_diameter_mm + max(settings.wall_mm, settings.tip_room_mm)
        gaps = [
            max(
                return_time_s(t.tooth.pitch),
                2 * math.asin(min(1.0, distance / (2 * t.tooth.tip_r_mm))) / (2 * math.pi) * timing.revolution_s,
            )
            for t in teeth
        ]
        free_at = [-1e9] * len(teeth)
        for onset in sorted(onsets):
            ready = [i for i in range(len(teeth)) if free_at[i] <= onset + 1e-9]
            if ready:
                best = min(ready, key=lambda i: gaps[i])
                free_at[best] = onset + gaps[best]
                total += 1
    return total
