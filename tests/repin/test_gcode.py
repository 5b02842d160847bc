"""Drilling programs, read again by an interpreter of their own: every hole in its place, nothing quick and low."""

from __future__ import annotations

import cmath
import json
import math
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from disc.errors import BadInput
from disc.frame import axis_setting_deg
from disc.job import open_for_writing
from disc.records import Pin, Plate, Side, Turns
from disc.repin.drill_job import _highest_mm
from disc.repin.machine.gcode import MachineTable, ProgramSettings, comment, face_program
from disc.repin.machine.zero import Touch, Zero, find_zero, parse_touch
from disc.repin.records import Operation, Plan, Station, StationTask, spot
from disc.repin.work.drills import choose_stock
from disc.repin.work.stations import USUAL_STANDING_MM

from .rs274 import Machine, assert_safe, level

DRILL = (StationTask(Operation.DRILL, "an empty place"), StationTask(Operation.SET, "an empty place"))


def plan_of(rng: np.random.Generator) -> Plan:
    """A plan of a random disc: holes on both faces, two thicknesses of wire, some in doubt, some pins that stay."""
    radius = float(rng.uniform(9, 20))
    stations = []
    for number in range(1, int(rng.integers(4, 60))):
        stations.append(
            Station(
                number=number,
                side=Side.UPPER if rng.random() < 0.6 else Side.LOWER,
                place=spot(float(rng.uniform(2, radius - 0.5)), float(rng.uniform(0, 360))),
                tasks=DRILL if rng.random() < 0.8 else (StationTask(Operation.STRAIGHTEN, "leans"),),
                probability=float(rng.choice([0.97, 0.5])),
                stock=choose_stock(float(rng.choice([0.25, 0.30]))),
                standing_mm=float(rng.uniform(0.3, 0.8)),
                depth_mm=float(rng.uniform(0.1, 1.5)),
            )
        )
    return Plan(Plate(2 * radius), False, tuple(stations))


def machine_places(plan: Plan, side: Side, zero: Zero) -> list[complex]:
    """Where the sure holes of a face must come on the machine, by this test's own sums."""
    places = []
    for station in plan.stations:
        sure = station.probability > 0.9 and Operation.DRILL in station.operations
        if station.side is side and sure:
            angle = math.radians(station.place.theta_deg) * (1 if side is Side.UPPER else -1)
            at = cmath.rect(station.place.r_mm, angle + math.radians(zero.turn_deg))
            places.append(at + complex(zero.x_mm, zero.y_mm))
    return places


@pytest.mark.parametrize("seed", range(40))
def test_every_hole_of_forty_plans_comes_where_it_must(seed):
    rng = np.random.default_rng(seed)
    plan = plan_of(rng)
    table = MachineTable.ROTARY if seed % 2 else MachineTable.XY
    turns = Turns.CLOCKWISE if seed % 4 < 2 else Turns.COUNTERCLOCKWISE
    zero = (
        Zero(float(rng.uniform(-3, 3)), float(rng.uniform(-3, 3)), float(rng.uniform(-180, 180)))
        if seed % 3
        else Zero()
    )
    for side in Side:
        wanted = machine_places(plan, side, zero)
        if not wanted:
            continue
        settings = ProgramSettings(table, axis="A" if seed % 5 else "C", table_turns=turns)
        machine = Machine().run(face_program(plan, side, zero, settings, "a disc"))
        safe = max(2.0, max(s.standing_mm for s in plan.stations) + 1.0)
        assert len(machine.holes) == len(wanted)
        for hole in machine.holes:
            if table is MachineTable.XY:
                found = complex(hole["X"], hole["Y"])
            else:  # ISO 841: a table that turns clockwise brings the place at an angle under the drill at that number
                sign = 1 if turns is Turns.CLOCKWISE else -1
                found = cmath.rect(hole["X"], math.radians(sign * hole[settings.axis]))
                assert hole["Y"] == 0
            nearest = min(wanted, key=lambda place: abs(place - found))
            assert abs(nearest - found) < 0.001
            if table is MachineTable.ROTARY:
                assert abs(math.degrees(cmath.phase(found / nearest))) < 0.002
            wanted.remove(nearest)
        assert_safe(machine, safe)
        assert not machine.spindle and machine.at["Z"] >= safe - 1e-9
        first = machine.stops[0]  # the dry run: every place, no turning, nothing below the safe height
        dry = [move for move in machine.moves[:first] if level(move)]
        assert len(dry) == len(machine.holes) and not any(move.spindle for move in machine.moves[:first])
        assert len(machine.stops) == len({s.stock.drill.name for s in drilled(plan, side)})


