"""Hours and cost of a plan from a rates file that the user owns, with a range where findings are in doubt.

Least counts only what is sure; expected weighs every place by its probability; most does all the work in doubt as
well and replaces every pin that may break while it is straightened. Abandoned holes are no work and are never counted.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from importlib import resources
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from disc.errors import BadInput
from disc.records import Side
from disc.repin.records import SURE, SURE_NOT, CostLine, Estimate, Operation, Station
from disc.tables import read_text

Range = tuple[float, float, float]  # least, expected, most

SAMPLE_RATES = "rates.toml"


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Minutes(_Part):
    """Minutes for one place, by operation."""

    leave: float = Field(default=0.0, ge=0.0, le=600.0)
    look: float = Field(ge=0.0, le=600.0)
    straighten: float = Field(ge=0.0, le=600.0)
    pull: float = Field(ge=0.0, le=600.0)
    plug: float = Field(ge=0.0, le=600.0)
    drill: float = Field(ge=0.0, le=600.0)
    set: float = Field(ge=0.0, le=600.0)
    shorten: float = Field(ge=0.0, le=600.0)


class Hours(_Part):
    """Hours for the job; set_up_drilling counts once for each face that is drilled."""

    record: float = Field(ge=0.0, le=1000.0)
    open: float = Field(ge=0.0, le=1000.0)
    set_up_drilling: float = Field(ge=0.0, le=1000.0)
    close: float = Field(ge=0.0, le=1000.0)


class Material(_Part):
    """Cost of what is used up."""

    wire_per_pin: float = Field(ge=0.0)
    drill: float = Field(ge=0.0)
    holes_per_drill: float = Field(gt=0.0)


NO_WORK = frozenset({Operation.LEAVE, Operation.LOOK})  # a look has a line of its own


class Rates(_Part):
    """A rates file. sample: these are the shipped numbers, not the user's own."""

    sample: bool = False
    currency: str = Field(min_length=1, max_length=12)
    per_hour: float = Field(ge=0.0)
    minutes: Minutes
    hours: Hours
    material: Material


def sample_rates_text() -> str:
    """The shipped sample, to be made one's own."""
    return resources.files("disc.repin.work").joinpath(SAMPLE_RATES).read_text(encoding="utf-8")


def read_rates(path: Path) -> Rates:
    """A rates file. Raises BadInput naming the file and the entry that is wrong."""
    return parse_rates(read_text(path, "rates file"), str(path))


def parse_rates(text: str, where: str) -> Rates:
    """Rates from TOML text. Raises BadInput."""
    try:
        return Rates.model_validate(tomllib.loads(text))
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise BadInput(f"{where}: not a rates file that can be read ({error}). Mend that line.") from error
    except ValidationError as error:
        fault = error.errors()[0]
        entry = ".".join(str(part) for part in fault["loc"])
        raise BadInput(f"{where}: {entry}: {fault['msg'].lower()}. Correct that entry.") from error


def estimate(stations: Sequence[Station], rates: Rates) -> Estimate:
    """Hours and cost of all stations, split by operation."""
    counts: dict[Operation, Range] = {op: _count(stations, op) for op in Operation if op not in NO_WORK}
    spare = sum(1 for s in stations if s.may_break and s.probability > SURE_NOT)
    for operation in (Operation.PULL, Operation.SET):
        least, expected, most = counts[operation]
        counts[operation] = (least, expected, most + spare)
    looks = float(sum(1 for s in stations if s.number is not None and (s.in_doubt or _is_left(s))))
    lines = [_line(op.value, counts[op], getattr(rates.minutes, op.value) / 60.0, rates) for op in counts]
    lines.append(_line("look and decide", (looks, looks, looks), rates.minutes.look / 60.0, rates))
    lines += _once(stations, rates)
    lines += _materials(counts, rates)
    lines = [line for line in lines if line.count[2] > 0]
    in_doubt = sum(1 for s in stations if s.in_doubt)
    hours, cost = _total([line.hours for line in lines]), _total([line.cost for line in lines])
    return Estimate(rates.currency, tuple(lines), hours, cost, in_doubt, rates.sample, _words(in_doubt, spare))


def _count(stations: Sequence[Station], operation: Operation) -> Range:
    chances = [s.probability for s in stations if operation in s.possible]
    least = sum(1.0 for s in stations if operation in s.possible and s.probability >= SURE and not s.if_so)
    most = sum(1.0 for p in chances if p > SURE_NOT)
    # What is as good as sure counts whole, so that "expected" is a number of pins where nothing is in doubt.
    expected = sum(1.0 if p >= SURE else p for p in chances if p > SURE_NOT)
    return least, expected, most


