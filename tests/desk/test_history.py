"""Steps, undo and redo: laws that hold for any course of edits."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from disc.desk.open_job.history import (
    DeskStep,
    History,
    ValueChange,
    format_history,
    load_history,
    move_to,
    reconcile,
    record,
    split_corrections,
)
from disc.errors import BadInput

steps = st.lists(
    st.builds(DeskStep, st.text(max_size=8), st.just("2026-01-01T00:00:00+00:00"), st.integers(0, 3)), max_size=8
)


def history_of(made):
    history = History()
    for step in made:
        history = record(history, step)
    return history


@given(steps, st.data())
def test_going_back_and_forth_changes_nothing(made, data):
    history = history_of(made)
    target = data.draw(st.integers(0, len(made)))
    back, crossed, forward = move_to(history, target)
    again, crossed_again, forward_again = move_to(back, history.done)
    assert again == history
    assert crossed_again == tuple(reversed(crossed)) and (forward_again or not crossed)
    assert forward == (target == len(made))


@given(steps, st.data())
def test_corrections_are_parted_where_the_steps_are(made, data):
    history = history_of(made)
    everything = list(range(sum(step.corrections for step in made)))
    moved, _, _ = move_to(history, data.draw(st.integers(0, len(made))))
    done, undone = split_corrections(everything, moved)
    assert (*done, *undone) == tuple(everything)
    assert len(done) == sum(step.corrections for step in made[: moved.done])
    assert reconcile(moved, len(done), len(undone)) == moved


@given(steps, st.data())
def test_a_new_step_forgets_what_was_taken_back(made, data):
    moved, _, _ = move_to(history_of(made), data.draw(st.integers(0, len(made))))
    new = record(moved, DeskStep("new", "now", 1))
    assert new.done == len(new.steps) == moved.done + 1 and new.next_redo is None


@given(steps)
def test_the_file_reads_back(tmp_path_factory, made):
    path = tmp_path_factory.mktemp("history") / "desk.json"
    step = DeskStep(
        "set",
        "now",
        0,
        (ValueChange("settings", "metre", None, "6/8"), ValueChange("plate", "turns", "clockwise", "x")),
    )
    history = history_of([*made, step])
    path.write_text(format_history(history), encoding="utf-8")
    assert load_history(path) == history


def test_corrections_made_elsewhere_become_a_step():
    history = reconcile(history_of([DeskStep("mine", "t", 2)]), 5, 0, "t")
    assert [s.corrections for s in history.steps] == [2, 3] and history.steps[1].words == "edited in the table"


def test_a_lost_or_damaged_file_leaves_every_correction_as_a_step(tmp_path):
    path = tmp_path / "desk.json"
    path.write_text("{[")
    assert load_history(path) == History()
    assert reconcile(History(), 2, 1).done == 2 and len(reconcile(History(), 2, 1).steps) == 3


def test_beyond_the_ends_is_refused():
    with pytest.raises(BadInput, match="there is no step 1; the history has 0"):
        move_to(History(), 1)
