"""Tables of a job folder: pins.csv and comb.csv, written once, read back from any spreadsheet.

One list of columns serves writer, reader, checks and help. Reading accepts comma, semicolon or tab between the cells,
a decimal comma where the cells are parted by something else, a byte order mark and any line ending. Measures may be
written as a restorer does (measures/): 11/32 in, 12 thou, 123°30', C#5-14; a heading may name the unit (tip_r_in,
pitch_hz), or be German or French.
"""

from __future__ import annotations

import csv
import io
import math
import stat
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Any

from disc.errors import BadInput
from disc.measures.angle import angle_deg
from disc.measures.length import length_mm
from disc.measures.pitch import names_used, pitch_from
from disc.records import Comb, Condition, Pin, Side, Tooth, ToothCondition

# Unless said otherwise: chosen by hand, not measured.
# A table of pins has a few hundred rows; a file this long is something else.
LONGEST_TABLE_BYTES = 16_000_000
MOST_ROWS = 100_000  # the list of the largest collection; pins and teeth are far fewer
MOST_PINS = 20_000  # fifty times what a disc of this kind carries; chosen by hand
MOST_TEETH = 200  # of a comb; those of watches have some tens (common practice, no source), so more is a slip

Measure = Callable[[str, str], float]  # (text, what it is called) to the value; raises BadInput


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name in the file, what a cell becomes, whether it may be empty or absent, and its limits.

    also: other headings, with the unit that a bare number under them has ("tip_r_in": "in"). words: other words for a
    cell's value. measure: from all the column's cells, what reads one that is no plain number.
    """

    name: str
    kind: Any  # int, float or a StrEnum
    required: bool = True
    low: float | None = None
    high: float | None = None
    below: bool = False  # high itself is not allowed
    digits: int = 4
    also: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    measure: Callable[[Sequence[str]], Measure] | None = None

    def parse(self, text: str, where: str) -> Any:
        """A cell's value; None where an optional cell is empty. Raises BadInput naming the place."""
        cell = text.strip()
        if not cell:
            if self.required:
                raise BadInput(f"{where}: {self.name} is empty. Fill it in and run the command again.")
            return None
        if issubclass(self.kind, StrEnum):
            try:
                return self.kind(self.words.get(cell.lower(), cell.lower()))
            except ValueError:
                allowed = ", ".join(member.value for member in self.kind)
                raise BadInput(f"{where}: {self.name} is {cell!r}; it must be one of {allowed}.") from None
        try:
            value = self.kind(cell) if self.kind is not int else _whole(cell)
        except (ValueError, OverflowError):
            if self.measure is not None:
                value = self.measure([cell])(cell, f"{where}: {self.name}")
                self._check_limits(value, where)
                return value
            what = "a whole number" if self.kind is int else "a number"
            raise BadInput(f"{where}: {self.name} is {cell!r}, not {what}. Correct that cell.") from None
        if self.kind in (int, float):
            if self.measure is not None and math.isfinite(value) and not self._is_within(value):
                value = self.measure([cell])(cell, f"{where}: {self.name}")  # it may know what was meant: hertz
            self._check_limits(value, where)
        return value

    def _is_within(self, value: float) -> bool:
        too_high = self.high is not None and (value >= self.high if self.below else value > self.high)
        return math.isfinite(value) and (self.low is None or value >= self.low) and not too_high

    def _check_limits(self, value: float, where: str) -> None:
        if not self._is_within(value):
            low = "" if self.low is None else f" from {self.low:g}"
            high = "" if self.high is None else f" {'below' if self.below else 'to'} {self.high:g}"
            raise BadInput(f"{where}: {self.name} is {value:g}; it must lie{low}{high}. Correct that cell.")

    def write(self, value: Any) -> str:
        """A value as a cell."""
        if value is None:
            return ""
        if self.kind is float:
            text = f"{float(value):.{self.digits}f}"
            # An angle just below a full turn must not be rounded up to it.
            return f"{0.0:.{self.digits}f}" if self.below and self.high and float(text) >= self.high else text
        return str(value.value if isinstance(value, StrEnum) else value)


