"""What a person wrote about a pin: the words of the corrections, followed to the pin that stands there now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from disc.job.corrections import Action, Correction, Standing
from disc.records import Pin


@dataclass(frozen=True, slots=True)
class PinNote:
    """Words on a pin. at: ISO time, UTC."""

    words: str
    at: str


def notes_by_pin(reading: Sequence[Pin], done: Sequence[Correction]) -> dict[int, tuple[PinNote, ...]]:
    """The notes by id of the pin they speak of; those on a pin that was removed are left out.

    A correction names a place as it was then, so the corrections up to each note are laid over the reading first.
    """
    if not any(c.note for c in done):
        return {}
    notes: dict[int, tuple[PinNote, ...]] = {}
    pins = Standing(reading)
    for correction in done:
        if correction.action is not Action.ADD:
            _keep(notes, pins, correction)
        pins.lay(correction)
        if correction.action is Action.ADD:
            _keep(notes, pins, correction)
    standing = {pin.id for pin in pins.left()}
    return {number: words for number, words in notes.items() if number in standing}


def set_by_hand(pins: Sequence[Pin], done: Sequence[Correction]) -> frozenset[int]:
    """Ids of the pins whose place or condition a person set: what is sure of them is sure by hand."""
    places = set()
    for correction in done:
        values = dict(correction.changes)
        if values.get("confidence") == 1.0:
            r_mm, theta_deg = values.get("r_mm", correction.r_mm), values.get("theta_deg", correction.theta_deg)
            places.add((correction.side, round(r_mm, 3), round(theta_deg, 2)))
    if not places:
        return frozenset()
    return frozenset(pin.id for pin in pins if (pin.side, round(pin.r_mm, 3), round(pin.theta_deg, 2)) in places)


def _keep(notes: dict[int, tuple[PinNote, ...]], pins: Standing, correction: Correction) -> None:
    if correction.note and (nearest := pins.near(correction)) is not None:
        _, pin = nearest
        notes[pin.id] = (*notes.get(pin.id, ()), PinNote(correction.note, correction.at))
