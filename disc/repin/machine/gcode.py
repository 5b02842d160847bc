"""A drilling program for a computer-controlled table, one face a file.

The dialect is ISO 6983 as the RS274/NGC interpreter reads it (Kramer, Proctor, Messina: The NIST RS274NGC Interpreter,
version 3, NISTIR 6556, 2000): G0, G1, G4, G81, G83, G99, G80, G17, G21, G40, G49, G90, G94, M0, M2, M3, M5; no cutter
compensation, no offsets of tools. From memory of that report; the tests read each program with an interpreter of their
own. Z is 0 on the plate, up is positive. Quick moves are at the safe height, or straight up from a hole to it; only
G83's own, within its hole, are below. R, from which that cycle counts its bites and to which it lifts the chips, lies
just above the plate (section 3.5.16), and the drill comes down to it over its hole by G1, never quickly.
"""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import compress, groupby

from disc.errors import BadInput
from disc.frame import axis_setting_deg, to_polar
from disc.records import Side, Turns
from disc.repin.machine.zero import Zero
from disc.repin.records import Operation, Plan, Station
from disc.repin.sheets.drill_table import view_xy
from disc.words import CAUTIONS, counted

HEAD_CAUTIONS = ("eyes", "train", "mercury", "untouched")
# Above the highest pin by this much. Common practice, no source.
CLEAR_MM = 1.0
# R above the plate: more than the play of a plate laid on its table and of its zero. And how fast the drill comes down
# to it: a second or two, yet slow enough to stop by hand. Chosen by hand, both.
RETRACT_MM = 0.5
# Unless said otherwise: chosen by hand, not measured.
APPROACH_MM_MIN = 60.0  # down to the plate; as said above
LONGEST_COMMENT = 90  # letters of a line; chosen by hand
_PLAIN: dict[int, str] = {ord("("): "[", ord(")"): "]", ord("ß"): "ss", ord("µ"): "u", ord(";"): ","}
LEAST_SAFE_MM = 2.0  # above the plate where no pin stands; chosen by hand


class MachineTable(StrEnum):
    """The machine: two slides, or one slide and a rotary axis under the tool."""

    XY = "xy"
    ROTARY = "rotary"


@dataclass(frozen=True, slots=True)
class ProgramSettings:
    """How to drill. Common practice, no source, for brass and drills of 0.2 to 0.35 mm.

    safe_mm: height of quick moves; None: clear of the highest pin. peck_mm: None: the drill's own diameter. axis: the
    rotary axis' letter. table_turns: which way the rotary table goes for rising numbers, seen from above.
    """

    table: MachineTable = MachineTable.XY
    safe_mm: float | None = None
    peck_mm: float | None = None
    feed_mm_min: float = 15.0
    spindle_rpm: float = 8000.0
    axis: str = "C"
    table_turns: Turns = Turns.CLOCKWISE


def holes_of(plan: Plan, side: Side) -> tuple[tuple[Station, ...], tuple[Station, ...]]:
    """(drilled, left out because in doubt) of one face, in the order of the work."""
    possible = [station for station in plan.numbered(side) if Operation.DRILL in station.possible]
    sure = [station.needs_hole and not station.in_doubt for station in possible]
    return tuple(compress(possible, sure)), tuple(s for s, drilled in zip(possible, sure, strict=True) if not drilled)


def face_program(
    plan: Plan, side: Side, zero: Zero, settings: ProgramSettings, title: str, highest_mm: float = 0.0
) -> str:
    """The program's text. highest_mm: the tallest pin that stands on this face, besides those that the plan sets.

    Raises BadInput where a depth, a drill or the safe height is not known or cannot be.
    """
    drilled, doubtful = holes_of(plan, side)
    if not drilled:
        raise BadInput(
            f"the {side.value} face has no hole that is sure enough to drill. Decide at the desk, plan again."
        )
    if any(station.depth_mm is None for station in drilled):
        raise BadInput(
            "the plate's thickness is not known, so no hole has a depth. Measure the plate, set --thickness-mm, and "
            "run disc repin again."
        )
    safe_mm = _safe_height_mm(plan, settings, highest_mm)
    lines = ["%", *_head(plan, side, zero, settings, title, drilled, doubtful, safe_mm)]
    lines += ["G21 G17 G90 G94", "G40 G49 G80", "M5", f"G0 Z{safe_mm:.4f}"]
    lines += _dry_run(drilled, zero, settings)
    groups = groupby(sorted(drilled, key=_drill_mm), key=_drill_mm)
    for drill_mm, group in groups:
        lines += _drill(list(group), drill_mm, zero, settings, safe_mm)
    lines += ["(all holes done)", "M5", f"G0 Z{safe_mm:.4f}", "M2", "%"]
    return "\n".join(lines) + "\n"


def _drill_mm(station: Station) -> float:
    assert station.stock is not None
    return round(station.stock.drill.diameter_mm, 4)


