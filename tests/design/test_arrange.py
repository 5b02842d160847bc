"""The arrangement: against every possible choice on tiny cases, against another solver, and against cases by hand."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest

from disc.design.arrange import weights
from disc.design.arrange.arrange import Loss, arrange
from disc.design.arrange.programme import Programme, index_by_note, solve
from disc.design.arrange.task import prepare, set_up, with_conflicts
from disc.design.arrange.timing import set_timing
from disc.design.plan import plan_design
from disc.design.settings import DesignSettings, MissingPitch
from disc.design.summary import damping_of
from disc.errors import BadInput
from disc.records import Comb, ToothCondition
from disc.tune.score.records import Rank

from .greedy import greedy_arrangement
from .material import COMBS, make_comb
from .other_solver import optimum_with_scip
from .small import PLATE, comb_of, score_of
from .tunes import choose_tunes


def random_programme(rng: np.random.Generator, notes: int = 5, most: int = 3) -> Programme:
    note = np.sort(rng.integers(0, notes, notes * most - 4))
    count = note.size
    tooth = rng.integers(0, 4, count)
    pairs = [(a, b) for a, b in combinations(range(count), 2) if note[a] != note[b] and rng.random() < 0.2]
    return Programme(
        value=rng.integers(50, 1300, count),
        note=note,
        tooth=tooth,
        octave=rng.integers(-1, 2, count),
        cliques=tuple(pairs),
        excluding=((0, 1),) if rng.random() < 0.5 else (),
        melody=tuple(range(notes)),
        break_cost=350,
        by_note=index_by_note(note),
    )


def best_of_all(programme: Programme) -> int:
    """Every set of candidates that breaks no rule, valued: the definition of the optimum."""
    count = programme.value.size
    best = programme.constant
    clash = {frozenset(pair) for pair in programme.cliques}
    for mask in range(1 << count):
        chosen = [c for c in range(count) if mask >> c & 1]
        if len({int(programme.note[c]) for c in chosen}) < len(chosen):
            continue
        if any(frozenset(pair) in clash for pair in combinations(chosen, 2)):
            continue
        teeth = {int(programme.tooth[c]) for c in chosen}
        if any(a in teeth and b in teeth for a, b in programme.excluding):
            continue
        best = max(best, programme.objective(chosen))
    return best


@pytest.mark.parametrize("seed", range(12))
def test_the_solver_finds_the_best_of_all_choices(seed: int) -> None:
    programme = random_programme(np.random.default_rng(seed))
    solution = solve(programme, 20)
    assert solution.proven
    assert solution.value == best_of_all(programme) == programme.objective(solution.chosen)


def test_another_solver_agrees_on_real_cases() -> None:
    """SCIP, its model written from the meaning of the programme (other_solver.py)."""
    compared = 0
    for i, score in enumerate(choose_tunes(12, np.random.default_rng(3), in_parts=0.5)):
        comb, plate = make_comb(COMBS[i % 4], np.random.default_rng(i))
        last = min(6, score.bars[-1].number)
        score = score.between_bars(1, last)
        if len(score.notes) < 8:
            continue
        settings = DesignSettings()
        design = plan_design(score, comb, plate, settings)
        task = prepare(score, design.playing, plate, settings, set_timing(score, plate, settings, None))
        programme = with_conflicts(task, set_up(task, design.transposition, 0))
        assert solve(programme, 20).value == optimum_with_scip(programme)
        compared += bool(programme.cliques)
    assert compared >= 5


def test_never_worse_than_note_by_note() -> None:
    score = choose_tunes(4, np.random.default_rng(5), in_parts=1.0)[3]
    comb, plate = make_comb(COMBS[0], np.random.default_rng(5))
    settings = DesignSettings()
    score = score.between_bars(1, min(8, score.bars[-1].number))
    design = plan_design(score, comb, plate, settings)
    task = prepare(score, design.playing, plate, settings, set_timing(score, plate, settings, None))
    assert design.arrangement.value >= greedy_arrangement(task).value


# ---- by hand

SCALE = [(float(i), 1.0, p) for i, p in enumerate((60, 62, 64, 65, 67, 69, 71, 72))]


def arranged(score, comb: Comb, **changes):
    return plan_design(score, comb, PLATE, replace(DesignSettings(), **changes)).arrangement


def test_one_transposition_brings_the_scale_onto_the_comb() -> None:
    found = arranged(score_of(SCALE), comb_of([74, 76, 78, 79, 81, 83, 85, 86]))  # D major, an octave and a tone up
    assert found.transposition == 14 and found.share.kept == 8 and found.share.folded == 0 and found.proven
    assert found.value == found.bound


def test_a_comb_gone_flat_as_a_whole_still_plays_its_notes() -> None:
    flat = [p - 0.42 for p in (74, 76, 78, 79, 81, 83, 85, 86)]
    found = arranged(score_of(SCALE), comb_of(flat))
    assert found.share.kept == 8 and found.transposition == 14


@pytest.mark.parametrize(
    ("missing", "kept", "nearest"), [(MissingPitch.DROP, 8, 0), (MissingPitch.NEAREST, 9, 1)], ids=["drop", "nearest"]
)
def test_a_chromatic_note_without_a_tooth(missing: MissingPitch, kept: int, nearest: int) -> None:
    score = score_of([*SCALE, (8.0, 1.0, 66)])
    design = plan_design(
        score, comb_of([72, 74, 76, 77, 79, 81, 83, 84]), PLATE, DesignSettings(missing_pitch=missing), transposition=12
    )
    assert design.arrangement.share.kept == kept and design.arrangement.share.nearest == nearest
    if missing is MissingPitch.DROP:
        assert design.arrangement.lost == ((8, Loss.NO_TOOTH),)


def test_a_note_beyond_the_comb_moves_by_an_octave() -> None:
    score = score_of([*SCALE, (8.0, 2.0, 40, Rank.BASS)])  # E, lower than any tooth
    found = arranged(score, comb_of([72, 74, 76, 77, 79, 81, 83, 84]))
    assert found.transposition == 12 and found.share.kept == 9
    bass = next(p for p in found.placed if p.note == 8)
    assert bass.octaves == 2  # 52 asked for, 76 the only E


def test_duplicate_teeth_share_a_repeated_note() -> None:
    """320 strikes on one pitch stand 0.23 mm apart on a track of 12.5 mm: one tooth takes half, two take all."""
    notes = [(i / 4, 0.25, 72) for i in range(320)]
    one = arranged(score_of(notes), comb_of([72, 76]))
    two = arranged(score_of(notes), comb_of([72, 72, 76]))
    assert one.share.kept == 160 and two.share.kept == 320
    columns = [p.column for p in two.placed]
    assert columns.count(0) == columns.count(1) == 160
    assert all(a != b for a, b in pairwise(columns))


def test_melody_goes_before_bass_on_the_only_tooth() -> None:
    score = score_of([(0.0, 1.0, 72), (1.0, 1.0, 74), (2.0, 1.0, 76), (2.0, 2.0, 64, Rank.BASS)])
    found = arranged(score, comb_of([84, 86, 88]))
    assert found.transposition == 12
    assert [note for note, _ in found.lost] == [2]  # the bass E, sorted before the melody's E of the same beat
    assert found.lost[0][1] is Loss.CONFLICT


def test_no_tooth_is_struck_before_its_damper_can_have_touched() -> None:
    """Middle C needs 60 ms and 20 swings, 0.136 s (house rule, comb/bar.py), while the track would let 0.10 s pass.

    Eight of them 0.12 s apart keep every other one, and say why; on two teeth all are kept.
    """
    turn_s, apart_s = 20.0, 0.12
    notes = [(i * apart_s, apart_s, 60) for i in range(8)] + [(18.0, 1.0, 64)]
    score = score_of(notes, quarter_s=1.0)
    for pitches, kept in (([60, 64], 5), ([60, 60, 64], 9)):
        comb = comb_of(pitches, first_r_mm=13.5)
        design = plan_design(score, comb, PLATE, DesignSettings(shortest_turn_s=turn_s), turn_s, transposition=0)
        assert design.arrangement.share.kept == kept
        assert {why for _, why in design.arrangement.lost} == ({Loss.DAMPER} if kept < 9 else set())
        damping = damping_of(design.strikes, design.plate.revolution_s)
        assert damping is not None and damping["too_soon"] == 0
        assert damping["needs_s"] == pytest.approx(0.06 + 20 / 261.63, abs=0.001)
        assert damping["again_s"] >= damping["needs_s"]


def test_a_dead_tooth_is_not_used_and_is_named() -> None:
    comb = comb_of([72, 74, 76, 77, 79, 81, 83, 84])
    dead = replace(comb.teeth[0], condition=ToothCondition.DEAD)
    design = plan_design(score_of(SCALE), Comb((dead, *comb.teeth[1:])), PLATE, DesignSettings(), transposition=12)
    assert all(strike.tooth != 1 for strike in design.strikes)
    assert design.playing.left_out == ("tooth 1: dead",)


def test_no_note_at_all_is_told() -> None:
    """Every note of this key lies a semitone off every tooth."""
    score = score_of([(0.0, 1.0, 61), (1.0, 1.0, 63)])
    with pytest.raises(BadInput, match=r"no note .* moved by \+12 semitones"):
        plan_design(score, comb_of([72, 74, 76]), PLATE, DesignSettings(), transposition=12)


def test_tips_too_close_to_pass_exclude_each_other() -> None:
    """Two teeth of different pitch on nearly one track: pins for both would pluck both, so only one is used."""
    close = comb_of([72, 76, 79], step_mm=0.7)
    second = replace(close.teeth[1], tip_r_mm=close.teeth[0].tip_r_mm - 0.1)
    comb = Comb((close.teeth[0], second, close.teeth[2]))
    score = score_of([(0.0, 1.0, 72), (1.0, 1.0, 76), (2.0, 1.0, 79), (3.0, 1.0, 72)])
    design = plan_design(score, comb, PLATE, DesignSettings(), transposition=0)
    assert {strike.tooth for strike in design.strikes} == {1, 3}


def test_an_unproven_result_says_so() -> None:
    score = choose_tunes(3, np.random.default_rng(11), in_parts=1.0)[0]
    comb, plate = make_comb(COMBS[0], np.random.default_rng(1))
    score = score.between_bars(1, 8)
    settings = DesignSettings(budget_s=0.0)
    task = prepare(score, plan_design(score, comb, plate, DesignSettings()).playing, plate, settings,
                   set_timing(score, plate, settings, None))  # fmt: skip
    hurried, full = arrange(task), arrange(replace(task, settings=DesignSettings()))
    assert full.proven and hurried.value <= full.value <= hurried.bound
    assert hurried.proven or hurried.gap > 0


def test_weights_put_melody_before_bass_before_inner() -> None:
    assert weights.USUAL.rank[Rank.MELODY] > 3 * weights.USUAL.rank[Rank.BASS] > 3 * 2 * weights.USUAL.rank[Rank.INNER]
