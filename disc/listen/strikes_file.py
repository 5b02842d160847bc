"""strikes.csv: turn_fraction,tooth, one strike a line, in any order. A line's place is the index others use."""

from __future__ import annotations

from pathlib import Path

from disc.errors import BadInput
from disc.tables import Column, parse_table, read_text

# The file's columns and their bounds, by definition: a turn is 0 to 1.
STRIKE_COLUMNS = (
    Column("turn_fraction", float, low=0.0, high=1.0, below=True, digits=6),
    Column("tooth", int, low=0),
)
WHAT = "list of strikes"


def read_strikes(path: Path) -> tuple[tuple[float, int], ...]:
    """(fraction of a turn, tooth) of every line. Raises BadInput naming file, line and cell, or if there are none."""
    rows = parse_table(read_text(path, WHAT), STRIKE_COLUMNS, path, WHAT)
    if not rows:
        raise BadInput(f"{path}: the {WHAT} has no strikes. Add one line for each.")
    return tuple((values["turn_fraction"], values["tooth"]) for _, values in rows)
