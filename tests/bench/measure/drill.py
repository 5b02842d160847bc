"""Drilling programs of forty plans, read again by two interpreters, against the places that the plans say.

    python -m tests.bench.measure.drill [PLANS]

Invented discs of 15 to 40 mm with different combs, turning either way: new ones and damaged old ones, with work on
both faces or on one, on an x-y table and a rotary axis, with the machine's zero on the disc or three touched points of
a disc that lies anywhere at any angle. The places wanted are taken from out/plan.json and moved by this script's own
sums. The interpreters are the one of tests/repin/rs274.py and, where it is installed, pygcode (pip install pygcode).
Bars: every hole within 0.001 mm and 0.002 degrees; no quick move below the safe height but straight up, or a peck's
own within its hole.
"""

from __future__ import annotations

import cmath
import json
import math
import re
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from disc.check.decisions import Verdict, decision_on, settle
from disc.job import Job, create_job
from disc.records import Evidence, Finding, Pin, Side, Turns
from disc.repin.drill_job import drill_job
from disc.repin.machine.gcode import CLEAR_MM, LEAST_SAFE_MM, MachineTable, ProgramSettings
from disc.repin.machine.zero import Touch, parse_touch
from disc.repin.records import Plan
from disc.repin.store import PLAN_FILE, stage_plan
from disc.repin.work.nominal_places import lay_out
from disc.repin.work.stations import Shop, stations_of_design, stations_of_reading
from tests.bench.measure.repin import hurt_pin, invented_comb, invented_pins, invented_plate
from tests.repin.rs274 import Machine, assert_safe

SURE = 0.9  # below it a hole is in doubt and not drilled
LOST = 12  # pins of an old disc that left no hole; a person says of all but one that they belong there
QUICK_MM_MIN = 500.0  # of a small table; for the time a program takes


@dataclass
class Tally:
    """What a group of programs showed."""

    programs: int = 0
    holes: int = 0
    left_out: int = 0
    worst_mm: float = 0.0
    worst_deg: float = 0.0
    second_mm: float = 0.0
    unsafe: int = 0
    minutes: list[float] = field(default_factory=list)


def main() -> None:
    """Print the table."""
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    tallies: dict[str, Tally] = {}
    touched: list[tuple[float, float]] = []
    for number in range(wanted):
        rng = np.random.default_rng([24, number])
        plan, pins = one_plan(rng, number)
        with tempfile.TemporaryDirectory() as folder:
            job = job_of(plan, pins, Path(folder) / "disc")
            measure(job, rng, number, tallies)
            if number % 4 == 0:
                touched.append(with_a_hand(job, rng))
    print_table(tallies, touched)
    bad = any(t.worst_mm >= 0.001 or t.worst_deg >= 0.002 or t.unsafe for t in tallies.values())
    sys.exit(1 if bad else 0)


def one_plan(rng: np.random.Generator, number: int) -> tuple[Plan, tuple[Pin, ...]]:
    """A new disc's plan or a damaged old one's; every third has work on one face only."""
    plate = invented_plate(rng)
    comb = invented_comb(rng, plate)
    pins = invented_pins(rng, comb, plate)
    if number % 3 == 0:
        pins = tuple(pin for pin in pins if pin.side is list(Side)[number % 2])
    layout = lay_out(pins, comb, plate, None)
    if number % 2 == 0:
        return Plan(plate, True, stations_of_design(pins, layout, Shop())), pins
    lost = [int(i) for i in rng.choice(len(pins), LOST, replace=False)]
    why = (Evidence("heard", "a strain has it", 3.0),)
    findings = [
        Finding("missing", p.side, p.r_mm, p.theta_deg, 0.95, why, None, p.tooth) for p in (pins[i] for i in lost)
    ]
    said = [decision_on(one, Verdict.ACCEPTED, "a plugged hole under the loupe") for one in findings[1:]]
    left = tuple(hurt_pin(rng, pin) for i, pin in enumerate(pins) if i not in lost)
    settled, _ = settle(findings, said)
    return Plan(plate, False, stations_of_reading(left, settled, lay_out(left, comb, plate, None), Shop())), left