def _whole(cell: str) -> int:
    number = float(cell)  # a spreadsheet may write 12 as 12.0
    if number != int(number):
        raise ValueError(cell)
    return int(number)


# The file's columns and their bounds, by definition (design: pins.csv).
PIN_COLUMNS = (
    Column("id", int, low=0),
    Column("side", Side),
    Column("r_mm", float, low=0.0, high=100.0, measure=lambda cells: length_mm),
    Column("theta_deg", float, low=0.0, high=360.0, below=True, measure=lambda cells: angle_deg),
    Column("diameter_mm", float, required=False, low=0.0, high=5.0),
    Column("height_mm", float, required=False, low=0.0, high=10.0),
    Column("condition", Condition),
    Column("lean_x_mm", float, required=False, low=-10.0, high=10.0),
    Column("lean_y_mm", float, required=False, low=-10.0, high=10.0),
    Column("sigma_mm", float, required=False, low=0.0, high=10.0),
    Column("confidence", float, required=False, low=0.0, high=1.0),
    Column("tooth", int, required=False, low=0),
    Column("condition_probability", float, required=False, low=0.0, high=1.0),
    Column("height_sigma_mm", float, required=False, low=0.0, high=10.0),
)

# What the trade writes for a face and a tooth's state in German and French; the house's own words are records.Side
# and ToothCondition. The languages' other words are in locale/glossary.csv.
SIDE_WORDS = {
    **dict.fromkeys(("top", "oben", "oberseite", "dessus", "supérieure", "face supérieure"), "upper"),
    **dict.fromkeys(("bottom", "unten", "unterseite", "dessous", "inférieure", "face inférieure"), "lower"),
}
TOOTH_WORDS = {
    **dict.fromkeys(("ok", "good", "heil", "ganz", "gut", "saine", "sain", "bonne"), "sound"),
    **dict.fromkeys(("mute", "silent", "stumm", "tot", "muette", "muet", "morte"), "dead"),
    **dict.fromkeys(("gebrochen", "abgebrochen", "cassée", "cassé", "brisée"), "broken"),
    **dict.fromkeys(("lost", "fehlt", "fehlend", "manquante", "manque", "manquant"), "missing"),
    **dict.fromkeys(("ersetzt", "remplacée", "remplacé", "new"), "replaced"),
    **dict.fromkeys(("buzzes", "schnarrt", "schnarrend", "grésille"), "buzzing"),
    **dict.fromkeys(("doppelt", "doublée"), "doubled"),
}

# The file's columns and their bounds, by definition (design: comb.csv).
COMB_COLUMNS = (
    Column("number", int, low=0, also=dict.fromkeys(("tooth", "no", "no.", "nr", "nr.", "n°", "zahn", "dent"), "")),
    Column("side", Side, also=dict.fromkeys(("face", "seite", "côté"), ""), words=SIDE_WORDS),
    Column(
        "tip_r_mm",
        float,
        low=0.0,
        high=100.0,
        also={"tip_r": "", "tip_r_in": "in", "tip_r_inch": "in", "tip_r_thou": "thou", "r_mm": "", "r_in": "in"},
        measure=lambda cells: length_mm,
    ),
    Column(
        "tip_theta_deg",
        float,
        required=False,
        low=0.0,
        high=360.0,
        below=True,
        also={"tip_theta": "", "theta_deg": "", "angle": "", "winkel": ""},
        measure=lambda cells: angle_deg,
    ),
    Column(
        "pitch",
        float,
        required=False,
        low=0.0,
        high=140.0,
        also={"note": "", "ton": "", "tonhöhe": "", "hz": "Hz", "pitch_hz": "Hz", "frequency_hz": "Hz", "midi": ""},
        measure=lambda cells: partial(pitch_from, names=names_used(cells)),
    ),
    Column(
        "condition",
        ToothCondition,
        required=False,
        also=dict.fromkeys(("state", "zustand", "état"), ""),
        words=TOOTH_WORDS,
    ),
    Column("pitch_probability", float, required=False, low=0.0, high=1.0),
)


