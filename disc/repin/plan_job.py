"""`disc repin`: a job's pins, findings and decisions to a plan, its drawings and tables; load, compute, one step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from disc.check.decisions import load_decisions, settle
from disc.check.store import FINDINGS_FILE, load_findings
from disc.design.settings import KeepOut
from disc.errors import BadInput
from disc.frame import to_xy_mm
from disc.job import COMB_FILE, PINS_FILE, Job
from disc.job_schema import now_text
from disc.records import Finding, Side
from disc.repin.clearance import Hole, Window
from disc.repin.dividing import COMMON_CIRCLES, COMMON_WORMS, best_dividing, divide, parse_circles
from disc.repin.drill_table import drill_table, machine_table, sides_worked, worst_drilled_ms
from disc.repin.drills import WIRE_MM, drill_series, parse_sizes
from disc.repin.dxf import face_dxf
from disc.repin.estimate import Rates, estimate, history_entry, parse_rates, read_rates, sample_rates_text
from disc.repin.face_sheet import Page, check_paper, enlarged_sheet, largest_enlargement, true_size_sheet
from disc.repin.places import TIMING_S, lay_out
from disc.repin.records import FaceDividing, Operation, Plan, Station
from disc.repin.stations import Shop, stations_of_design, stations_of_reading
from disc.repin.store import stage_plan
from disc.repin.work_list import sheets_pdf, work_list_pdf
from disc.tables import read_text
from disc.tune.store import TUNE_FILE, load_tune
from disc.words import Advance, no_progress

RATES_FILE = "rates.toml"
PREVIOUS_RATES_FILE = "rates.previous.toml"  # what a file given with --rates took the place of
DRAWINGS = "out/drawings"
SETTINGS = "repin"
CAUTIONS = ("train", "eyes", "mercury", "untouched")


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


@dataclass(frozen=True, slots=True)
class Made:
    """What came of a run: the plan, the files written (relative to the job), and the estimate's history."""

    plan: Plan
    files: tuple[str, ...]
    history: tuple[dict[str, Any], ...]


REMEMBERED = tuple(f.name for f in fields(PlanSettings) if f.name != "rates")


def plan_job(job: Job, given: PlanSettings, advance: Advance = no_progress) -> Made:
    """Work out the plan of a job open for writing and put it with its drawings into the job.

    What was given is remembered in the job's settings, for the next run and for the desk.
    """
    settings = settings_in_force(job, given)
    paper = check_paper("a4" if settings.paper is None else settings.paper)
    rates, rates_text = _rates(job, settings.rates)
    advance(0.05, "places")
    plan = make_plan(job, settings, rates)
    page = Page(paper, job.folder.resolve().name)
    scale = settings.enlarge if settings.enlarge is not None else largest_enlargement(plan.plate, paper)
    history = list(job.content.results.get("repin", {}).get("history", []))
    assert plan.estimate is not None
    entry = history_entry(plan.estimate, now_text(), history[-1] if history else None)
    history += [entry] if entry else []
    inputs = [job.path(name) for name in (PINS_FILE, COMB_FILE, TUNE_FILE, FINDINGS_FILE) if job.has(name)]
    with job.step("repin", tuple(inputs)) as stage:
        advance(0.2, "drawings")
        stage_plan(stage, plan)
        sheets = _draw(plan, page, scale)
        for name, text in sheets.items():
            stage.write_text(f"{DRAWINGS}/{name}.svg", text)
        for side in sides_worked(plan):
            stage.write_text(f"{DRAWINGS}/{side.value}.dxf", face_dxf(plan, side))
        stage.write_text(f"{DRAWINGS}/drill-table.csv", drill_table(plan))
        stage.write_text(f"{DRAWINGS}/machine-settings.csv", machine_table(plan))
        advance(0.5, "pages")
        if sheets:
            stage.write_bytes(f"{DRAWINGS}/sheets.pdf", sheets_pdf(sheets, paper))
        advance(0.8, "work list")
        stage.write_bytes("out/work-list.pdf", work_list_pdf(plan, page, history))
        if rates_text is not None:
            if job.has(RATES_FILE) and job.path(RATES_FILE).read_text(encoding="utf-8") != rates_text:
                stage.copy_in(job.path(RATES_FILE), PREVIOUS_RATES_FILE)
            stage.write_text(RATES_FILE, rates_text)
        for old in _old_drawings(job):
            if old not in stage.names:
                stage.remove(old)
        job.content.results["repin"] = _summary(plan, history)
        job.settings[SETTINGS] = {n: getattr(settings, n) for n in REMEMBERED if getattr(settings, n) is not None}
        files = tuple(stage.names)
    return Made(plan, files, tuple(history))