def job_of(plan: Plan, pins: tuple[Pin, ...], folder: Path) -> Job:
    """A job that holds the plan and the pins it is of."""
    job = create_job(folder, plan.plate)
    with job.step("read") as stage:
        job.stage_reading(stage, pins)
    with job.step("repin") as stage:
        stage_plan(stage, plan)
    return job


def places(job: Job, side: Side) -> dict[int, complex]:
    """By number, the sure holes of a face as seen from above it, mm; from the plan's file."""
    stations = json.loads(job.path(PLAN_FILE).read_text(encoding="utf-8"))["stations"]
    sign = 1 if side is Side.UPPER else -1
    return {
        s["number"]: cmath.rect(s["place"]["r_mm"], math.radians(sign * s["place"]["theta_deg"]))
        for s in stations
        if s["side"] == side.value
        and s["probability"] > SURE
        and not s["if_so"]
        and s["number"]
        and any(task["operation"] == "drill" for task in s["tasks"])
    }


def measure(job: Job, rng: np.random.Generator, number: int, tallies: dict[str, Tally]) -> None:
    """Every program of one job: both tables, the machine's zero on the disc and anywhere."""
    for table in MachineTable:
        turns = list(Turns)[number // 2 % 2]
        settings = ProgramSettings(table, axis="AC"[number % 2], table_turns=turns)
        for side in Side:
            wanted = places(job, side)
            if not wanted:
                continue
            for moved in (False, True):
                shift = complex(*rng.uniform(-80, 80, 2)) if moved else 0j
                turn_deg = float(rng.uniform(-180, 180)) if moved else 0.0
                touches = touch(job, side, wanted, shift, turn_deg) if moved else ()
                made = drill_job(job, settings, touches, side).programs[0]
                there = {n: p * cmath.rect(1, math.radians(turn_deg)) + shift for n, p in wanted.items()}
                text = job.path(made.file).read_text(encoding="ascii")
                name = f"{table.value} table, {'three points touched' if moved else 'zero on the disc'}"
                tally = tallies.setdefault(name, Tally())
                tally.left_out += len(made.left_out)
                read_again(text, there, settings, tally)


def touch(job: Job, side: Side, wanted: dict[int, complex], shift: complex, turn_deg: float) -> list[Touch]:
    """Bore, slot and the outermost hole, touched exactly and written with four decimals."""
    far = max(wanted, key=lambda n: abs(wanted[n].imag))  # off the line from bore to slot
    at = {"bore": 0j, "slot": complex(job.plate.radius_mm, 0), f"hole {far}": wanted[far]}
    moved = {name: p * cmath.rect(1, math.radians(turn_deg)) + shift for name, p in at.items()}
    return [parse_touch(f"{name}={p.real:.4f},{p.imag:.4f}") for name, p in moved.items()]


def read_again(text: str, there: dict[int, complex], settings: ProgramSettings, tally: Tally) -> None:
    """One program by both interpreters."""
    machine = Machine().run(text)
    safe = float(re.search(r"^G0 Z([\d.]+)", text, re.MULTILINE)[1])  # type: ignore[index]
    assert safe >= LEAST_SAFE_MM >= CLEAR_MM
    try:
        assert_safe(machine, safe)
    except AssertionError:
        tally.unsafe += 1
    numbers = [int(n) for n in re.findall(r"^\(hole (\d+)\)", text[text.index("M0") :], re.MULTILINE)]
    assert sorted(numbers) == sorted(there) and len(machine.holes) == len(numbers)
    sign = 1 if settings.table_turns is Turns.CLOCKWISE else -1
    for number, hole in zip(numbers, machine.holes, strict=True):
        found = complex(hole["X"], hole["Y"])
        if settings.table is MachineTable.ROTARY:
            assert hole["Y"] == 0
            found = cmath.rect(hole["X"], math.radians(sign * hole[settings.axis]))
            tally.worst_deg = max(tally.worst_deg, abs(math.degrees(cmath.phase(found / there[number]))))
        tally.worst_mm = max(tally.worst_mm, abs(found - there[number]))
    tally.second_mm = max(tally.second_mm, second_opinion(text, machine.holes))
    tally.programs += 1
    tally.holes += len(numbers)
    tally.minutes.append(minutes(machine))


def second_opinion(text: str, holes: Sequence[dict[str, float]]) -> float:
    """How far pygcode's machine stands from ours at each hole, mm; nan where it is not installed."""
    try:
        from pygcode import Line
        from pygcode import Machine as OtherMachine
        from pygcode.gcodes import GCodeCannedCycle
    except ImportError:
        return math.nan
    machine, found = OtherMachine(), []
    for line in text.replace("%", "").splitlines():
        block = Line(line if "(" in line else re.sub(r" [AC][\d.]+", "", line)).block  # it knows no rotary axis
        machine.process_block(block)
        if any(isinstance(code, GCodeCannedCycle) and "X" in code.params for code in block.gcodes):
            found.append(complex(machine.pos.X, machine.pos.Y))
    assert len(found) == len(holes)
    return max(abs(a - complex(b["X"], b["Y"])) for a, b in zip(found, holes, strict=True))


def minutes(machine: Machine) -> float:
    """How long the moves take."""
    total = 0.0
    for move in machine.moves:
        way = math.dist([move.start[a] for a in "XYZ"], [move.end[a] for a in "XYZ"])
        total += way / (QUICK_MM_MIN if move.quick else move.feed)
    return total


def with_a_hand(job: Job, rng: np.random.Generator) -> tuple[float, float]:
    """(residual told, how far the worst hole is off), mm, where each touch is off by 0.01 mm an axis."""
    side = next(side for side in Side if places(job, side))
    wanted = places(job, side)
    shift, turn_deg = complex(*rng.uniform(-80, 80, 2)), float(rng.uniform(-180, 180))
    touches = [
        replace(t, x_mm=t.x_mm + float(rng.normal(0, 0.01)), y_mm=t.y_mm + float(rng.normal(0, 0.01)))
        for t in touch(job, side, wanted, shift, turn_deg)
    ]
    made = drill_job(job, ProgramSettings(), touches, side).programs[0]
    off = [
        abs(complex(*made.zero.on_machine(p.real, p.imag)) - (p * cmath.rect(1, math.radians(turn_deg)) + shift))
        for p in wanted.values()
    ]
    return max(made.zero.residual_mm), max(off)


def print_table(tallies: dict[str, Tally], touched: list[tuple[float, float]]) -> None:
    """The table and what a hand's own uncertainty does."""
    head = f"{'programs':38} {'files':>5} {'holes':>6} {'left':>5} {'worst mm':>9} {'worst deg':>9}"
    print(f"{head} {'pygcode mm':>10} unsafe  min")
    for name, t in sorted(tallies.items()):
        deg = f"{t.worst_deg:9.5f}" if t.worst_deg else f"{'-':>9}"
        print(
            f"{name:38} {t.programs:5} {t.holes:6} {t.left_out:5} {t.worst_mm:9.5f} {deg} {t.second_mm:10.5f} "
            f"{t.unsafe:6} {np.median(t.minutes):5.1f}"
        )
    print("bars: 0.001 mm, 0.002 degrees, none unsafe; left: holes in doubt, not drilled")
    told, off = np.array(touched).T
    print(
        f"touched with 0.01 mm an axis, {len(told)} plans: worst hole off by {np.median(off):.3f} mm (median), "
        f"{off.max():.3f} (most); residual told {np.median(told):.3f}, {told.max():.3f}"
    )


if __name__ == "__main__":
    main()
