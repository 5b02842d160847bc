"""Pins as the page shows them: their values, and where they lie on every sheet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from disc.desk.open_job.notes import PinNote
from disc.desk.page.sheets import PageSheet, sheet_marks
from disc.records import Condition, Pin
from disc.words import likely


def page_pins(
    pins: Iterable[Pin],
    sheets: Mapping[str, PageSheet],
    notes: Mapping[int, tuple[PinNote, ...]],
    by_hand: frozenset[int] = frozenset(),
) -> dict[int, dict[str, Any]]:
    """By pin id, plain JSON. by_hand: pins that a person set. marks: sheet name -> [root, tip or null], pixels."""
    standing = tuple(pins)
    marks = {name: sheet_marks(sheet, standing) for name, sheet in sheets.items()}
    shown = {}
    for pin in standing:
        shown[pin.id] = {
            "id": pin.id,
            "side": pin.side.value,
            "r_mm": round(pin.r_mm, 3),
            "theta_deg": round(pin.theta_deg, 3),
            "diameter_mm": _short(pin.diameter_mm),
            "height_mm": _short(pin.height_mm),
            "condition": pin.condition.value,
            "lean_mm": _lean(pin),
            "sigma_mm": _short(pin.sigma_mm),
            "confidence": _short(pin.confidence),
            "condition_sure": _condition_sure(pin),
            "tooth": pin.tooth,
            "doubt": pin.is_doubtful,
            "by_hand": pin.id in by_hand,
            "marks": {name: list(of[pin.id]) for name, of in marks.items() if pin.id in of},
            "notes": [{"words": note.words, "at": note.at} for note in notes.get(pin.id, ())],
        }
    return shown


class PagePins:
    """What the pages know of the pins. Only what changed is worked out again, and only that is told."""

    def __init__(self) -> None:
        self._shown: dict[int, dict[str, Any]] = {}
        self._from: dict[int, tuple[Pin, tuple[PinNote, ...], bool]] = {}
        self._sheets: Mapping[str, PageSheet] | None = None

    def show(
        self,
        pins: Iterable[Pin],
        sheets: Mapping[str, PageSheet],
        notes: Mapping[int, tuple[PinNote, ...]],
        by_hand: frozenset[int],
    ) -> tuple[list[dict[str, Any]], list[int]]:
        """(the pins that are shown otherwise than before, the ids of those that are gone)."""
        now = {pin.id: (pin, notes.get(pin.id, ()), pin.id in by_hand) for pin in pins}
        is_other = self._sheets is not sheets
        fresh = page_pins(
            [of[0] for number, of in now.items() if is_other or self._from.get(number) != of], sheets, notes, by_hand
        )
        changed = [pin for number, pin in fresh.items() if self._shown.get(number) != pin]
        gone = [number for number in self._shown if number not in now]
        self._shown = {number: fresh[number] if number in fresh else self._shown[number] for number in now}
        self._from, self._sheets = now, sheets
        return changed, gone

    def all(self) -> list[dict[str, Any]]:
        """Every pin as it is shown."""
        return list(self._shown.values())


def _condition_sure(pin: Pin) -> str | None:
    """How sure the reading is of a condition that calls for work, in a word: no bench shows a percentage to be true."""
    read = None if pin.condition is Condition.SOUND else pin.condition_probability
    return None if read is None else likely(read)


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def _lean(pin: Pin) -> list[float] | None:
    if pin.lean_x_mm is None or pin.lean_y_mm is None:
        return None
    return [round(pin.lean_x_mm, 3), round(pin.lean_y_mm, 3)]
