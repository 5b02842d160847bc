"""Why a cell of a disc's row is empty, in words: an empty cell without its reason would look like a zero or a fault."""

from __future__ import annotations

from disc.collect.rows import DONE, DiscRow, shown_names
from disc.job import Job
from disc.locale.catalogue import mark
from disc.records import Side

NO_PHOTOGRAPH = mark("this face was not photographed")
NO_PINS = mark("no pin was found on either face")
ONE_TRACK = mark("there are not two tracks on one face")
NO_THICKNESS = mark("no pin's thickness was measured")
NO_COMB = mark("there is no comb yet")
NO_PITCH = mark("no tooth has a pitch yet")
NOT_LOOKED_UP = mark("the tune was not looked up")
NOT_IN_LIBRARY = mark("nothing in the library is like it")
NO_MAKER = mark("nobody wrote it down (disc object)")
NOT_KNOWN = mark("not known")
TUNE_NAMES = ("tune_title", "tune_collection", "tune_file", "tune_number", "tune_probability")


def not_photographed(job: Job, side: Side, count: int) -> bool:
    """Whether a face without pins is one that no photograph showed: its number of pins is then not known."""
    return count == 0 and bool(job.content.faces) and side.value not in job.content.faces


def with_reasons(row: DiscRow, job: Job | None, looked_up: bool) -> str:
    """Reasons of all empty cells of a row: "column, column: reason; ..."; nothing where none is empty."""
    if row.status != DONE or job is None:
        return ""  # the row's own reason says it
    reasons: dict[str, list[str]] = {}
    for name in shown_names():
        if getattr(row, name) is None and name != "seconds":  # which is known only after the row
            reasons.setdefault(_why(name, row, looked_up), []).append(name)
    return "; ".join(f"{', '.join(names)}: {why}" for why, names in reasons.items())


def _why(name: str, row: DiscRow, looked_up: bool) -> str:
    if name in ("pins_upper", "pins_lower"):
        return NO_PHOTOGRAPH
    if name in ("inner_r_mm", "outer_r_mm"):
        return NO_PINS
    if name == "track_gap_mm":
        return ONE_TRACK
    if name == "pin_diameter_mm":
        return NO_THICKNESS
    if name == "teeth" or (name in TUNE_NAMES and row.teeth is None):
        return NO_COMB
    if name in TUNE_NAMES:
        return NOT_LOOKED_UP if not looked_up else NO_PITCH if not row.pitched else NOT_IN_LIBRARY
    return NO_MAKER if name in ("maker", "number") else NOT_KNOWN