def test_the_drill_is_lifted_over_the_tallest_pin_that_stands_there_already():
    plan = plan_of(np.random.default_rng(4))
    text = face_program(plan, Side.UPPER, Zero(), ProgramSettings(), "a", highest_mm=1.4)
    assert_safe(Machine().run(text), 2.4)
    with pytest.raises(BadInput, match=r"pins stand 1\.40 mm"):
        face_program(plan, Side.UPPER, Zero(), ProgramSettings(safe_mm=2.0), "a", highest_mm=1.4)


def test_a_pin_that_was_not_measured_counts_as_the_usual_one():
    low = Pin(1, Side.UPPER, 9.0, 10.0, height_mm=0.3)
    unknown, tall_below = Pin(2, Side.UPPER, 8.0, 20.0), Pin(3, Side.LOWER, 8.0, 20.0, height_mm=1.2)
    for pins, highest_mm in (((low, tall_below), 0.3), ((low, unknown, tall_below), USUAL_STANDING_MM)):
        assert _highest_mm(SimpleNamespace(pins=lambda pins=pins: pins), Side.UPPER) == highest_mm


def test_bites_are_counted_from_just_above_the_plate():
    """Counted from the safe height, half a dozen bites of every hole would be taken out of the air."""
    plan = plan_of(np.random.default_rng(4))
    machine = Machine().run(face_program(plan, Side.UPPER, Zero(), ProgramSettings(peck_mm=0.25), "a"))
    bites = [m for m in machine.moves if m.cycle and not m.quick]
    deepest = sum(
        math.ceil((hole["bottom"] * -1 + 0.5) / 0.25 - 1e-9) for hole in machine.holes if hole["bottom"] < -0.25
    )
    assert len(bites) == deepest + sum(hole["bottom"] >= -0.25 for hole in machine.holes)


def drilled(plan: Plan, side: Side) -> list[Station]:
    return [s for s in plan.stations if s.side is side and s.needs_hole and s.probability > 0.9]


# The report's own examples of G81 (section 3.5.16.3; from memory).
def test_the_interpreter_plays_the_reports_examples():
    machine = Machine(at=dict.fromkeys("XYZABC", 0.0) | {"X": 1, "Y": 2, "Z": 3}, feed=10)
    machine.block("G90 G81 G98 X4 Y5 Z1.5 R2.8")
    assert [(m.end["X"], m.end["Y"], m.end["Z"]) for m in machine.moves] == [
        (4, 5, 3),
        (4, 5, 2.8),
        (4, 5, 1.5),
        (4, 5, 3),
    ]
    machine = Machine(at=dict.fromkeys("XYZABC", 0.0) | {"X": 1, "Y": 2, "Z": 3}, feed=10)
    machine.block("G91 G81 G98 X4 Y5 Z-0.6 R1.8 L3")
    assert [(h["X"], h["Y"], round(h["bottom"], 6)) for h in machine.holes] == [
        (5, 7, 4.2),
        (9, 12, 4.2),
        (13, 17, 4.2),
    ]
    assert machine.at["Z"] == pytest.approx(4.8)


def test_the_interpreter_refuses_what_is_not_of_the_dialect():
    for line in ("G0 X1 G1 Y2", "G41 D1", "G0 X1 X2", "G0 X1 (a (b))", "#1=2"):
        with pytest.raises((AssertionError, KeyError)):
            Machine(feed=1).block(line)


def test_the_head_warns_and_names_what_is_left_out():
    rng = np.random.default_rng(3)
    plan = plan_of(rng)
    text = face_program(plan, Side.UPPER, Zero(), ProgramSettings(), "Käthes Scheibe (groß)")
    head = text[: text.index("G21")]
    assert (
        "Kathes Scheibe [gross]" in head and "Wear eye protection" in head and "NOT drilled, because in doubt" in head
    )
    assert all(line.isascii() for line in text.splitlines())
    assert comment("a (b) µm ß") == ["(a [b] um ss)"]


