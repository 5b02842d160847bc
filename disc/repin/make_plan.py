"""A job as it stands to a plan: reads the folder, writes nothing. The desk uses it after every edit.

Choices given now are laid over those remembered in the job's settings; what the design room stored about a planned disc
(old pins that stay, screws, openings) is taken from there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path

from disc.check.decisions import load_decisions, settle
from disc.check.store import FINDINGS_FILE, load_findings
from disc.design.settings import Spot
from disc.design.stored_design import is_designed, stored_design
from disc.doubts import misfits
from disc.errors import BadInput
from disc.frame import to_xy_mm
from disc.job import COMB_FILE, Job
from disc.photo.seen.store import load_seen
from disc.records import Doubt, Finding, Pin, Side
from disc.repin.machine.dividing import COMMON_CIRCLES, COMMON_WORMS, best_dividing, divide, parse_circles
from disc.repin.records import FaceDividing, Operation, Plan, Station
from disc.repin.sheets.drill_table import worst_drilled_ms
from disc.repin.work.drills import WIRE_MM, drill_series, parse_sizes
from disc.repin.work.estimate import Rates, estimate
from disc.repin.work.hold_back import DiscDoubt, disc_doubt
from disc.repin.work.metal_left import Hole, Window
from disc.repin.work.nominal_places import TIMING_S, Layout, lay_out
from disc.repin.work.stations import Shop, stations_of_design, stations_of_reading
from disc.turn.one_turn import OneTurn
from disc.turn.turn_of_job import doubts_before_comb, turn_of_job

SETTINGS = "repin"
CAUTIONS = ("train", "eyes", "mercury", "untouched")
TIP_LIMITS_MM = (0.05, 5.0)  # widths of a tip that are no slip in typing; chosen by hand


@dataclass(frozen=True, slots=True)
class PlanSettings:
    """What a person chose for this run; None: as chosen for this job before, else as usual.

    enlarge: usually the largest that fits. rates: usually the job's own file, else the sample. circles, wires, drills,
    windows: as written on the command line.
    """

    paper: str | None = None
    enlarge: float | None = None
    worm: int | None = None
    circles: str | None = None
    wires: str | None = None
    drills: str | None = None
    tip_width_mm: float | None = None
    windows: tuple[str, ...] | None = None
    rates: Path | None = None
    language: str | None = None


REMEMBERED = tuple(f.name for f in fields(PlanSettings) if f.name != "rates")


def make_plan(
    job: Job,
    given: PlanSettings,
    rates: Rates,
    findings: Sequence[Finding] | None = None,
    turn: OneTurn | None = None,
) -> Plan:
    """The plan of a job as it stands.

    findings: those to go by, where they are fresher than the last check's file (the desk works them out anew). turn:
    of the pins in force, where it is at hand; else it is resolved here.
    """
    settings = settings_in_force(job, given)
    if turn is None and job.has(COMB_FILE):
        turn = turn_of_job(job)
    layout = _layout(job, settings, turn)
    shop = _shop(job, settings)
    pins = job.pins() if turn is None else turn.pins
    doubts, seen = (doubts_before_comb(job), load_seen(job)) if turn is None else (turn.doubts, turn.seen)
    stations, notes = _stations(job, pins, layout, shop, findings, doubts, disc_doubt(doubts, seen))
    circles = COMMON_CIRCLES if settings.circles is None else parse_circles(settings.circles)
    error_s = None if is_designed(job) else layout.setting_error_s
    plan = Plan(
        plate=job.plate,
        designed=is_designed(job),
        stations=stations,
        dividing=_dividing(stations, COMMON_WORMS[0] if settings.worm is None else settings.worm, circles),
        estimate=estimate(stations, rates),
        setting_error_ms=None if error_s is None else 1000.0 * error_s,
        windows=shop.windows,
        cautions=CAUTIONS,
    )
    return replace(plan, notes=(*notes, *_what_is_not_known(job, layout, stations), *_too_coarse(plan)))


def _layout(job: Job, settings: PlanSettings, turn: OneTurn | None) -> Layout:
    low, high = TIP_LIMITS_MM
    width = settings.tip_width_mm
    if width is not None and not low <= width <= high:
        raise BadInput(f"a tip of {width:g} mm is not possible; its width is in millimetres, {low:g} to {high:g}.")
    if width is None and (design := stored_design(job)) is not None:
        width = design.tip_width_mm
    if turn is None:
        return lay_out(job.pins(), None, job.plate, None, tip_width_mm=width)
    scale = (0.0, 0.0) if is_designed(job) else (turn.assignment.stretch, turn.assignment.offset_mm)
    return lay_out(turn.pins, turn.comb, job.plate, turn.tune, scale, width)


def _shop(job: Job, settings: PlanSettings) -> Shop:
    windows, obstacles = _keep_out(job)
    return Shop(
        WIRE_MM if settings.wires is None else parse_sizes(settings.wires, "wire"),
        drill_series("micro" if settings.drills is None else settings.drills),
        (*windows, *(parse_window(text, job.plate.radius_mm) for text in settings.windows or ())),
        obstacles,
    )


def _stations(
    job: Job,
    pins: Sequence[Pin],
    layout: Layout,
    shop: Shop,
    findings: Sequence[Finding] | None,
    doubts: Sequence[Doubt],
    whole: DiscDoubt,
) -> tuple[tuple[Station, ...], list[str]]:
    """The stations, and what a person should know about how they came about."""
    if (design := stored_design(job)) is not None:
        words = "Old pins stay; empty holes and stubs of the old disc are in the old disc's own list."
        made = stations_of_design(pins, layout, shop, frozenset(design.kept), frozenset(design.reused))
        return made, [words] if design.kept else []
    settled, unfit = settle(load_findings(job) if findings is None else findings, load_decisions(job))
    held = [f"Nothing is pulled, drilled or cut before this is settled: {doubt.say}" for doubt in misfits(doubts)]
    stations = stations_of_reading(pins, settled, layout, shop, whole)
    return stations, [*held, *_reading_notes(job, len(unfit))]


def _what_is_not_known(job: Job, layout: Layout, stations: Sequence[Station]) -> list[str]:
    notes = []
    if job.plate.thickness_mm is None and any(s.needs_hole for s in stations):
        notes.append("The plate's thickness is not known, so no drill depth is given: measure it.")
    if not job.has(COMB_FILE):
        notes.append("There is no comb table, so tracks are not known: places are as found.")
    elif layout.tune is None:
        notes.append("No tune could be read, so beats are not known: places are on their tracks, at the angles found.")
    return notes


def _too_coarse(plan: Plan) -> list[str]:
    worst = worst_drilled_ms(plan)
    if worst <= 1000.0 * TIMING_S or not any(s.needs_hole for s in plan.stations):
        return []
    return [
        f"The dividing head leaves up to {worst:.0f} ms: a worm of more turns or finer circles (--worm, --plates), the "
        "rotary table or the two-axis table sets truer."
    ]


def settings_in_force(job: Job, given: PlanSettings) -> PlanSettings:
    """What was given now laid over what was given before."""
    before = job.settings.get(SETTINGS, {})
    known = {name: before[name] for name in REMEMBERED if isinstance(before, dict) and name in before}
    if isinstance(known.get("windows"), list):
        known["windows"] = tuple(known["windows"])
    now = {name: getattr(given, name) for name in REMEMBERED if getattr(given, name) is not None}
    return PlanSettings(**(known | now), rates=given.rates)


def _keep_out(job: Job) -> tuple[tuple[Window, ...], tuple[Hole, ...]]:
    """(openings, round places) of a planned disc's keep-out table."""
    design = stored_design(job)
    windows: list[Window] = []
    holes = []
    for zone in () if design is None else design.keep_out:
        if isinstance(zone, Spot):
            x_mm, y_mm = to_xy_mm(zone.r_mm, zone.theta_deg)
            name = f"the screw or mark of {zone.name} in the keep-out table"
            holes.append(Hole(Side.UPPER, float(x_mm), float(y_mm), zone.diameter_mm, None, name))
        else:
            windows.append((zone.from_r_mm, zone.to_r_mm, zone.from_theta_deg, zone.to_theta_deg))
    return tuple(windows), tuple(holes)


