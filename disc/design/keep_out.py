"""The table of places where no pin may stand: screws, openings between crossings, engraving, plugged holes.

One line for each: a circle by r_mm, theta_deg and diameter_mm, or a ring sector by from_r_mm, to_r_mm, from_theta_deg
and to_theta_deg (counter-clockwise from the first angle to the second, in the disc's axes).
"""

from __future__ import annotations

from pathlib import Path

from disc.design.settings import KeepOut, Opening, Spot
from disc.errors import BadInput
from disc.tables import Column, parse_table, read_text

# The file's columns and their bounds, by definition.
KEEP_OUT_COLUMNS = (
    Column("r_mm", float, required=False, low=0.0, high=100.0),
    Column("theta_deg", float, required=False, low=0.0, high=360.0, below=True),
    Column("diameter_mm", float, required=False, low=0.0, high=100.0),
    Column("from_r_mm", float, required=False, low=0.0, high=100.0),
    Column("to_r_mm", float, required=False, low=0.0, high=100.0),
    Column("from_theta_deg", float, required=False, low=0.0, high=360.0),
    Column("to_theta_deg", float, required=False, low=0.0, high=360.0),
)
CIRCLE = ("r_mm", "theta_deg", "diameter_mm")
SECTOR = ("from_r_mm", "to_r_mm", "from_theta_deg", "to_theta_deg")


def read_keep_out(path: Path) -> tuple[KeepOut, ...]:
    """The zones of a table. Raises BadInput naming file, line and cell."""
    zones: list[KeepOut] = []
    for line, values in parse_table(read_text(path, "keep-out table"), KEEP_OUT_COLUMNS, path, "keep-out table"):
        given = {name for name, value in values.items() if value is not None}
        if given != set(CIRCLE) and given != set(SECTOR):
            raise BadInput(
                f"{path} line {line}: fill in either {', '.join(CIRCLE)} (a screw) or {', '.join(SECTOR)} (an opening)."
            )
        if given == set(SECTOR) and not values["from_r_mm"] < values["to_r_mm"]:
            raise BadInput(f"{path} line {line}: from_r_mm must be less than to_r_mm. Correct that line.")
        kind, names = (Spot, CIRCLE) if given == set(CIRCLE) else (Opening, SECTOR)
        zones.append(kind(f"line {line}", **{name: values[name] for name in names}))
    return tuple(zones)
