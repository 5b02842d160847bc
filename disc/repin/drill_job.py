"""`disc drill`: the job's plan to a drilling program a face; load, compute, one step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from disc.errors import BadInput, MissingPart
from disc.frame import disc_to_view_mm, to_xy_mm
from disc.job import Job
from disc.job.made_from import DRILL, PLAN
from disc.job.stale import stale_results
from disc.records import Doubt, Side
from disc.repin.machine.gcode import ProgramSettings, face_program, holes_of
from disc.repin.machine.zero import Touch, Zero, find_zero
from disc.repin.records import Plan
from disc.repin.store import PLAN_FILE, load_plan
from disc.repin.work.stations import USUAL_STANDING_MM
from disc.turn.turn_of_job import all_doubts

PROGRAMS = "out/drawings"


@dataclass(frozen=True, slots=True)
class Program:
    """One face's program: its file, how many holes, those left out because in doubt, and how the disc lies."""

    side: Side
    file: str
    drilled: int
    left_out: tuple[int, ...]
    zero: Zero


@dataclass(frozen=True, slots=True)
class Drilled:
    """The programs made, and what is in doubt about the disc that they drill."""

    programs: tuple[Program, ...]
    doubts: tuple[Doubt, ...]


def drill_job(job: Job, settings: ProgramSettings, touches: Sequence[Touch] = (), only: Side | None = None) -> Drilled:
    """Write the programs of the faces with holes to drill; touched points hold for one face only.

    Raises MissingPart without a plan, BadInput where the plan is stale (a program of it would drill where a correction
    has since said not to) or there is nothing to drill.
    """
    plan = load_plan(job)
    if plan is None:
        raise MissingPart(f"{job.folder}: no plan yet. Run: disc repin {job.folder}")
    if PLAN in (stale := stale_results(job)):
        raise BadInput(f"{job.folder}: {stale[PLAN].say} Run disc repin, then this again.")
    sides = [side for side in Side if holes_of(plan, side)[0] and only in (None, side)]
    if not sides:
        where = f"the {only.value} face" if only else "either face"
        raise BadInput(f"{job.folder}: the plan has no hole on {where} that is sure enough to drill.")
    if touches and len(sides) > 1:
        raise BadInput("touched points hold for one face: say which with --side upper or --side lower.")
    made = []
    with job.step("drill", (job.path(PLAN_FILE),)) as stage:
        for side in sides:
            zero = find_zero(touches, [_place(job, plan, side, touch) for touch in touches]) if touches else Zero()
            name = f"{PROGRAMS}/{side.value}.ngc"
            highest_mm = _highest_mm(job, side)
            text = face_program(plan, side, zero, settings, job.folder.resolve().name, highest_mm)
            stage.write_text(name, text)
            drilled, doubtful = holes_of(plan, side)
            left_out = tuple(s.number for s in doubtful if s.number is not None)
            made.append(Program(side, name, len(drilled), left_out, zero))
    return Drilled(tuple(made), all_doubts(job, without=(DRILL,)))


def _highest_mm(job: Job, side: Side) -> float:
    """How high the pins of a face stand at most; one that was not measured counts as the usual pin, not as none."""
    heights = (pin.height_mm for pin in job.pins() if pin.side is side)
    return max((USUAL_STANDING_MM if height is None else height for height in heights), default=0.0)


def _place(job: Job, plan: Plan, side: Side, touch: Touch) -> tuple[float, float]:
    """Where a touched point stands on the face as it is seen, mm. Raises BadInput if the face has none of that name."""
    kind, _, number = touch.name.partition(" ")
    if kind == "bore":
        return 0.0, 0.0
    if kind == "slot":
        return _seen(plan.plate.radius_mm, 0.0, side)
    if kind == "pin":
        pin = next((p for p in job.pins() if p.id == int(number) and p.side is side), None)
        if pin is not None:
            return _seen(pin.r_mm, pin.theta_deg, side)
    station = next((s for s in plan.numbered(side) if kind == "hole" and s.number == int(number)), None)
    if station is None:
        raise BadInput(f"--touch {touch.name}: the {side.value} face has no {touch.name}. See the work list's numbers.")
    return _seen(station.place.r_mm, station.place.theta_deg, side)


def _seen(r_mm: float, theta_deg: float, side: Side) -> tuple[float, float]:
    x_mm, y_mm = disc_to_view_mm(*to_xy_mm(r_mm, theta_deg), side)
    return float(x_mm), float(y_mm)