def _safe_height_mm(plan: Plan, settings: ProgramSettings, highest_mm: float) -> float:
    highest = max((s.standing_mm for s in plan.stations if s.standing_mm is not None), default=0.0)
    highest = max(highest, highest_mm)
    if settings.safe_mm is None:
        return max(LEAST_SAFE_MM, highest + CLEAR_MM)
    if settings.safe_mm < highest + CLEAR_MM:
        raise BadInput(
            f"a safe height of {settings.safe_mm:g} mm is too low: pins stand {highest:.2f} mm, and the drill needs "
            f"{CLEAR_MM:g} mm above them. Give --safe-mm {highest + CLEAR_MM:.1f} or more."
        )
    return settings.safe_mm


def place_words(station: Station, zero: Zero, settings: ProgramSettings) -> str:
    """Where the table goes for a hole: "X1.2345 Y-6.7890", or "X6.9 Y0 C279.7" with a rotary axis."""
    x_mm, y_mm = zero.on_machine(*view_xy(station))
    if settings.table is MachineTable.XY:
        return f"X{x_mm + 0.0:.4f} Y{y_mm + 0.0:.4f}"
    r_mm, seen_deg = to_polar(x_mm, y_mm)
    setting = round(float(axis_setting_deg(seen_deg, settings.table_turns)), 4) % 360.0
    return f"X{float(r_mm):.4f} Y0.0000 {settings.axis}{setting:.4f}"


def _head(
    plan: Plan,
    side: Side,
    zero: Zero,
    settings: ProgramSettings,
    title: str,
    drilled: Sequence[Station],
    doubtful: Sequence[Station],
    safe_mm: float,
) -> Iterator[str]:
    kind = "x-y table" if settings.table is MachineTable.XY else f"rotary axis {settings.axis}, zero in its middle"
    facts = [
        f"{title}: {side.value} face, {counted(len(drilled), 'hole')}, {kind}",
        f"Disc {plan.plate.diameter_mm:g} mm, {side.value} face up. {zero.words}.",
        f"Z0 on the plate. Safe height {safe_mm:.2f} mm. Dry run first, drill out of the spindle.",
        "Pull what stands at a place to be drilled before this program.",
    ]
    if settings.table is MachineTable.ROTARY:
        facts.append(
            f"The table must go {settings.table_turns.value} for rising {settings.axis}; see it in the dry run."
        )
    if doubtful:
        numbers = ", ".join(str(s.number) for s in doubtful)
        facts.append(f"NOT drilled, because in doubt: {numbers}.")
    for words in (*facts, *(f"CAUTION: {CAUTIONS[key]}" for key in HEAD_CAUTIONS)):
        yield from comment(words)


def comment(words: str) -> list[str]:
    """Words as comments of the dialect: plain letters, no brackets inside, short lines."""
    plain = unicodedata.normalize("NFKD", words.translate(_PLAIN))
    letters = "".join(c for c in plain if " " <= c <= "~")
    return [f"({line})" for line in textwrap.wrap(letters, LONGEST_COMMENT)]


def _dry_run(drilled: Sequence[Station], zero: Zero, settings: ProgramSettings) -> list[str]:
    lines = ["(dry run: above every place, spindle off)"]
    for station in drilled:
        lines += [f"(hole {station.number})", f"G0 {place_words(station, zero, settings)}", "G4 P0.5"]
    return lines


def _drill(
    group: Sequence[Station], drill_mm: float, zero: Zero, settings: ProgramSettings, safe_mm: float
) -> list[str]:
    """One drill's holes: stop to fit it, start the spindle, a cycle for each, stop."""
    assert group[0].stock is not None
    peck = drill_mm if settings.peck_mm is None else settings.peck_mm
    name = comment(
        f"fit drill {group[0].stock.drill.name} [{drill_mm:.3f} mm], {counted(len(group), 'hole')}, then start"
    )
    lines = [*name, "M0", f"S{settings.spindle_rpm:.0f} M3", "G4 P2"]
    for station in group:
        assert station.depth_mm is not None
        place = place_words(station, zero, settings)
        lines += [f"(hole {station.number})", f"G0 {place}", f"G1 Z{RETRACT_MM:.4f} F{APPROACH_MM_MIN:.2f}"]
        if settings.table is MachineTable.ROTARY:  # no rotary axis may be named within a cycle (section 3.5.16)
            place = place.rpartition(" ")[0]
        cycle, bite = ("G81", "") if station.depth_mm <= peck else ("G83", f" Q{peck:.4f}")
        lines.append(
            f"G99 {cycle} {place} Z{-station.depth_mm:.4f} R{RETRACT_MM:.4f}{bite} F{settings.feed_mm_min:.2f}"
        )
        lines.append(f"G0 Z{safe_mm:.4f}")
    return [*lines, "G80", "M5"]
