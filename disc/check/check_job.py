"""The check of a job folder: loads what there is, judges, and stores out/findings.json as one step."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from disc.check.check_disc import Disc, Judgement, judge
from disc.check.compare import Changed, compare_pins
from disc.check.decisions import Decision, Settled, load_decisions, settle
from disc.check.music.known_file import identified_tune, known_from_file, load_known, stage_known
from disc.check.picture import findings_svg
from disc.check.store import stage_findings
from disc.comb.assign import assign_teeth
from disc.comb.comb_job import fixed_teeth
from disc.comb.strikes import strikes_from_pins
from disc.errors import BadInput, MissingPart
from disc.job import COMB_FILE, PINS_FILE, Job
from disc.library.records import ReferenceTune
from disc.listen.store import load_listen_findings
from disc.records import Comb, Finding, Pin, Plate, Strike, Tune
from disc.tune.read.read_tune import read_tune
from disc.tune.settings import TuneSettings
from disc.turn.tips import estimate_tips
from disc.turn.transcribe_job import merge_settings, settings_from
from disc.words import Advance, no_progress

PICTURE_FILE = "out/findings.svg"
# Where the comb's pitches are not known its teeth still part the voices, roughly, by their order: the reader needs
# some pitch to find the beat, and the beat is all that is used of it.
STAND_IN_PITCH = 60.0


@dataclass(frozen=True, slots=True)
class Checked:
    """The outcome of one check. settled: findings with a person's decisions; unfit: decisions that found no finding."""

    settled: tuple[Settled, ...]
    unfit: tuple[Decision, ...]
    summary: dict[str, Any]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The findings as the check found them."""
        return tuple(item.as_found for item in self.settled)


def check_job(
    job: Job, tune_file: Path | None = None, advance: Advance = no_progress, keep_known: bool = False
) -> Checked:
    """Check a job and store its findings. tune_file: a score that the disc is known to play.

    Without one, a tune that `disc identify` is sure of is used; with keep_known, first the one that the last check
    knew. Raises MissingPart without pins or comb, BadInput for a score that cannot be read.
    """
    if tune_file is not None:
        references = known_from_file(tune_file)
    else:
        found = (load_known(job) if keep_known else None) or identified_tune(job, advance)
        references = () if found is None else (found,)
    advance(0.3, "judging")
    disc, remarks = _disc_with(job, references)
    judgement = judge(disc)
    if references and judgement.known is None:
        name = tune_file or references[0].title
        remarks.append(f"{name}: this tune does not lie on the disc; the check was made without it")
    summary = summary_of(judgement, remarks)
    inputs = tuple(job.path(name) for name in (PINS_FILE, COMB_FILE)) + ((tune_file,) if tune_file else ())
    with job.step("check", inputs) as stage:
        stage_findings(stage, judgement.findings, summary)
        stage_known(stage, judgement.reference)
        stage.write_text(PICTURE_FILE, findings_svg(judgement.findings, disc.pins, disc.plate))
        job.content.results["check"] = summary
    settled, unfit = settle(judgement.findings, load_decisions(job))
    return Checked(settled, unfit, summary)


def disc_of(job: Job, tune_file: Path | None = None) -> tuple[Disc, list[str]]:
    """What the job knows of its disc, and remarks on what could not be used. Raises MissingPart, BadInput.

    Without tune_file the known tune of the last check is used again.
    """
    if tune_file is not None:
        return _disc_with(job, known_from_file(tune_file))
    known = load_known(job)
    return _disc_with(job, () if known is None else (known,))


def _disc_with(job: Job, references: tuple[ReferenceTune, ...]) -> tuple[Disc, list[str]]:
    plate = job.plate
    comb, remarks = comb_with_tips(job.pins(), job.comb(), plate)
    fixed = fixed_teeth(job, comb)
    pins = assign_teeth(job.pins(), comb, fixed).pins
    tune, more = tune_of(pins, comb, plate, settings_from(merge_settings(job.settings, {})))
    recorded = load_listen_findings(job)
    return Disc(pins, comb, plate, tune, references, recorded, fixed), [*remarks, *more]


def comb_with_tips(pins: Sequence[Pin], comb: Comb, plate: Plate) -> tuple[Comb, list[str]]:
    """The comb with unknown tip angles estimated from the beat, as the tune's reader does, and a remark if any were."""
    if all(tooth.tip_theta_deg is not None for tooth in comb.teeth):
        return comb, []
    strikes = strikes_from_pins(assign_teeth(pins, comb).pins, comb, plate)
    tips = estimate_tips(strikes, comb, plate).tip_theta_deg
    teeth = tuple(
        replace(tooth, tip_theta_deg=tips.get(tooth.number)) if tooth.tip_theta_deg is None else tooth
        for tooth in comb.teeth
    )
    remark = (
        "the angles of some tips are not in the comb's table and were estimated from the beat; measured ones are surer"
    )
    return replace(comb, teeth=teeth), [remark]


def tune_of(
    pins: Sequence[Pin], comb: Comb, plate: Plate, settings: TuneSettings = TuneSettings()
) -> tuple[Tune | None, list[str]]:
    """The tune of these pins, read anew so that it fits them, and why there is none if there is none."""
    strikes = strikes_from_pins(pins, comb, plate)
    remarks = []
    if any(tooth.pitch is None for tooth in comb.teeth):
        remarks.append("the pitches of the comb are not known: repeats were judged by teeth, a known tune was not used")
        strikes = tuple(_with_stand_in(strike) for strike in strikes)
    try:
        return read_tune(strikes, plate, settings).tune, remarks
    except BadInput as error:
        return None, [*remarks, f"the music was not asked: {error}"]


def _with_stand_in(strike: Strike) -> Strike:
    return replace(strike, pitch=STAND_IN_PITCH + strike.tooth)


def summary_of(judgement: Judgement, remarks: Sequence[str] = ()) -> dict[str, Any]:
    """What the findings rest on, as plain JSON."""
    grid, reference = judgement.grid, judgement.reference
    return {
        "counts": dict(Counter(finding.kind for finding in judgement.findings)),
        "r_sigma_mm": round(judgement.spread.r_sigma_mm, 4),
        "setting_error_s": None if grid is None else round(grid.sigma_s, 4),
        "known_tune": None if reference is None else reference.title or str(reference.key),
        "remarks": list(remarks),
    }


def compare_jobs(before: Job, after: Job) -> tuple[Changed, ...]:
    """What changed from one job's pins to another's. Raises MissingPart if either has no pins."""
    for job in (before, after):
        if not job.has(PINS_FILE):
            raise MissingPart(f"{job.folder}: no pins to compare yet. Run: disc read {job.folder} first.")
    return compare_pins(before.pins(), after.pins())