def parse_window(text: str, radius_mm: float) -> Window:
    """A crossing's opening written "R_IN,R_OUT,FROM_DEG,TO_DEG". Raises BadInput."""
    try:
        r_in, r_out, from_deg, to_deg = (float(part) for part in text.split(","))
    except ValueError:
        raise BadInput(
            f"the window {text!r} cannot be read: write inner radius, outer radius (mm) and the angles it runs from "
            "and to, counter-clockwise as seen on the upper face, like 4.0,9.5,20,100."
        ) from None
    if not (0.0 <= r_in < r_out <= radius_mm and from_deg != to_deg and abs(from_deg) <= 720 and abs(to_deg) <= 720):
        raise BadInput(f"the window {text!r} does not lie on the plate: 0 <= inner < outer <= {radius_mm:g} mm.")
    return r_in, r_out, from_deg % 360.0, to_deg % 360.0


def _reading_notes(job: Job, unfit: int) -> list[str]:
    notes = []
    if not job.has(FINDINGS_FILE):
        notes.append("Not checked yet: empty holes are in doubt until disc check has weighed them.")
    if unfit:
        fit, were = ("decision no longer fits", "was") if unfit == 1 else ("decisions no longer fit", "were")
        notes.append(f"{unfit} {fit} any finding and {were} not used.")
    return notes


def _dividing(stations: Sequence[Station], worm: int, circles: Sequence[int]) -> tuple[FaceDividing, ...]:
    """One circle for the whole job, best for the holes to be drilled (for all places, where none is drilled)."""
    worked = [s for s in stations if s.number is not None and s.operations != (Operation.LEAVE,)]
    drilled = [s.place.theta_deg for s in worked if s.needs_hole] or [s.place.theta_deg for s in worked]
    best = best_dividing(drilled, worm, circles)
    faces = []
    for side in Side:
        mine = [s for s in worked if s.side is side]
        if mine:
            numbers = tuple(s.number for s in mine if s.number is not None)
            faces.append(FaceDividing(side, numbers, divide([s.place.theta_deg for s in mine], worm, best.circle)))
    return tuple(faces)