def _is_left(station: Station) -> bool:
    return not set(station.possible) - NO_WORK


def _line(what: str, count: Range, hours_each: float, rates: Rates) -> CostLine:
    hours = _times(count, hours_each)
    return CostLine(what, count, hours, _times(hours, rates.per_hour))


def _once(stations: Sequence[Station], rates: Rates) -> list[CostLine]:
    """What is done once for the job, if there is any work at all, and once for each face that is drilled."""
    job = _any_of([s for s in stations if not _is_left(s)])
    faces: list[Range] = [_any_of([s for s in stations if s.side is side and s.needs_hole]) for side in Side]
    hours = rates.hours
    return [
        _line("record before the work", job, hours.record, rates),
        _line("open, and disc off its arbor", job, hours.open, rates),
        _line("set up a face for drilling", _total(faces), hours.set_up_drilling, rates),
        _line("assemble, play and time", job, hours.close, rates),
    ]


def _any_of(stations: Sequence[Station]) -> Range:
    """Whether any of this work is done: surely, with this chance, at most."""
    none = 1.0
    for station in stations:
        none *= 0.0 if station.probability >= SURE else 1.0 - station.probability
    return (1.0 if any(s.probability >= SURE for s in stations) else 0.0), 1.0 - none, 1.0 if stations else 0.0


def _materials(counts: dict[Operation, Range], rates: Rates) -> list[CostLine]:
    pins, holes = counts[Operation.SET], counts[Operation.DRILL]
    per_hole = rates.material.drill / rates.material.holes_per_drill
    nothing = (0.0, 0.0, 0.0)
    return [
        CostLine("wire", pins, nothing, _times(pins, rates.material.wire_per_pin)),
        CostLine("drills", holes, nothing, _times(holes, per_hole)),
    ]


def _times(values: Range, factor: float) -> Range:
    return values[0] * factor, values[1] * factor, values[2] * factor


def _total(parts: Sequence[Range]) -> Range:
    return sum(p[0] for p in parts), sum(p[1] for p in parts), sum(p[2] for p in parts)


def _words(in_doubt: int, spare: int) -> str:
    parts = []
    if in_doubt:
        places, them = ("1 place is", "it") if in_doubt == 1 else (f"{in_doubt} places are", "them")
        parts.append(f"{places} in doubt: the least leaves {them}, the most does all the work")
    if spare:
        pins = "1 pin" if spare == 1 else f"{spare} pins"
        parts.append(f"{pins} may break when straightened: the most sets new ones")
    return "; ".join(parts) or "none of these places is in doubt"


# ---- what was estimated when


def history_entry(made: Estimate, at: str, previous: dict[str, Any] | None) -> dict[str, Any] | None:
    """This estimate as a line of the job's history; None if nothing changed since the previous one."""
    counts = {line.what: [round(c, 2) for c in line.count] for line in made.lines}
    entry: dict[str, Any] = {
        "hours": [round(h, 2) for h in made.hours],
        "cost": [round(c, 2) for c in made.cost],
        "currency": made.currency,
        "in_doubt": made.in_doubt,
        "sample_rates": made.sample,
        "counts": counts,
    }
    if previous is not None and all(previous.get(name) == value for name, value in entry.items()):
        return None
    return {"at": at, **entry, "changed": what_changed(entry, previous)}


def what_changed(now: dict[str, Any], before: dict[str, Any] | None) -> str:
    """How one estimate differs from the one before, in words."""
    if before is None:
        return "first estimate"
    parts = []
    for what in dict.fromkeys([*before["counts"], *now["counts"]]):
        old, new = before["counts"].get(what, [0, 0, 0])[1], now["counts"].get(what, [0, 0, 0])[1]
        if abs(new - old) >= 0.05 and what not in ("wire", "drills"):
            parts.append(f"{what} {old:g} -> {new:g}")
    if now["in_doubt"] != before["in_doubt"]:
        parts.append(f"in doubt {before['in_doubt']} -> {now['in_doubt']}")
    if not parts:
        parts.append("the rates changed" if now["cost"] != before["cost"] or now["hours"] != before["hours"] else "")
    hours = now["hours"][1] - before["hours"][1]
    parts.append(f"expected hours {hours:+.2f}")
    return "; ".join(part for part in parts if part)
