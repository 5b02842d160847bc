"""`disc repin`: work list, drawings at 1:1 and enlarged, drill table, machine settings and estimate."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from disc.commands.typed.measure_options import length
from disc.words import progress, say, say_cautions, show_json

if TYPE_CHECKING:
    from disc.repin.plan_job import PlanMade


def repin(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    page: Annotated[str | None, typer.Option(help="Paper: a4 (usual) or letter.")] = None,
    enlarge: Annotated[float | None, typer.Option(help="Enlargement; without it the largest that fits.")] = None,
    worm: Annotated[int | None, typer.Option(help="Worm of the dividing head: 40 (usual), 60, 90 or another.")] = None,
    plates: Annotated[str | None, typer.Option(help="Circles of holes you have: 15,16,17,18,19,20,21,...")] = None,
    rates: Annotated[Path | None, typer.Option(help="Your rates file; it is kept in the job.")] = None,
    wires: Annotated[str | None, typer.Option(help="Wire you have, mm: 0.20,0.25,0.30.")] = None,
    drills: Annotated[str | None, typer.Option(help="Drills: micro (usual), iso235, number, or sizes in mm.")] = None,
    tip_width_mm: Annotated[
        float | None, typer.Option(parser=length("--tip-width-mm"), help="Width of the teeth's tips, where measured.")
    ] = None,
    window: Annotated[
        list[str] | None,
        typer.Option(help="Opening between crossings: R_IN,R_OUT,FROM_DEG,TO_DEG; may be repeated."),
    ] = None,
    language: Annotated[str | None, typer.Option(help="Language of sheets and work list: en, de or fr.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Work list, drawings at 1:1, drill table, dividing settings, estimate.

    Choices are remembered in the job; one that is not given stays as it was.
    """
    from disc.job import open_for_writing
    from disc.repin.plan_job import PlanSettings, plan_job

    windows = tuple(window) if window else None
    chosen = PlanSettings(page, enlarge, worm, plates, wires, drills, tip_width_mm, windows, rates, language)
    with open_for_writing(job) as opened, progress("repin", quiet=as_json) as advance:
        made = plan_job(opened, chosen, advance)
        summary = dict(opened.content.results["repin"])
    if as_json:
        show_json({"job": job, **summary, "files": list(made.files), "notes": list(made.plan.notes)} | _more(made))
        return
    _say_plan(job, made)
    say_cautions(*made.plan.cautions)


def _more(made: PlanMade) -> dict[str, Any]:
    from disc.doubts import doubts_to_json
    from disc.repin.store import stations_to_json

    return {"stations": stations_to_json(made.plan), "doubts": doubts_to_json(made.doubts)}


def _say_plan(job: Path, made: PlanMade) -> None:
    from disc.doubts import doubt_lines
    from disc.repin.sheets.drill_table import worst_drilled_ms
    from disc.repin.sheets.work_list import count_words

    plan = made.plan
    say(*doubt_lines(made.doubts))
    say(count_words(plan))
    say(*plan.notes)
    if plan.dividing:
        head = plan.dividing[0].dividing
        worst = worst_drilled_ms(plan)
        say(f"Dividing head {head.worm}:1: circle of {head.circle} for the whole job, worst error {worst:.1f} ms.")
    if plan.estimate:
        low, likely, high = plan.estimate.hours
        low_cost, likely_cost, high_cost = plan.estimate.cost
        say(
            f"Estimate: {likely:.1f} hours ({low:.1f} to {high:.1f}), {likely_cost:.2f} {plan.estimate.currency} "
            f"({low_cost:.2f} to {high_cost:.2f}); {plan.estimate.words}."
        )
        if plan.estimate.sample:
            say(
                f"These are sample rates: put your own into {job / 'rates.toml'}, take out the line 'sample', go again."
            )
    say("", "Made:", *(f"  {job / name}" for name in made.files if name != "job.json"))