def format_table(columns: Sequence[Column], records: Iterable[Any]) -> str:
    """Comma-separated text with a heading line; cells are the record's attributes of the columns' names."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([column.name for column in columns])
    for record in records:
        writer.writerow([column.write(getattr(record, column.name)) for column in columns])
    return out.getvalue()


def parse_table(
    text: str, columns: Sequence[Column], path: Path, what: str, most: int = MOST_ROWS
) -> list[tuple[int, dict[str, Any]]]:
    """Rows as (line number, values by column name). Unknown columns are left alone.

    Raises BadInput with file, line and advice for a missing column, a short row or a cell that does not fit, and
    for more than `most` lines before anything is parted.
    """
    if (long := text.count("\n")) > most:
        raise BadInput(f"{path}: {long} lines are too many for a {what} (at most {most}). Is it another file?")
    lines = text.lstrip("\ufeff").splitlines()
    if lines and lines[0].lower().startswith("sep="):
        lines[0] = ""
    first = next((i for i, line in enumerate(lines) if line.strip()), None)
    if first is None:
        raise BadInput(f"{path}: the {what} is empty. It needs a first line naming its columns.")
    separator = max(";\t,", key=lines[first].count)
    try:
        rows = [(n, row) for n, row in _numbered_rows(lines[first:], separator, first) if any(c.strip() for c in row)]
    except csv.Error as error:
        raise BadInput(f"{path}: not a table that can be read ({error}). Save it as CSV text.") from error
    heading, units = _heading([cell.strip().lower() for cell in rows[0][1]] if rows else [], columns)
    for place, name in enumerate(heading):
        if name in heading[:place] and any(name == column.name for column in columns):
            raise BadInput(
                f"{path} line {first + 1}: the heading {name} stands in column {heading.index(name) + 1} and again in "
                f"column {place + 1}. Take one of the two columns out."
            )
    missing = [c.name for c in columns if c.required and c.name not in heading]
    if missing:
        need = ",".join(c.name for c in columns if c.required)
        raise BadInput(f"{path}: the {what} has no column {', '.join(missing)}. Its first line must name {need}.")
    columns = _with_measures(columns, heading, [row for _, row in rows[1:]])
    return [(n, _parse_row(row, heading, units, columns, separator, f"{path} line {n}")) for n, row in rows[1:]]


def _heading(cells: list[str], columns: Sequence[Column]) -> tuple[list[str], dict[str, str]]:
    """The first line by the columns' own names, and the units that its other headings name, by column."""
    own = {column.name for column in columns} & set(cells)
    renamed, units = [], {}
    for cell in cells:
        column = next((c for c in columns if cell in c.also and c.name not in own), None)
        if column is not None:
            own.add(column.name)
            units[column.name] = column.also[cell]
        renamed.append(cell if column is None else column.name)
    return renamed, units


def _always(measure: Measure) -> Callable[[Sequence[str]], Measure]:
    return lambda _: measure


def _with_measures(columns: Sequence[Column], heading: list[str], rows: list[list[str]]) -> list[Column]:
    """The columns, each one's measure chosen by all its cells (German note names show in one of them only)."""
    made = []
    for column in columns:
        if column.measure is not None and column.name in heading:
            place = heading.index(column.name)
            measure = column.measure([row[place] for row in rows if len(row) > place])
            column = replace(column, measure=_always(measure))
        made.append(column)
    return made


def _numbered_rows(lines: list[str], separator: str, before: int) -> Iterable[tuple[int, list[str]]]:
    reader = csv.reader(lines, delimiter=separator)
    for row in reader:
        yield before + reader.line_num, row


