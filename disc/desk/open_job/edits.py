"""What a person asks for at the desk, turned into corrections and changed settings. Pure: nothing is written here.

A request is a dict from the page. Each kind has one function here; all values go through the same limits as the cells
of pins.csv. Raises BadInput with words for the person where a request cannot be done.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from disc.desk.page.sheets import PageSheet
from disc.errors import BadInput
from disc.job.corrections import REACH_MM, Action, Correction, distance_mm
from disc.records import Comb, Condition, Pin, Plate, Side
from disc.tables import PIN_COLUMNS

CHANGEABLE = ("condition", "tooth", "diameter_mm", "height_mm", "lean_x_mm", "lean_y_mm")
_COLUMNS = {column.name: column for column in PIN_COLUMNS}
LONGEST_NOTE = 2000  # letters of a note; more is refused, not cut (chosen, nothing hangs on it)
BY_HAND = ("confidence", 1.0)  # the reader itself never claims certainty; chosen


@dataclass(frozen=True, slots=True)
class EditGround:
    """What an edit may look at: the pins in force, the plate, the comb, the sheets of the page."""

    pins: Sequence[Pin]
    plate: Plate
    comb: Comb | None
    sheets: Mapping[str, PageSheet]
    at: str

    def pin(self, number: Any) -> Pin:
        """The pin with this id. Raises BadInput if there is none."""
        for pin in self.pins:
            if pin.id == number:
                return pin
        raise BadInput(f"there is no pin {number} any more; somebody may have removed it.")


@dataclass(frozen=True, slots=True)
class Edit:
    """Corrections of one act, and the words by which the history names it. pin: what to select afterwards."""

    words: str
    corrections: tuple[Correction, ...]
    added_at: tuple[Side, float, float] | None = None


def edit_from_request(request: Mapping[str, Any], bench: EditGround) -> Edit:
    """The edit a request means. Raises BadInput if it means none."""
    kinds = {"add": _add, "move": _move, "remove": _remove, "change": _change, "note": _note}
    kind = str(request.get("do"))
    if kind not in kinds:
        raise BadInput(f"the desk knows no edit called {kind!r}.")
    return kinds[kind](request, bench)


def _add(request: Mapping[str, Any], bench: EditGround) -> Edit:
    side, r_mm, theta_deg = _place(request, bench, None)
    _check_on_plate(r_mm, bench.plate)
    probe = Correction(Action.ADD, side, r_mm, theta_deg)
    crowd = [pin for pin in bench.pins if distance_mm(pin, probe) <= REACH_MM]
    if crowd:
        raise BadInput(
            f"pin {crowd[0].id} stands within {REACH_MM:g} mm of there. Move it or change its condition instead."
        )
    values = _checked_changes({"condition": "sound"} | _some(request, CHANGEABLE), bench)
    added = replace(probe, changes=(*values, BY_HAND), note=_words(request), at=bench.at)
    return Edit(f"added a pin at {_where(side, r_mm, theta_deg)}", (added,), (side, r_mm, theta_deg))


def _move(request: Mapping[str, Any], bench: EditGround) -> Edit:
    pin = bench.pin(request.get("pin"))
    _, r_mm, theta_deg = _place(request, bench, pin.side)
    _check_on_plate(r_mm, bench.plate)
    changes = (("r_mm", r_mm), ("theta_deg", theta_deg), BY_HAND)
    return Edit(f"moved pin {pin.id} to {_where(pin.side, r_mm, theta_deg)}", (_at(pin, bench, changes),))


def _remove(request: Mapping[str, Any], bench: EditGround) -> Edit:
    pins = _chosen(request, bench)
    gone = tuple(replace(_at(pin, bench, (), _words(request)), action=Action.REMOVE) for pin in pins)
    return Edit(f"removed {_named(pins)}", gone)


def _change(request: Mapping[str, Any], bench: EditGround) -> Edit:
    pins = _chosen(request, bench)
    asked = request.get("changes")
    if not isinstance(asked, Mapping) or not asked:
        raise BadInput("the change names nothing to change.")
    changes = _checked_changes(asked, bench)
    told = ", ".join(f"{name.split('_')[0]} {_value_words(value)}" for name, value in changes)
    if "condition" in asked:
        changes = (*changes, BY_HAND)  # what a person looked at and said is no longer the program's doubt
    return Edit(f"{_named(pins)}: {told}", tuple(_at(pin, bench, changes, _words(request)) for pin in pins))


def _note(request: Mapping[str, Any], bench: EditGround) -> Edit:
    pins = _chosen(request, bench)
    words = _words(request)
    if not words:
        raise BadInput("the note is empty. Write something, or leave it.")
    return Edit(f"note on {_named(pins)}", tuple(_at(pin, bench, (), words) for pin in pins))


def _at(pin: Pin, bench: EditGround, changes: tuple[tuple[str, Any], ...], note: str = "") -> Correction:
    return Correction(Action.CHANGE, pin.side, pin.r_mm, pin.theta_deg, changes, note, bench.at)


def _chosen(request: Mapping[str, Any], bench: EditGround) -> list[Pin]:
    numbers = request.get("pins")
    if not isinstance(numbers, list) or not numbers:
        raise BadInput("no pin is selected. Pick one first.")
    if not all(isinstance(number, int) for number in numbers):
        raise BadInput("a pin is named by its number.")
    return [bench.pin(number) for number in dict.fromkeys(numbers)]


def _place(request: Mapping[str, Any], bench: EditGround, side: Side | None) -> tuple[Side, float, float]:
    """(side, r_mm, theta_deg) from a pixel of a sheet ("sheet", "at") or from numbers typed in."""
    if "sheet" in request:
        sheet = bench.sheets.get(str(request["sheet"]))
        at = request.get("at")
        if sheet is None or not isinstance(at, list) or len(at) != 2:
            raise BadInput("the place is not on a picture of this desk.")
        u_px, v_px = (_number(value, "the place") for value in at)
        r_mm, theta_deg = sheet.disc_place(u_px, v_px)
        return side or _side(request.get("side", sheet.sides[0])), r_mm, theta_deg
    r_mm = _COLUMNS["r_mm"].parse(str(request.get("r_mm", "")), "radius")
    theta_deg = _COLUMNS["theta_deg"].parse(str(request.get("theta_deg", "")), "angle")
    return side or _side(request.get("side")), r_mm, theta_deg


def _side(value: Any) -> Side:
    try:
        return Side(value)
    except ValueError:
        raise BadInput(f"side is {value!r}; it must be upper or lower.") from None


def _number(value: Any, what: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e7:
        raise BadInput(f"{what} is {value!r}, not a number.")
    return float(value)


def _check_on_plate(r_mm: float, plate: Plate) -> None:
    if not r_mm <= plate.radius_mm:
        raise BadInput(f"that place is {r_mm:.2f} mm from the centre, outside the plate ({plate.radius_mm:g} mm).")
    if plate.bore_mm is not None and r_mm < plate.bore_mm / 2.0:
        raise BadInput(f"that place is {r_mm:.2f} mm from the centre, in the bore ({plate.bore_mm:g} mm across).")


def _checked_changes(asked: Mapping[str, Any], bench: EditGround) -> tuple[tuple[str, Any], ...]:
    changes = []
    for name, value in asked.items():
        if name not in CHANGEABLE:
            raise BadInput(f"{name!r} cannot be changed here.")
        parsed = None if value in (None, "") and name != "condition" else _COLUMNS[name].parse(str(value), "pin")
        if name == "tooth" and parsed is not None and bench.comb and parsed not in {t.number for t in bench.comb.teeth}:
            raise BadInput(f"the comb has no tooth {parsed}.")
        changes.append((name, parsed))
    return tuple(changes)


def _some(request: Mapping[str, Any], names: Sequence[str]) -> dict[str, Any]:
    return {name: request[name] for name in names if request.get(name) not in (None, "")}


def _words(request: Mapping[str, Any]) -> str:
    words = " ".join(str(request.get("note", "")).split())
    if len(words) > LONGEST_NOTE:
        raise BadInput(f"the note has {len(words)} letters; at most {LONGEST_NOTE} are kept.")
    return words


def _where(side: Side, r_mm: float, theta_deg: float) -> str:
    return f"{side.value} {r_mm:.2f} mm, {theta_deg:.1f} degrees"


def _named(pins: Sequence[Pin]) -> str:
    return f"pin {pins[0].id}" if len(pins) == 1 else f"{len(pins)} pins"


def _value_words(value: Any) -> str:
    if value is None:
        return "not given"
    return value.value if isinstance(value, Condition) else f"{value:g}"
