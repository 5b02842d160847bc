"""`disc repin`: a job's pins, findings and decisions to a plan, its drawings and tables; load, compute, one step."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from disc.check.store import FINDINGS_FILE
from disc.errors import BadInput
from disc.job import COMB_FILE, PINS_FILE, Job, Stage
from disc.job.made_from import PLAN
from disc.job.schema import now_text
from disc.job.stale import stale_doubts
from disc.locale.catalogue import Language
from disc.records import Doubt
from disc.repin.make_plan import REMEMBERED, SETTINGS, PlanSettings, make_plan, settings_in_force
from disc.repin.records import Operation, Plan
from disc.repin.sheets.drill_table import drill_table, machine_table, sides_worked, worst_drilled_ms
from disc.repin.sheets.dxf import face_dxf
from disc.repin.sheets.face_sheet import JobPage, enlarged_sheet, largest_enlargement, true_size_sheet
from disc.repin.sheets.work_list import sheets_pdf, work_list_pdf
from disc.repin.store import stage_plan
from disc.repin.work.estimate import Rates, history_entry, parse_rates, read_rates, sample_rates_text
from disc.repin.work.nominal_places import wire_doubts
from disc.results import RepinResult
from disc.tables import read_text
from disc.tune.store import TUNE_FILE
from disc.turn.turn_of_job import doubts_of_job, turn_of_job
from disc.typeset import check_paper
from disc.words import Advance, no_progress

RATES_FILE = "rates.toml"
PREVIOUS_RATES_FILE = "rates.previous.toml"  # what a file given with --rates took the place of
DRAWINGS = "out/drawings"


@dataclass(frozen=True, slots=True)
class PlanMade:
    """What came of a run: the plan, the files written (relative to the job), and the estimate's history."""

    plan: Plan
    files: tuple[str, ...]
    history: tuple[dict[str, Any], ...]
    doubts: tuple[Doubt, ...] = ()


def plan_job(job: Job, given: PlanSettings, advance: Advance = no_progress) -> PlanMade:
    """Work out the plan of a job open for writing and put it with its drawings into the job.

    What was given is remembered in the job's settings, for the next run and for the desk.
    """
    settings = settings_in_force(job, given)
    paper = check_paper("a4" if settings.paper is None else settings.paper)
    rates, rates_text = _rates(job, settings.rates)
    advance(0.05, "places")
    turn = turn_of_job(job) if job.has(COMB_FILE) else None
    plan = make_plan(job, settings, rates, turn=turn)
    page = JobPage(paper, job.folder.resolve().name, _language(settings))
    scale = settings.enlarge if settings.enlarge is not None else largest_enlargement(plan.plate, paper)
    doubts = (*(doubts_of_job(job) if turn is None else turn.doubts), *_wire_doubts(job, plan))
    last = job.content.result(RepinResult)
    history = [] if last is None else list(last.history)
    assert plan.estimate is not None
    entry = history_entry(plan.estimate, now_text(), history[-1] if history else None)
    history += [entry] if entry else []
    inputs = [job.path(name) for name in (PINS_FILE, COMB_FILE, TUNE_FILE, FINDINGS_FILE) if job.has(name)]
    with job.step("repin", tuple(inputs)) as stage:
        advance(0.2, "drawings")
        stage_plan(stage, plan)
        _stage_drawings(stage, plan, page, scale)
        advance(0.8, "work list")
        stage.write_bytes("out/work-list.pdf", work_list_pdf(plan, page, history, doubts))
        if rates_text is not None:
            if job.has(RATES_FILE) and job.path(RATES_FILE).read_text(encoding="utf-8") != rates_text:
                stage.copy_in(job.path(RATES_FILE), PREVIOUS_RATES_FILE)
            stage.write_text(RATES_FILE, rates_text)
        for old in _old_drawings(job):
            if old not in stage.names:
                stage.remove(old)
        job.content.keep(RepinResult(**_summary(plan, history)))
        job.settings[SETTINGS] = {n: getattr(settings, n) for n in REMEMBERED if getattr(settings, n) is not None}
        files = tuple(stage.names)
    return PlanMade(plan, files, tuple(history), (*stale_doubts(job, without=(PLAN,)), *doubts))


def _wire_doubts(job: Job, plan: Plan) -> list[Doubt]:
    """That wire was chosen without a measured pin, where any is to be set."""
    return wire_doubts(job.pins()) if any(Operation.SET in s.possible for s in plan.stations) else []


def _language(settings: PlanSettings) -> Language:
    name = Language.EN.value if settings.language is None else settings.language
    if name not in list(Language):
        raise BadInput(f"no papers are written in {name!r}; choose one of {', '.join(Language)}.")
    return Language(name)


def _old_drawings(job: Job) -> list[str]:
    """Drawings of an earlier run; those of another enlargement would lie about beside the new ones."""
    folder = job.path(DRAWINGS)
    names = sorted(path.name for path in folder.iterdir()) if folder.is_dir() else []
    return [f"{DRAWINGS}/{name}" for name in names if name.endswith((".svg", ".dxf", ".pdf", ".ngc"))]


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


def _stage_drawings(stage: Stage, plan: Plan, page: JobPage, scale: float) -> None:
    sheets = _draw(plan, page, scale)
    for name, text in sheets.items():
        stage.write_text(f"{DRAWINGS}/{name}.svg", text)
    if sheets:
        stage.write_bytes(f"{DRAWINGS}/sheets.pdf", sheets_pdf(sheets, page.paper))
    for side in sides_worked(plan):
        stage.write_text(f"{DRAWINGS}/{side.value}.dxf", face_dxf(plan, side))
    stage.write_text(f"{DRAWINGS}/drill-table.csv", drill_table(plan))
    stage.write_text(f"{DRAWINGS}/machine-settings.csv", machine_table(plan))


def _draw(plan: Plan, page: JobPage, scale: float) -> dict[str, str]:
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