def _parse_row(
    row: list[str],
    heading: list[str],
    units: Mapping[str, str],
    columns: Sequence[Column],
    separator: str,
    where: str,
) -> dict[str, Any]:
    if len(row) > len(heading) and any(cell.strip() for cell in row[len(heading) :]):
        raise BadInput(
            f"{where}: {len(row)} cells, but the first line names {len(heading)} columns. "
            "If numbers are written with a decimal comma, part the cells with semicolons."
        )
    cells = dict(zip(heading, row, strict=False))
    values = {}
    for column in columns:
        text = cells.get(column.name, "")
        if column.kind in (int, float) and _is_plain(text.replace(",", ".")):
            text = text.replace(",", ".") + (f" {units[column.name]}" if units.get(column.name) else "")
        values[column.name] = column.parse(text, where)
    return values


def _is_plain(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def check_is_file(path: Path, what: str) -> int:
    """The size of a file in bytes. Raises BadInput if there is none, or it is a folder, a pipe or a device.

    What is no plain file may have no end, or wait for ever.
    """
    try:
        found = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        raise BadInput(f"{path}: there is no such file. Check the name of the {what}.") from None
    except (OSError, ValueError) as error:
        raise BadInput(f"{path}: the {what} cannot be read ({getattr(error, 'strerror', '') or error}).") from error
    if not stat.S_ISREG(found.st_mode):
        kind = "a folder" if stat.S_ISDIR(found.st_mode) else "a pipe or a device"
        raise BadInput(f"{path}: this is {kind}, not a file. Name a plain file as the {what}.")
    return found.st_size


def read_text(path: Path, what: str) -> str:
    """The text of a small file. Raises BadInput if it is absent, unreadable, too long or not text."""
    try:
        if (size := check_is_file(path, what)) > LONGEST_TABLE_BYTES:
            raise BadInput(f"{path}: too long for a {what} ({size // 1_000_000} MB).")
        data = path.read_bytes()
    except OSError as error:
        raise BadInput(f"{path}: the {what} cannot be read ({error.strerror or error}).") from error
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")  # older spreadsheets
    if "\0" in text:
        raise BadInput(f"{path}: this is not a text file. Save the {what} as CSV.")
    return text


def _read_records(
    path: Path, columns: Sequence[Column], what: str, make: Callable[..., Any], key: str, most: int
) -> tuple[Any, ...]:
    records = []
    seen: dict[Any, int] = {}
    for line, values in parse_table(read_text(path, what), columns, path, what, most):
        if values[key] in seen:
            raise BadInput(
                f"{path} line {line}: {key} {values[key]} stands already in line {seen[values[key]]}. "
                "Every row needs a number of its own."
            )
        seen[values[key]] = line
        records.append(make(**values))
    return tuple(records)


def read_pins(path: Path) -> tuple[Pin, ...]:
    """The pin table. Raises BadInput naming file, line and cell."""
    return _read_records(path, PIN_COLUMNS, "pin table", Pin, "id", MOST_PINS)


def lines_of_pins(path: Path) -> dict[int, int]:
    """The line of each pin in the table, by its id."""
    rows = parse_table(read_text(path, "pin table"), PIN_COLUMNS, path, "pin table", MOST_PINS)
    return {values["id"]: line for line, values in rows}


def lines_of_comb(path: Path) -> dict[int, int]:
    """The line of each tooth in the table, by its number."""
    rows = parse_table(read_text(path, "comb table"), COMB_COLUMNS, path, "comb table", MOST_TEETH)
    return {values["number"]: line for line, values in rows}


def read_comb(path: Path) -> Comb:
    """The comb table; a pitch or tip angle left empty is unknown. Raises BadInput naming file, line and cell."""
    teeth = _read_records(path, COMB_COLUMNS, "comb table", Tooth, "number", MOST_TEETH)
    if not teeth:
        raise BadInput(f"{path}: the comb table has no teeth. Add one line for each tooth.")
    return Comb(teeth)


def format_pins(pins: Iterable[Pin]) -> str:
    """The pin table as text."""
    return format_table(PIN_COLUMNS, pins)


def format_comb(comb: Comb) -> str:
    """The comb table as text."""
    return format_table(COMB_COLUMNS, comb.teeth)