def _old_drawings(job: Job) -> list[str]:
    """Drawings of an earlier run; those of another enlargement would lie about beside the new ones."""
    folder = job.path(DRAWINGS)
    names = sorted(path.name for path in folder.iterdir()) if folder.is_dir() else []
    return [f"{DRAWINGS}/{name}" for name in names if name.endswith((".svg", ".dxf", ".pdf"))]


def make_plan(job: Job, given: PlanSettings, rates: Rates, findings: Sequence[Finding] | None = None) -> Plan:
    """The plan of a job as it stands; writes nothing.

    findings: those to go by, where they are fresher than the last check's file (the desk works them out anew).
    """
    settings = settings_in_force(job, given)
    if settings.tip_width_mm is not None and not 0.05 <= settings.tip_width_mm <= 5.0:
        raise BadInput(
            f"a tip of {settings.tip_width_mm:g} mm is not possible; its width is in millimetres, 0.05 to 5."
        )
    pins = job.pins()
    comb = job.comb() if job.has(COMB_FILE) else None
    teeth = job.content.results.get("teeth", {})
    scale = (float(teeth.get("stretch", 0.0)), float(teeth.get("offset_mm", 0.0)))
    designed = "design" in job.settings
    tip_width = settings.tip_width_mm or _design(job).get("sizes", {}).get("tip_width_mm")
    tune = load_tune(job)
    layout = lay_out(pins, comb, job.plate, tune, (0.0, 0.0) if designed else scale, tip_width)
    windows, obstacles = _keep_out(job)
    shop = Shop(
        WIRE_MM if settings.wires is None else parse_sizes(settings.wires, "wire"),
        drill_series("micro" if settings.drills is None else settings.drills),
        (*windows, *(parse_window(text, job.plate.radius_mm) for text in settings.windows or ())),
        obstacles,
    )
    notes: list[str] = []
    if designed:
        kept = frozenset(int(number) for number in _design(job).get("kept", []))
        stations = stations_of_design(pins, layout, shop, kept)
        if kept:
            notes.append("Old pins stay; empty holes and stubs of the old disc are not in this job: see its own list.")
    else:
        settled, unfit = settle(load_findings(job) if findings is None else findings, load_decisions(job))
        stations = stations_of_reading(pins, settled, layout, shop)
        notes += _reading_notes(job, len(unfit))
    if job.plate.thickness_mm is None and any(s.needs_hole for s in stations):
        notes.append("The plate's thickness is not known, so no drill depth is given: measure it.")
    if comb is None:
        notes.append("There is no comb table, so tracks are not known: places are as found.")
    elif tune is None and not designed:
        notes.append("The tune was not read yet, so beats are not known: run disc transcribe for places on the beat.")
    circles = COMMON_CIRCLES if settings.circles is None else parse_circles(settings.circles)
    dividing = _dividing(stations, COMMON_WORMS[0] if settings.worm is None else settings.worm, circles)
    plan = Plan(
        plate=job.plate,
        designed=designed,
        stations=stations,
        dividing=dividing,
        estimate=estimate(stations, rates),
        setting_error_ms=None if designed or layout.setting_error_s is None else 1000.0 * layout.setting_error_s,
        windows=shop.windows,
        notes=tuple(notes),
        cautions=CAUTIONS,
    )
    worst = worst_drilled_ms(plan)
    if worst > 1000.0 * TIMING_S and any(s.needs_hole for s in stations):
        coarse = (
            f"The dividing head leaves up to {worst:.0f} ms: a worm of more turns or finer circles (--worm, --plates), "
            "the rotary table or the two-axis table sets truer."
        )
        plan = replace(plan, notes=(*plan.notes, coarse))
    return plan


