"""pins.csv after a person has edited it in a spreadsheet: what changed, and whether it can be taken over.

Nothing is taken over that cannot be (a place off the plate, a tooth that the comb has not), and a table from which more
than a tenth of the pins has gone only when the person says so: half a table saved by mistake looks just like that.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from disc.corrections import Action, Correction
from disc.errors import BadInput
from disc.records import Comb, Pin
from disc.tables import lines_of_pins

MOST_REMOVED = 0.1  # share of the pins that may go without being asked for


@dataclass(frozen=True, slots=True)
class Ground:
    """What an edited table is held against; None: not known."""

    folder: Path
    radius_mm: float | None
    bore_mm: float | None
    comb: Comb | None


def check_edit(path: Path, before: Sequence[Pin], after: Sequence[Pin], ground: Ground) -> None:
    """Raises BadInput, naming line and column, for a place or tooth put in that cannot be."""
    old = {pin.id: pin for pin in before}
    teeth = None if ground.comb is None else {tooth.number for tooth in ground.comb.teeth}
    lines: dict[int, int] = {}
    for pin in after:
        was = old.get(pin.id)
        wrong = ""
        if was is None or was.r_mm != pin.r_mm:
            wrong = _wrong_place(pin.r_mm, ground)
        if not wrong and teeth is not None and pin.tooth not in (None, was.tooth if was else None):
            wrong = "" if pin.tooth in teeth else f"tooth is {pin.tooth}, which the comb has not"
        if wrong:
            lines = lines or lines_of_pins(path)
            raise BadInput(f"{path} line {lines.get(pin.id, 0)}: {wrong}. Correct that cell; nothing was taken over.")


def _wrong_place(r_mm: float, ground: Ground) -> str:
    if ground.radius_mm is not None and r_mm > ground.radius_mm:
        return f"r_mm is {r_mm:g}, off the plate (its radius is {ground.radius_mm:g} mm)"
    if ground.bore_mm is not None and r_mm < ground.bore_mm / 2.0:
        return f"r_mm is {r_mm:g}, inside the bore (its radius is {ground.bore_mm / 2.0:g} mm)"
    return ""


def check_removed(path: Path, edits: Sequence[Correction], count: int, ground: Ground) -> None:
    """Raises BadInput if more than a tenth of the pins is no longer in the table."""
    gone = sum(edit.action is Action.REMOVE for edit in edits)
    if gone > MOST_REMOVED * count:
        raise BadInput(
            f"{path}: {gone} of {count} pins are no longer in the table; nothing was taken over. If that is "
            f"meant, run: disc take {ground.folder} --yes. If not, disc undo {ground.folder} brings the table back."
        )


def edit_words(edits: Sequence[Correction]) -> str:
    """What was taken over, in one line."""
    counts = Counter(edit.action for edit in edits)
    names = ((Action.CHANGE, "change"), (Action.ADD, "new pin"), (Action.REMOVE, "removal"))
    parts = [f"{counts[a]} {name}{'' if counts[a] == 1 else 's'}" for a, name in names if counts[a]]
    return f"pins.csv was edited by hand: took over {', '.join(parts) or 'nothing, the pins are the same'}."
