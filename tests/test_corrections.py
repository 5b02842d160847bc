"""What a person changed, laid over a new reading."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from disc.job.corrections import Action, Correction, apply_corrections, corrections_from_edit
from disc.records import Condition, Pin, Side

PINS = (Pin(1, Side.UPPER, 8.0, 10.0), Pin(2, Side.UPPER, 8.0, 20.0), Pin(3, Side.LOWER, 8.0, 10.0))


def test_a_change_finds_its_pin_in_a_new_reading_by_place_and_face():
    change = Correction(Action.CHANGE, Side.LOWER, 8.0, 10.0, (("condition", Condition.STUB), ("tooth", 4)))
    moved = tuple(replace(pin, id=pin.id + 40, r_mm=pin.r_mm + 0.05) for pin in PINS)
    pins, unfit = apply_corrections(moved, [change])
    assert unfit == ()
    assert [(p.condition, p.tooth) for p in pins if p.side is Side.LOWER] == [(Condition.STUB, 4)]
    assert all(p.condition is Condition.SOUND for p in pins if p.side is Side.UPPER)


def test_a_correction_that_fits_no_pin_is_reported():
    gone = Correction(Action.REMOVE, Side.UPPER, 8.0, 100.0)
    assert apply_corrections(PINS, [gone]) == (PINS, (gone,))


def test_an_added_pin_that_the_new_reading_finds_by_itself_is_not_doubled():
    added = Correction(Action.ADD, Side.UPPER, 8.0, 30.0, (("tooth", 7),))
    with_it, _ = apply_corrections(PINS, [added])
    assert [p.id for p in with_it] == [1, 2, 3, 4]
    found, _ = apply_corrections((*PINS, Pin(9, Side.UPPER, 8.02, 30.1)), [added])
    assert [(p.id, p.tooth) for p in found] == [(1, None), (2, None), (3, None), (9, 7)]


@given(
    st.lists(st.integers(0, 2), unique=True),
    st.lists(st.integers(0, 2), unique=True),
    st.integers(0, 3),
)
def test_an_edited_table_is_reached_by_its_corrections(removed, changed, added):
    after = [replace(p, tooth=9, r_mm=8.1) if i in changed else p for i, p in enumerate(PINS) if i not in removed]
    after += [Pin(100 + n, Side.LOWER, 5.0 + n, 200.0, confidence=1.0, tooth=n + 1) for n in range(added)]
    steps = corrections_from_edit(PINS, after, "2026-01-01T00:00:00+00:00")
    reached, unfit = apply_corrections(PINS, steps)
    assert unfit == ()
    assert {replace(p, id=0) for p in reached} == {replace(p, id=0) for p in after}
