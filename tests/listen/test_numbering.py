"""How sure the numbers of plucked teeth are: all ways weighed against each other, and what is said of it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from disc.listen.comb.doubtful import doubts_of_plucked
from disc.listen.comb.guided import in_order
from disc.listen.comb.numbering import SURE, numbering
from disc.listen.comb.plucked import PluckedComb, PluckedTooth, comb_from_recording
from disc.listen.comb.plucked_job import plucked_json, with_heard
from disc.listen.comb.plucks import numbering_odds
from disc.listen.comb.plucks.best_path import Ways, best_path, ways_through
from disc.listen.comb.plucks.find_plucks import Pluck
from disc.listen.comb.plucks.pace import PluckingPace, gap_score, step_score
from disc.listen.comb.plucks.pluck_start import PluckStart
from disc.listen.sound.attacks import Attack
from disc.listen.sound.audio import Recording
from disc.listen.sound.beginnings import NewTone
from disc.records import Comb, Side, Tooth, ToothCondition
from disc.tables import format_comb, read_comb

from .struck_bars import RATE, hz, plucked_comb

PITCHES = [70.03, 72.0, 74.05, 74.97, 77.0, 78.98, 82.0, 84.02, 86.0, 87.01]
PACE = PluckingPace(1.0, 1.4, 0.15, 2.0, 1.5)


def start(time_s: float, pitch: float | None, score: float = 10.0) -> PluckStart:
    tone = None if pitch is None else NewTone(hz(pitch), -10.0, 40.0, 1.0, 1.0)
    return PluckStart(Attack(time_s, 25.0, (-20.0, -20.0, -20.0)), tone, (), score if tone else 1.0)


def ways_one_by_one(ways: Ways) -> Iterator[tuple[float, tuple[tuple[int, int], ...]]]:
    """(what it counts, (candidate, state) in order) of every way there is, one after the other."""
    steps = {
        (int(j), first + n * ways.plucks, i, first + n * ways.plucks + step): float(g)
        for i in range(len(ways.start)) for near, first, step, gain in ways.onward(i)
        for j, g in zip(near, gain, strict=True)
        for n in range(ways.start.shape[1]) if first + n * ways.plucks + step < ways.start.shape[1]
    }  # fmt: skip

    def onward(score: float, way: tuple[tuple[int, int], ...]) -> Iterator[tuple[float, tuple[tuple[int, int], ...]]]:
        yield score + ways.end[way[-1]], way
        for (j, a, i, b), gain in steps.items():
            if (j, a) == way[-1]:
                yield from onward(score + gain, (*way, (i, b)))

    for at in np.argwhere(np.isfinite(ways.start)):
        place = (int(at[0]), int(at[1]))
        yield from onward(float(ways.start[place]), (place,))


@pytest.mark.parametrize("teeth", [3, None])
def test_odds_and_best_path_are_those_of_all_ways_written_out(teeth: int | None) -> None:
    candidates = [start(1.0, 70.0), start(2.0, 70.1), start(2.5, None), start(3.4, 72.0), start(4.5, 72.0, 7.0)]
    ways = ways_through(candidates, teeth, 2, PACE)
    every = list(ways_one_by_one(ways))
    most = max(score for score, _ in every)
    ways_of_most = [[(i, s // 2 + 1, s % 2 + 1) for i, s in way] for score, way in every if score > most - 1e-9]
    assert best_path(ways) in ways_of_most
    weights = np.exp(numbering_odds.SHARPNESS * np.array([score for score, _ in every]))
    expected = np.zeros((len(candidates), ways.start.shape[1] // 2))
    for weight, (_, way) in zip(weights / weights.sum(), every, strict=True):
        for i, state in way:
            expected[i, state // 2] += weight
    assert numbering_odds.number_odds(ways, range(len(candidates))) == pytest.approx(expected, abs=1e-9)


def test_a_pluck_far_too_soon_is_none_while_a_pause_is_no_wonder() -> None:
    soon, usual, late = gap_score(np.array([0.25, 1.0, 4.0]), 1.0, 0.15)
    assert usual == 0.0 and soon < -15.0 < -8.5 < late < -5.0


def test_a_step_of_the_pitch_counts_only_on_a_comb_that_has_a_course() -> None:
    steps = np.array([2.0, -26.0, np.nan])
    expected, astray, no_tone = step_score(steps, 1, PACE)
    assert expected == no_tone == 0.0 and astray < -8.0
    assert not step_score(steps, 1, PluckingPace(1.0, 1.4, 0.15)).any()
    assert step_score(np.array([4.0]), 2, PACE)[0] == 0.0  # two steps over two teeth


def test_a_comb_plucked_in_turn_is_numbered_without_doubt() -> None:
    audio, _ = plucked_comb(np.random.default_rng(41), PITCHES, dead=(4,))
    comb = comb_from_recording(Recording(audio, RATE), len(PITCHES), 2)
    assert min(tooth.number_probability or 0.0 for tooth in comb.teeth) > SURE
    assert plucked_json(comb)["undecided"] == [] and doubts_of_plucked(comb) == ()


def test_a_tooth_that_the_hand_left_out_leaves_numbers_open() -> None:
    left_out = [*PITCHES[:5], *PITCHES[6:]]
    audio, _ = plucked_comb(np.random.default_rng(42), left_out)
    comb = comb_from_recording(Recording(audio, RATE), len(PITCHES), 2)
    wrong = [t.tooth for t in comb.teeth if t.pitch is not None and abs(t.pitch - PITCHES[t.tooth - 1]) > 0.1]
    said = {tooth.tooth for tooth in comb.teeth if tooth.one_of or not tooth.plucks_s}
    assert set(wrong) <= said and any("is heard" in doubt.say for doubt in doubts_of_plucked(comb))


def pluck(tooth: int, odds: tuple[float, ...], pitch: float | None = 70.0) -> Pluck:
    return Pluck(tooth, 1, start(float(tooth), pitch), odds)


def test_a_tooth_is_one_of_several_and_a_dead_one_goes_with_its_neighbours() -> None:
    found = [pluck(1, (0.98, 0.01, 0, 0)), pluck(2, (0, 0.5, 0.5, 0), None), pluck(3, (0, 0, 0.6, 0.38))]
    told = numbering(found, 4)
    assert told[1] == (0.98, ()) and told[3] == (0.6, (3, 4))
    assert told[2] == (0.6, (2, 3)) and told[4] == (0.6, ())  # there is no tooth 5
    assert numbering([pluck(1, (0.1, 0.9), None)], 2) == {1: (None, ()), 2: (None, ())}


def test_what_may_be_no_pluck_at_all_is_said_too() -> None:
    told = numbering([pluck(1, (0.95, 0.0, 0.0)), pluck(2, (0.0, 0.4, 0.01)), pluck(3, (0.0, 0.02, 0.88))], 3)
    assert [told[k][1] for k in (1, 2, 3)] == [(), (2,), ()]
    rows = (PluckedTooth(2, 71.0, 1.0, None, (1.0, 2.0), number_probability=0.4, one_of=(2,)),)
    assert [d.say for d in doubts_of_plucked(PluckedComb(rows, None))] == [
        "what is heard as tooth 2 may be no pluck of it."
    ]


def test_a_long_row_in_doubt_is_named_by_its_ends() -> None:
    rows = tuple(PluckedTooth(k, 70.0 + k, 1.0, None, (1.0, 2.0), one_of=(k, k + 1)) for k in range(3, 8))
    (doubt,) = doubts_of_plucked(PluckedComb(rows, None))
    assert "teeth 3 to 7 can" in doubt.say and "one of the teeth 3 and 4" in doubt.say


def test_doubt_goes_on_to_the_next_that_is_not_quite_sure() -> None:
    rows = (
        (0.86, 0.12),
        (0.14, 0.85, 0),
        (0, 0.3, 0.6, 0.1),
        (0, 0, 0.1, 0.85, 0.05),
        (0, 0, 0, 0.08, 0.92),
        (0.0,) * 5,
    )
    told = numbering([pluck(k, (*row, *(0.0,) * (6 - len(row)))) for k, row in enumerate(rows[:5], start=1)], 6)
    assert [bool(told[k][1]) for k in range(1, 6)] == [True, True, True, True, False]
    alone = numbering([pluck(1, (0.95, 0.05)), pluck(2, (0.12, 0.85))], 2)
    assert alone[2] == (0.85, ())


def test_what_is_in_doubt_stands_in_the_record_the_sentence_and_the_table(tmp_path: Path) -> None:
    rows = tuple(
        PluckedTooth(k, 70.0 + k, 1.0, ToothCondition.SOUND, (1.0 * k, 1.0 * k + 0.4), 0.1, True, None, "", p, some)
        for k, p, some in ((1, 0.99, ()), (2, 0.55, (2, 3)), (3, 0.97, ()))
    )
    table = Comb(tuple(Tooth(n, Side.UPPER, 5.0 + n, 0.0) for n in (5, 6, 7)))
    heard = in_order(PluckedComb(rows, None), (7, 6, 5), table)
    content = plucked_json(heard)
    assert content["undecided"] == [6] and content["teeth"][1]["one_of"] == [5, 6]
    assert [d.say for d in doubts_of_plucked(heard)] == ["what is heard as tooth 6 is one of the teeth 5 and 6."]
    path = tmp_path / "comb.csv"
    path.write_text(format_comb(with_heard(table, heard)))
    assert [tooth.pitch_probability for tooth in read_comb(path).teeth] == [0.97, 0.55, 0.99]
