"""Settings, plate, comb and decisions changed at the desk: laid into a job, forwards or back."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, replace
from typing import Any

from disc.desk.open_job.datum import Datum, inverse, moved_corrections, moved_pin, moved_place, moved_view
from disc.desk.open_job.history import ValueChange
from disc.errors import BadInput, MissingPart
from disc.job import COMB_FILE, READING_FILE, Job, Stage
from disc.job.corrections import Correction, grown
from disc.job.places_said import NOTES, notes_said
from disc.job.schema import checked_plate
from disc.photo.plane.view import View
from disc.records import Side, Turns
from disc.tables import format_pins

DECISIONS_FILE = "decisions.json"
PLATE_VALUES = ("diameter_mm", "turns", "revolution_s", "rest_arc_deg", "thickness_mm", "bore_mm")


def plate_changes(job: Job, asked: Mapping[str, Any]) -> tuple[ValueChange, ...]:
    """Changes of the plate that a person asks for. Raises BadInput for a value that cannot be."""
    changes = []
    for name, value in asked.items():
        if name not in PLATE_VALUES:
            raise BadInput(f"the plate has no {name!r} that can be set here.")
        if name == "turns":
            new: Any = _turns(value)
        else:
            new = None if value in (None, "") else _length(name, value)
        changes.append(ValueChange("plate", name, getattr(job.content.plate, name), new))
    checked_plate(job.content.plate.model_dump() | {c.name: c.new for c in changes})  # the job's own limits
    return tuple(changes)


def told_of_values(changes: Iterable[ValueChange]) -> str:
    """What a step that sets values is called: "set diameter 28.3, bore as read"."""
    real = (change for change in changes if change.old != change.new)
    return "set " + ", ".join(f"{c.name.split('.')[-1].removesuffix('_mm')} {_told(c.new)}" for c in real)


def _told(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    return "as read" if value is None else str(value)


def _turns(value: Any) -> str:
    try:
        return Turns(value).value
    except ValueError:
        raise BadInput(f"turning is {value!r}; it must be clockwise or counterclockwise.") from None


def _length(name: str, value: Any) -> float:
    try:
        return float(str(value).replace(",", "."))
    except ValueError:
        raise BadInput(f"{name} is {value!r}, not a number.") from None


def setting_change(job: Job, name: str, new: Any) -> ValueChange:
    """A change of one setting; None takes the setting away."""
    return ValueChange("settings", name, job.settings.get(name), new)


def comb_change(job: Job, text: str | None, draft: bool) -> tuple[ValueChange, ...]:
    """A new comb table as text; None: no comb."""
    path = job.path(COMB_FILE)
    old = path.read_text(encoding="utf-8") if path.is_file() else None
    return (
        ValueChange("comb", COMB_FILE, old, text),
        ValueChange("settings", "comb.draft", job.settings.get("comb.draft"), draft),
    )


def decisions_change(job: Job, new: list[Any]) -> ValueChange:
    """A new list of decisions, as plain JSON."""
    path = job.path(DECISIONS_FILE)
    old = json.loads(path.read_text(encoding="utf-8"))["decisions"] if path.is_file() else []
    return ValueChange("decision", DECISIONS_FILE, old, new)


def apply_changes(job: Job, stage: Stage, changes: Iterable[ValueChange], forward: bool) -> None:
    """Lay the changes of one step into the job and the stage; backwards in reverse order."""
    ordered = list(changes) if forward else list(reversed(list(changes)))
    for change in ordered:
        value = change.new if forward else change.old
        if change.where == "plate":
            job.content.change_plate({change.name: value})
        elif change.where == "settings":
            _set_or_drop(job.settings, change.name, value)
        elif change.where == "comb":
            _write_or_remove(stage, COMB_FILE, value)
        elif change.where == "faces":
            _set_or_drop(job.content.faces, change.name, value)
        elif change.where == "reading":
            _write_or_remove(stage, READING_FILE, value)
        elif change.where in ("datum", "growth"):
            pass  # move the corrections, which the session holds; see moved_by_changes
        elif change.where == "file":
            _put_back(job, stage, change.name, value)
        elif change.where == "result":
            _set_or_drop(job.content.results, change.name, value)
        elif change.where == "decision":
            content = {"schema": 1, "decisions": value or []}
            stage.write_text(DECISIONS_FILE, json.dumps(content, indent=1, ensure_ascii=False) + "\n")
        else:
            raise BadInput(f"the history names {change.where!r}, which this program does not know.")


def datum_changes(job: Job, datum: Datum, what: str, at_px: tuple[float, float]) -> tuple[ValueChange, ...]:
    """All that changes when slot or centre of a photographed face is marked anew."""
    side = datum.side
    old_view = job.content.faces[side.value]
    new_view = old_view | moved_view(View.from_json(old_view), datum).to_json()
    reading = job.reading()
    moved = format_pins([moved_pin(pin, datum) for pin in reading])
    return (
        ValueChange("datum", side.value, None, asdict(datum) | {"side": side.value}),
        ValueChange("faces", side.value, old_view, new_view),
        ValueChange("reading", READING_FILE, format_pins(reading), moved),
        setting_change(job, f"photo.{what}_{side.value}", [round(at_px[0], 2), round(at_px[1], 2)]),
        setting_change(job, NOTES, moved_notes(job.settings, datum)),
    )


def moved_notes(stored: Mapping[str, Any], datum: Datum) -> list[str] | None:
    """What is said of single notes with the places of their pins in the new axes; None where nothing is said."""
    moved = []
    for said in notes_said(stored):
        r_mm, theta_deg = moved_place(said.r_mm, said.theta_deg, datum)
        moved.append(replace(said, r_mm=r_mm, theta_deg=theta_deg) if said.side is datum.side else said)
    return [said.text for said in moved] or None


def fitting_changes(job: Job, changes: tuple[ValueChange, ...], forward: bool) -> tuple[ValueChange, ...]:
    """The changes that still make sense: a slot marked on photographs that were read anew since is left alone."""
    views = [change for change in changes if change.where == "faces"]
    if all(job.content.faces.get(c.name) == (c.old if forward else c.new) for c in views):
        return changes
    return tuple(change for change in changes if change.where not in ("faces", "reading", "datum", "growth"))


def moved_by_changes(
    corrections: tuple[Correction, ...], changes: Iterable[ValueChange], forward: bool
) -> tuple[Correction, ...]:
    """Corrections in the axes that hold after these changes: a slot, a centre or a diameter moves them too."""
    for change in changes:
        if change.where == "datum":
            datum = Datum(**(change.new | {"side": Side(change.new["side"])}))
            corrections = moved_corrections(corrections, datum if forward else inverse(datum))
        elif change.where == "growth":
            corrections = tuple(grown(c, change.new if forward else 1.0 / change.new) for c in corrections)
    return corrections


def _set_or_drop(values: dict[str, Any], name: str, value: Any) -> None:
    if value is None:
        values.pop(name, None)
    else:
        values[name] = value


def _put_back(job: Job, stage: Stage, name: str, digest: str | None) -> None:
    """The file as it was under this digest (see file_changes.py); None: it is not there."""
    if digest is None:
        stage.remove(name)
        return
    kept = job.path(f".desk-kept/{digest}")
    if not kept.is_file():
        raise MissingPart(f"{name}: the copy kept for undo is gone from the job. Bring the file again.")
    stage.copy_in(kept, name)


def _write_or_remove(stage: Stage, name: str, text: str | None) -> None:
    if text is None:
        stage.remove(name)
    else:
        stage.write_text(name, text)