def test_no_comment_holds_what_other_controls_take_for_another_comment():
    """Some controls begin a comment at a semicolon, even within brackets (seen with pygcode 0.2)."""
    assert comment("record first; then (drill)") == ["(record first, then [drill])"]


def test_a_height_among_the_pins_and_an_unknown_depth_are_refused():
    plan = plan_of(np.random.default_rng(4))
    with pytest.raises(BadInput, match=r"a safe height of 1 mm is too low: pins stand 0\.\d+ mm"):
        face_program(plan, Side.UPPER, Zero(), ProgramSettings(safe_mm=1.0), "a")
    bare = replace(plan, stations=tuple(replace(s, depth_mm=None) for s in plan.stations))
    with pytest.raises(BadInput, match="thickness is not known"):
        face_program(bare, Side.UPPER, Zero(), ProgramSettings(), "a")


@pytest.mark.parametrize("seed", range(6))
def test_three_touched_points_give_the_move_and_its_residual(seed):
    rng = np.random.default_rng(seed)
    places = [(0.0, 0.0), (14.0, 0.0), (float(rng.uniform(-9, -3)), float(rng.uniform(4, 9)))]
    shift, turn = complex(*rng.uniform(-50, 50, 2)), float(rng.uniform(-180, 180))
    touched = [complex(*p) * cmath.rect(1, math.radians(turn)) + shift for p in places]
    touches = [Touch(n, t.real, t.imag) for n, t in zip(("bore", "slot", "pin 4"), touched, strict=True)]
    zero = find_zero(touches, places)
    assert complex(zero.x_mm, zero.y_mm) == pytest.approx(shift, abs=1e-9)
    assert cmath.rect(1, math.radians(zero.turn_deg - turn)) == pytest.approx(1)
    assert max(zero.residual_mm) < 1e-9
    off = [touches[0], replace(touches[1], x_mm=touches[1].x_mm + 0.02), touches[2]]
    assert 0.001 < max(find_zero(off, places).residual_mm) < 0.02
    wrong = [touches[0], replace(touches[1], x_mm=touches[1].x_mm + 0.4), touches[2]]
    with pytest.raises(BadInput, match=r"do not fit this face within 0\.05 mm: bore 0\.\d+ mm, slot"):
        find_zero(wrong, places)


def test_the_other_face_up_shows_in_the_residual():
    places = [(0.0, 0.0), (14.0, 0.0), (-4.0, 7.0)]
    mirrored = [Touch(n, x, -y) for n, (x, y) in zip(("bore", "slot", "pin 4"), places, strict=True)]
    with pytest.raises(BadInput, match="is the right face up"):
        find_zero(mirrored, places)


@pytest.mark.parametrize("text", ["slot", "slot=1", "rim=1,2", "pin=1,2", "slot=1,2,3", "slot=a,b", "pin x=1,2"])
def test_a_touch_that_cannot_be_read(text):
    with pytest.raises(BadInput, match="--touch"):
        parse_touch(text)
    assert parse_touch("Pin 12 = 1,5;-2,5") == Touch("pin 12", 1.5, -2.5)


def test_the_axis_goes_the_other_way_with_the_table():
    assert axis_setting_deg(30.0, Turns.CLOCKWISE) == 30.0
    assert axis_setting_deg(30.0, Turns.COUNTERCLOCKWISE) == 330.0


def test_by_command_from_a_job(damaged_job, tmp_path):
    from disc.repin.make_plan import PlanSettings
    from disc.repin.plan_job import plan_job

    run = [sys.executable, "-c", "from disc.cli import main; main()", "drill", str(damaged_job)]
    early = subprocess.run(run, capture_output=True, text=True)
    assert early.returncode == 2 and "no plan yet" in early.stderr
    with open_for_writing(damaged_job) as job:
        plan_job(job, PlanSettings(enlarge=5.0))
    done = subprocess.run([*run, "--json"], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    made = json.loads(done.stdout)
    assert sum(p["drilled"] for p in made["programs"]) >= 1
    for path in made["files"]:
        assert Machine().run(Path(path).read_text()).holes
    touched = subprocess.run([*run, "--touch", "bore=1,2"], capture_output=True, text=True)
    assert touched.returncode == 2 and len(touched.stderr.splitlines()) == 1
