"""pins.csv and comb.csv after a person has edited them in a spreadsheet: what changed, and can it be taken over.

Nothing is taken over that cannot be (a place off the plate, a tooth that the comb has not), and a table from which more
than a tenth of the rows has gone only when the person says so: half a table saved by mistake looks just like that.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from disc.errors import BadInput
from disc.job.corrections import Action, Correction
from disc.records import Comb, Pin
from disc.tables import lines_of_comb, lines_of_pins

Table = TypeVar("Table")
# Unless said otherwise: chosen by hand, not measured.
MOST_REMOVED = 0.1  # share of the rows that may go without being asked for


@dataclass(frozen=True, slots=True)
class EditedAgainst:
    """What an edited table is held against; None: not known."""

    folder: Path
    radius_mm: float | None
    bore_mm: float | None
    comb: Comb | None


def with_way_back(read: Callable[[Path], Table], path: Path, written: Path, folder: Path) -> Table:
    """A job's table read. written: as the program last wrote it. Raises BadInput; where somebody has edited the table
    since, with the way back to what was there.
    """
    try:
        return read(path)
    except BadInput as error:
        if not written.is_file() or path.read_bytes() == written.read_bytes():
            raise
        raise BadInput(f"{error} {_way_back(folder)}") from error


def _way_back(folder: Path) -> str:
    return f"Or disc undo {folder} brings the table back as it was before it was edited."


def check_edit(path: Path, before: Sequence[Pin], after: Sequence[Pin], ground: EditedAgainst) -> None:
    """Raises BadInput, naming line and column, for a place or tooth put in that cannot be."""
    old = {pin.id: pin for pin in before}
    teeth = None if ground.comb is None else {tooth.number for tooth in ground.comb.teeth}
    lines: dict[int, int] = {}
    for pin in after:
        was = old.get(pin.id)
        wrong = ""
        if was is None or was.r_mm != pin.r_mm:
            wrong = _wrong_place("r_mm", pin.r_mm, ground)
        if not wrong and teeth is not None and pin.tooth not in (None, was.tooth if was else None):
            wrong = "" if pin.tooth in teeth else f"tooth is {pin.tooth}, which the comb has not"
        if wrong:
            lines, back = lines or lines_of_pins(path), _way_back(ground.folder)
            raise BadInput(
                f"{path} line {lines.get(pin.id, 0)}: {wrong}. Correct that cell; nothing was taken over. {back}"
            )


def check_comb_edit(path: Path, before: Comb, after: Comb, ground: EditedAgainst) -> None:
    """Raises BadInput, naming line and column, for a tip put in where there is no plate."""
    old = {tooth.number: tooth for tooth in before.teeth}
    for tooth in after.teeth:
        was = old.get(tooth.number)
        wrong = "" if was and was.tip_r_mm == tooth.tip_r_mm else _wrong_place("tip_r_mm", tooth.tip_r_mm, ground)
        if wrong:
            line, back = lines_of_comb(path).get(tooth.number, 0), _way_back(ground.folder)
            raise BadInput(f"{path} line {line}: {wrong}. Correct that cell; nothing was taken over. {back}")


def _wrong_place(column: str, r_mm: float, ground: EditedAgainst) -> str:
    if ground.radius_mm is not None and r_mm > ground.radius_mm:
        return f"{column} is {r_mm:g}, off the plate (its radius is {ground.radius_mm:g} mm)"
    if ground.bore_mm is not None and r_mm < ground.bore_mm / 2.0:
        return f"{column} is {r_mm:g}, inside the bore (its radius is {ground.bore_mm / 2.0:g} mm)"
    return ""


def check_removed(path: Path, gone: int, count: int, rows: str, folder: Path) -> None:
    """Raises BadInput if more than a tenth of the rows ("pins", "teeth") is no longer in the table."""
    if gone > MOST_REMOVED * count:
        raise BadInput(
            f"{path}: {gone} of {count} {rows} are no longer in the table; nothing was taken over. If that is "
            f"meant, run: disc take {folder} --yes. If not, disc undo {folder} brings the table back."
        )


def pins_gone(edits: Sequence[Correction]) -> int:
    """How many pins the edits take out."""
    return sum(edit.action is Action.REMOVE for edit in edits)


def teeth_gone(before: Comb, after: Comb) -> int:
    """How many teeth are no longer in the table."""
    return len({tooth.number for tooth in before.teeth} - {tooth.number for tooth in after.teeth})


def edit_words(edits: Sequence[Correction]) -> str:
    """What was taken over of pins.csv, in one line."""
    counts = Counter(edit.action for edit in edits)
    named = [(counts[Action.CHANGE], "change"), (counts[Action.ADD], "new pin"), (counts[Action.REMOVE], "removal")]
    return f"pins.csv was edited by hand: took over {_counted(named) or 'nothing, the pins are the same'}."


def comb_edit_words(before: Comb, after: Comb) -> str:
    """What was taken over of comb.csv, in one line."""
    old, new = ({tooth.number: tooth for tooth in comb.teeth} for comb in (before, after))
    changed = sum(old[number] != new[number] for number in old.keys() & new.keys())
    named = [(changed, "change"), (len(new.keys() - old.keys()), "new row"), (teeth_gone(before, after), "removal")]
    return f"comb.csv was edited by hand: took over {_counted(named) or 'nothing, the teeth are the same'}."


def _counted(named: Sequence[tuple[int, str]]) -> str:
    return ", ".join(f"{count} {name}{'' if count == 1 else 's'}" for count, name in named if count)
