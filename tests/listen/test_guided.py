"""Teeth plucked in an order that was said, and the tuning table."""

from __future__ import annotations

import pytest

from disc.errors import BadInput
from disc.listen.comb.guided import in_order, numbers_of_order
from disc.listen.comb.plucked import PluckedComb, PluckedTooth
from disc.listen.comb.tuning_table import tuning_rows, well_tempered_cents
from disc.records import Comb, Side, Tooth, ToothCondition


def test_an_order_is_read_with_ranges_both_ways() -> None:
    assert numbers_of_order("24, 23,22-20,1-3") == (24, 23, 22, 21, 20, 1, 2, 3)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("24,x", '"x" is no tooth'),
        ("3,1-4", "tooth 3 twice"),
        ("1-2-3", "no tooth and no range"),
        ("0,1", "0 is no tooth; teeth"),
        ("1-300", "1-300 is no tooth; teeth"),
    ],
)
def test_a_bad_order_is_named(text: str, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        numbers_of_order(text)


def test_pitches_fall_on_the_numbers_said() -> None:
    rows = tuple(PluckedTooth(k + 1, 70.0 + k, 1.0, ToothCondition.SOUND, (1.0 * k,)) for k in range(3))
    table = Comb(tuple(Tooth(n, Side.UPPER, 5.0 + n) for n in (1, 2, 3, 4)))
    heard = in_order(PluckedComb(rows, None), (4, 2, 1), table)
    assert {row.tooth: row.pitch for row in heard.teeth} == {4: 70.0, 2: 71.0, 1: 72.0}
    with pytest.raises(BadInput, match="tooth 9, which"):
        in_order(PluckedComb(rows, None), (9, 2, 1), table)


def test_the_well_tempered_scale_is_werckmeisters_third() -> None:
    # Cents from C, Barbour, Tuning and Temperament (1951), correct temperament no. 1; digits from memory.
    printed = (0, 90.2, 192.2, 294.1, 390.2, 498.0, 588.3, 696.1, 792.2, 888.3, 996.1, 1092.2)
    cents = well_tempered_cents()
    from_c = [100.0 * k + cents[k] - cents[0] for k in range(12)]
    assert from_c == pytest.approx(printed, abs=0.06)


def test_a_comb_in_mean_tone_stands_on_its_steps_and_twins_are_measured() -> None:
    # Quarter comma: the major third is pure, 5/4 (definition).
    pitches = {1: 69.0, 2: 69.0 + 12 * 0.32192809 - 0.0, 3: 81.0, 4: 81.12}
    table = tuning_rows(pitches)
    assert table is not None
    teeth = {row["tooth"]: row for row in table["teeth"]}
    assert teeth[3]["twin"] == 4
    assert teeth[3]["twin_cents"] == pytest.approx(-12.0)
    assert teeth[1]["twin"] is None
    assert abs(teeth[1]["mean-tone"] - teeth[2]["mean-tone"]) < 0.2
    assert abs(teeth[1]["equal"] - teeth[2]["equal"]) > 13.0


def test_a_tooth_left_out_of_the_recording_is_told_when_it_is_plucked_alone() -> None:
    from dataclasses import replace

    from disc.listen.comb.guided import left_out_words
    from disc.listen.comb.plucked import PluckedTooth
    from disc.listen.comb.plucked_store import PluckedRow
    from disc.records import ToothCondition

    # Tooth 2 (62.0) was passed over: its number has tooth 3's pitch.
    true = {1: 60.0, 2: 62.0, 3: 64.0, 4: 65.0}
    shifted = [PluckedRow(tooth=1, pitch=60.0), PluckedRow(tooth=2, pitch=64.0), PluckedRow(tooth=3, pitch=65.0)]

    def alone(number: int) -> PluckedTooth:
        return PluckedTooth(number, true[number] + 0.03, 1.0, ToothCondition.SOUND, (1.0, 2.0))

    assert "as tooth 2 does" in left_out_words(shifted, alone(3))
    assert left_out_words(shifted, alone(2)) == ""  # nothing beside it sounds like it
    right = [PluckedRow(tooth=n, pitch=p) for n, p in true.items()]
    assert all(left_out_words(right, alone(n)) == "" for n in true)
    twins = [PluckedRow(tooth=1, pitch=60.0), PluckedRow(tooth=2, pitch=60.1)]
    assert left_out_words(twins, replace(alone(1), pitch=60.05)) == ""
