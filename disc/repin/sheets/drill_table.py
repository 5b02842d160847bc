"""Two tables for a spreadsheet or a machine: every numbered place with its sizes, and its settings on three machines.

Written with commas and decimal points; angles and x, y are in the disc's own axes in the first table and, in the
second, as the face is seen when it lies upwards under the tool.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from disc.frame import disc_to_view_mm, onset_s, work_turns
from disc.records import Plate, Side
from disc.repin.machine.dividing import Dividing, Setting
from disc.repin.machine.readings import Approach, Sexagesimal, approach_from_one_side, degrees_minutes_seconds
from disc.repin.records import FaceDividing, Plan, Station

DRILL_COLUMNS = [
    "number",
    "side",
    "operations",
    "in_doubt",
    "probability",
    "pin",
    "tooth",
    "bar",
    "beat",
    "r_mm",
    "theta_deg",
    "x_mm",
    "y_mm",
    "nominal_r_mm",
    "nominal_theta_deg",
    "nominal_x_mm",
    "nominal_y_mm",
    "on_beat_grid",
    "found_r_mm",
    "found_theta_deg",
    "early_ms",
    "outward_mm",
    "sigma_mm",
    "tolerance_deg",
    "tolerance_along_mm",
    "tolerance_radial_mm",
    "wire_mm",
    "drill",
    "drill_mm",
    "interference_mm",
    "depth_mm",
    "standing_mm",
    "least_wall_mm",
    "wall_to",
    "amount_mm",
    "toward",
    "reasons",
    "notes",
]

MACHINE_COLUMNS = [
    "number",
    "side",
    "plate_turns",
    "theta_deg",
    "worm",
    "circle",
    "turns",
    "holes",
    "step_turns",
    "step_holes",
    "error_deg",
    "error_mm",
    "error_ms",
    "table_deg",
    "table_min",
    "table_s",
    "via_x_mm",
    "via_y_mm",
    "x_mm",
    "y_mm",
]


def drill_table(plan: Plan) -> str:
    """One line for each numbered place, both faces, in the order of the work."""
    return _csv(DRILL_COLUMNS, (_drill_row(s) for s in plan.stations if s.number is not None))


def _drill_row(station: Station) -> list[object]:
    s, stock, tolerance = station, station.stock, station.tolerance
    nominal, found = s.nominal, s.found
    amount = next((t.amount_mm for t in s.tasks if t.amount_mm is not None), None)
    return [
        *(s.number, s.side.value, "+".join(s.operations), "yes" if s.in_doubt else "no", _f(s.probability, 3)),
        *(s.pin_id, s.tooth, s.bar, s.beat),
        *(_f(v) for v in (s.place.r_mm, s.place.theta_deg, s.place.x_mm, s.place.y_mm)),
        *([_f(v) for v in (nominal.r_mm, nominal.theta_deg, nominal.x_mm, nominal.y_mm)] if nominal else [None] * 4),
        "yes" if s.on_grid else "no",
        *((_f(found.r_mm), _f(found.theta_deg)) if found else (None, None)),
        *(_f(s.early_ms, 1), _f(s.outward_mm), _f(s.sigma_mm)),
        *((_f(tolerance.along_deg), _f(tolerance.along_mm), _f(tolerance.radial_mm)) if tolerance else [None] * 3),
        *((_f(stock.wire_mm, 3),) if stock else (None,)),
        *(
            (stock.drill.name, _f(stock.drill.diameter_mm), _f(stock.interference_mm))
            if stock and s.needs_hole
            else [None] * 3
        ),
        *(_f(s.depth_mm, 3), _f(s.standing_mm, 3)),
        *((_f(s.wall.wall_mm, 3), s.wall.to) if s.wall else (None, None)),
        *(_f(amount, 3), "; ".join(t.toward for t in s.tasks if t.toward)),
        *("; ".join(dict.fromkeys(t.reason for t in s.tasks)), "; ".join(s.notes)),
    ]


@dataclass(frozen=True, slots=True)
class MachineRow:
    """One place on three machines. error_mm, error_ms: what the hole of the dividing plate leaves at this radius."""

    station: Station
    setting: Setting
    error_mm: float
    error_ms: float
    table: Sexagesimal
    way: Approach


def machine_rows(plan: Plan, face: FaceDividing) -> tuple[MachineRow, ...]:
    """The settings of one face, in the order of the work."""
    by_number = {s.number: s for s in plan.stations if s.number is not None}
    stations = [by_number[n] for n in face.numbers]
    ways = approach_from_one_side([view_xy(s) for s in stations])
    rows = []
    for station, setting, way in zip(stations, face.dividing.settings, ways, strict=True):
        error_mm = math.radians(setting.error_deg) * station.place.r_mm
        table = degrees_minutes_seconds(station.place.theta_deg)
        rows.append(MachineRow(station, setting, error_mm, error_ms(setting, plan.plate), table, way))
    return tuple(rows)


def error_ms(setting: Setting, plate: Plate) -> float:
    """What the error of a setting is in time, ms."""
    return 1000.0 * float(onset_s(setting.error_deg, plate.revolution_s))


def worst_ms(dividing: Dividing, plate: Plate) -> float:
    """The worst error of a dividing in time, ms."""
    return max((abs(error_ms(s, plate)) for s in dividing.settings), default=0.0)


def worst_drilled_ms(plan: Plan) -> float:
    """The worst error of the dividing over the holes to be drilled (over all places, where none is drilled), ms."""
    drilled = {s.number for s in plan.stations if s.needs_hole}
    pairs = [pair for face in plan.dividing for pair in zip(face.numbers, face.dividing.settings, strict=True)]
    chosen = [setting for number, setting in pairs if number in drilled] or [setting for _, setting in pairs]
    return max((abs(error_ms(setting, plan.plate)) for setting in chosen), default=0.0)


def view_xy(station: Station) -> tuple[float, float]:
    """A station's place as its face is seen, mm."""
    x_mm, y_mm = disc_to_view_mm(station.place.x_mm, station.place.y_mm, station.side)
    return float(x_mm), float(y_mm)


def machine_table(plan: Plan) -> str:
    """Dividing head, rotary table and two-axis table for every place with work."""
    rows = (_machine_row(row, face) for face in plan.dividing for row in machine_rows(plan, face))
    return _csv(MACHINE_COLUMNS, rows)


def _machine_row(row: MachineRow, face: FaceDividing) -> list[object]:
    s, setting, table, way = row.station, row.setting, row.table, row.way
    return [
        *(s.number, face.side.value, work_turns(face.side).value, _f(setting.angle_deg)),
        *(face.dividing.worm, face.dividing.circle, setting.turns, setting.holes),
        *(setting.step_turns, setting.step_holes, _f(setting.error_deg), _f(row.error_mm), _f(row.error_ms, 2)),
        *(table.degrees, table.minutes, table.seconds),
        *(_f(way.via_x_mm, 3), _f(way.via_y_mm, 3), _f(way.x_mm, 3), _f(way.y_mm, 3)),
    ]


def sides_worked(plan: Plan) -> tuple[Side, ...]:
    """The faces with anything numbered."""
    return tuple(side for side in Side if plan.numbered(side))


def _f(value: float | None, digits: int = 4) -> str | None:
    return None if value is None else f"{value + 0.0:.{digits}f}"


def _csv(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(["" if cell is None else cell for cell in row] for row in rows)
    return out.getvalue()
