"""`disc drill`: the job's plan to a drilling program a face; load, compute, one step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from disc.errors import BadInput, MissingPart
from disc.frame import disc_to_view_mm, to_xy_mm
from disc.job import PINS_FILE, Job
from disc.records import Side
from disc.repin.machine.gcode import ProgramSettings, face_program, holes_of
from disc.repin.machine.zero import Touch, Zero, find_zero
from disc.repin.records import Plan
from disc.repin.store import PLAN_FILE, load_plan

PROGRAMS = "out/drawings"


@dataclass(frozen=True, slots=True)
class Program:
    """One face's program: its file, how many holes, those left out because in doubt, and how the disc lies."""

    side: Side
    file: str
    drilled: int
    left_out: tuple[int, ...]
    zero: Zero


def drill_job(
    job: Job, settings: ProgramSettings, touches: Sequence[Touch] = (), only: Side | None = None
) -> tuple[Program, ...]:
    """Write the programs of the faces with holes to drill; touched points hold for one face only.

    Raises MissingPart without a plan, BadInput where the plan is older than the pins or there is nothing to drill.
    """
    plan = load_plan(job)
    if plan is None:
        raise MissingPart(f"{job.folder}: no plan yet. Run: disc repin {job.folder}")
    _check_is_fresh(job)
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
            stage.write_text(name, face_program(plan, side, zero, settings, job.folder.resolve().name))
            drilled, doubtful = holes_of(plan, side)
            left_out = tuple(s.number for s in doubtful if s.number is not None)
            made.append(Program(side, name, len(drilled), left_out, zero))
    return tuple(made)


def _check_is_fresh(job: Job) -> None:
    """A program of an older plan would drill where a correction has since said not to."""
    last = next((run for run in reversed(job.content.runs) if PLAN_FILE in run.outputs), None)
    seen = last.inputs.get(PINS_FILE) if last else None
    if seen is not None and job.content.pins_sha256 is not None and seen != job.content.pins_sha256:
        raise BadInput(f"{job.folder}: the pins have changed since the plan was made. Run disc repin, then this again.")


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
