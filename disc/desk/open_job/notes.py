"""What a person changed, laid over the reading: the pins, what was written about them, and which were set by hand.

A person edits step after step: what was laid already is kept, and only a new correction is laid on top. After an undo,
a new reading or a datum moved, all are laid anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from disc.job.corrections import Action, Correction, Standing
from disc.records import Pin, Side


@dataclass(frozen=True, slots=True)
class PinNote:
    """Words on a pin. at: ISO time, UTC."""

    words: str
    at: str


class LaidEdits:
    """A reading with corrections laid over it, as long as both stay the same or grow."""

    def __init__(self) -> None:
        self._begin(())

    def _begin(self, reading: tuple[Pin, ...]) -> None:
        self._reading = reading
        self._laid: list[Correction] = []
        self._standing = Standing(reading)
        self._notes: dict[int, tuple[PinNote, ...]] = {}
        self._places: set[tuple[Side, float, float]] = set()

    def lay(self, reading: tuple[Pin, ...], done: Sequence[Correction]) -> tuple[Pin, ...]:
        """The pins as these corrections leave them, in the order in which they were made."""
        count = len(self._laid)
        goes_on = reading is self._reading and count <= len(done)
        if not goes_on or any(old is not new for old, new in zip(self._laid, done, strict=False)):
            self._begin(reading)
            count = 0
        for correction in done[count:]:
            self._lay_one(correction)
        return self._standing.left()

    def _lay_one(self, correction: Correction) -> None:
        # A correction names a place as it was then: its note is for the pin that stands there before it is laid.
        if correction.action is not Action.ADD:
            self._keep_note(correction)
        self._standing.lay(correction)
        if correction.action is Action.ADD:
            self._keep_note(correction)
        values = dict(correction.changes)
        if values.get("confidence") == 1.0:
            r_mm, theta_deg = values.get("r_mm", correction.r_mm), values.get("theta_deg", correction.theta_deg)
            self._places.add((correction.side, round(r_mm, 3), round(theta_deg, 2)))
        self._laid.append(correction)

    def _keep_note(self, correction: Correction) -> None:
        if correction.note and (nearest := self._standing.near(correction)) is not None:
            _, pin = nearest
            self._notes[pin.id] = (*self._notes.get(pin.id, ()), PinNote(correction.note, correction.at))

    def notes(self) -> dict[int, tuple[PinNote, ...]]:
        """The notes by id of the pin they speak of; those on a pin that was removed are left out."""
        standing = {pin.id for pin in self._standing.left()} if self._notes else set()
        return {number: words for number, words in self._notes.items() if number in standing}

    def by_hand(self, pins: Sequence[Pin]) -> frozenset[int]:
        """Ids of the pins whose place or condition a person set: what is sure of them is sure by hand."""
        if not self._places:
            return frozenset()
        where = ((pin.id, (pin.side, round(pin.r_mm, 3), round(pin.theta_deg, 2))) for pin in pins)
        return frozenset(number for number, place in where if place in self._places)
