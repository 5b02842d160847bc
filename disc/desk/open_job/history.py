"""What was done at the desk, step by step, so that it can be taken back to the beginning, also after a restart.

A step is one act of a person: it may hold several pin corrections (a lasso) or changed settings. corrections.json
keeps the pin corrections as done and undone; desk.json, beside it, says how they group into steps and which settings
each step changed from what to what. Where the two files disagree (a table edited in a spreadsheet, a file moved away),
corrections.json is right and the steps are fitted to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from disc.errors import BadInput
from disc.stored import Stored

HISTORY_FILE = "desk.json"


@dataclass(frozen=True, slots=True)
class ValueChange:
    """One value that a step changed. name: which one there.

    where: "plate", "settings", "comb", "faces", "reading", "datum", "growth", "decision", "file" or "result".

    old, new: plain JSON; None: not set.
    """

    where: str
    name: str
    old: Any
    new: Any


@dataclass(frozen=True, slots=True)
class DeskStep:
    """One act at the desk. corrections: how many of corrections.json belong to it."""

    words: str
    at: str
    corrections: int = 0
    changes: tuple[ValueChange, ...] = ()


@dataclass(frozen=True, slots=True)
class History:
    """steps[:done] are in force, steps[done:] were taken back and can be done again, in their order."""

    steps: tuple[DeskStep, ...] = ()
    done: int = 0

    @property
    def next_undo(self) -> DeskStep | None:
        """The step that undo would take back."""
        return self.steps[self.done - 1] if self.done else None

    @property
    def next_redo(self) -> DeskStep | None:
        """The step that redo would do again."""
        return self.steps[self.done] if self.done < len(self.steps) else None


def record(history: History, step: DeskStep) -> History:
    """The history with one more step done; what had been taken back is forgotten."""
    steps = (*history.steps[: history.done], step)
    return History(steps, len(steps))


def move_to(history: History, done: int) -> tuple[History, tuple[DeskStep, ...], bool]:
    """Go back or forward to where `done` steps are in force.

    Returns the new history, the steps crossed in the order in which to apply them, and whether they are redone
    (True) or taken back (False). Raises BadInput outside 0..len(steps).
    """
    if not 0 <= done <= len(history.steps):
        raise BadInput(f"there is no step {done}; the history has {len(history.steps)}.")
    forward = done >= history.done
    crossed = history.steps[history.done : done] if forward else tuple(reversed(history.steps[done : history.done]))
    return replace(history, done=done), crossed, forward


def reconcile(history: History, done: int, undone: int, at: str = "") -> History:
    """Fit the steps to corrections.json, which holds `done` corrections in force and `undone` taken back."""
    counted = sum(step.corrections for step in history.steps[: history.done])
    counted_undone = sum(step.corrections for step in history.steps[history.done :])
    if counted == done and counted_undone == undone:
        return history
    if done > counted and undone == 0:  # another command, or a spreadsheet, added corrections
        return record(history, DeskStep("edited in the table", at, done - counted))
    if undone == 0 and done == counted:
        return History(history.steps[: history.done], history.done)
    single = tuple(DeskStep("correction", at, 1) for _ in range(done + undone))
    return History(single, done)


def split_corrections(all_corrections: Sequence[Any], history: History) -> tuple[tuple[Any, ...], tuple[Any, ...]]:
    """All corrections in their order, parted into (done, undone) as the history says."""
    count = sum(step.corrections for step in history.steps[: history.done])
    return tuple(all_corrections[:count]), tuple(all_corrections[count:])


HISTORY: Stored[History] = Stored("desk history", History, "It is begun anew.")


def format_history(history: History) -> str:
    """desk.json."""
    return HISTORY.text(history)


def load_history(path: Path) -> History:
    """desk.json; empty if there is none or it cannot be understood (corrections.json alone is binding)."""
    found = HISTORY.load_or(path, History())
    return replace(found, done=min(max(found.done, 0), len(found.steps)))