def settings_in_force(job: Job, given: PlanSettings) -> PlanSettings:
    """What was given now laid over what was given before."""
    before = job.settings.get(SETTINGS, {})
    known = {name: before[name] for name in REMEMBERED if isinstance(before, dict) and name in before}
    if isinstance(known.get("windows"), list):
        known["windows"] = tuple(known["windows"])
    now = {name: getattr(given, name) for name in REMEMBERED if getattr(given, name) is not None}
    return PlanSettings(**(known | now), rates=given.rates)


def _design(job: Job) -> dict[str, Any]:
    """What the design room stored about a planned disc; empty for a disc that was read."""
    stored = job.settings.get("design")
    return stored if isinstance(stored, dict) else {}


def _keep_out(job: Job) -> tuple[tuple[Window, ...], tuple[Hole, ...]]:
    """(openings, round places) of a planned disc's keep-out table."""
    zones = [KeepOut(**zone) for zone in _design(job).get("keep_out", [])]
    windows, holes = [], []
    for zone in zones:
        if zone.r_mm is not None and zone.theta_deg is not None:
            x_mm, y_mm = to_xy_mm(zone.r_mm, zone.theta_deg)
            name = f"the screw or mark of {zone.name} in the keep-out table"
            holes.append(Hole(Side.UPPER, float(x_mm), float(y_mm), zone.diameter_mm or 0.0, None, name))
        else:
            sector = (zone.from_r_mm, zone.to_r_mm, zone.from_theta_deg, zone.to_theta_deg)
            windows.append(tuple(float(value or 0.0) for value in sector))
    return tuple(windows), tuple(holes)  # type: ignore[arg-type]


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
    elif "check" in [run.command.split()[0] for run in job.content.runs] and _is_older_than_pins(job):
        notes.append("The pins have changed since the last check: run disc check again.")
    if unfit:
        notes.append(f"{unfit} decisions no longer fit any finding and were not used.")
    return notes


def _is_older_than_pins(job: Job) -> bool:
    """Whether the last check saw another pin table than the one in force."""
    last = next((run for run in reversed(job.content.runs) if FINDINGS_FILE in run.outputs), None)
    seen = last.inputs.get(PINS_FILE) if last else None
    return seen is not None and job.content.pins_sha256 is not None and seen != job.content.pins_sha256


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


def rates_in_force(job: Job) -> Rates:
    """The job's own rates, else the sample."""
    return _rates(job, None)[0]


def _rates(job: Job, given: Path | None) -> tuple[Rates, str | None]:
    """Rates in force, and the text to store in the job where it changes: a file given, or the sample the first time."""
    if given is not None:
        text = read_text(given, "rates file")
        return parse_rates(text, str(given)), text
    if job.has(RATES_FILE):
        return read_rates(job.path(RATES_FILE)), None
    text = sample_rates_text()
    return parse_rates(text, "the sample rates"), text


def _draw(plan: Plan, page: Page, scale: float) -> dict[str, str]:
    """SVG text by name; a disc that leaves no room to enlarge it has only its sheets at 1:1."""
    sheets = {}
    for side in sides_worked(plan):
        sheets[f"{side.value}-1to1"] = true_size_sheet(plan, side, page).svg()
        if scale != 1:
            sheets[f"{side.value}-{scale:g}to1"] = enlarged_sheet(plan, side, page, scale).svg()
    return sheets


def _summary(plan: Plan, history: list[dict[str, Any]]) -> dict[str, Any]:
    made = plan.estimate
    assert made is not None
    return {
        "operations": {op.value: sum(op in s.operations for s in plan.stations) for op in Operation},
        "in_doubt": made.in_doubt,
        "hours": list(made.hours),
        "cost": list(made.cost),
        "currency": made.currency,
        "sample_rates": made.sample,
        "worm": plan.dividing[0].dividing.worm if plan.dividing else None,
        "circle": plan.dividing[0].dividing.circle if plan.dividing else None,
        "worst_ms": worst_drilled_ms(plan),
        "history": history,
    }
