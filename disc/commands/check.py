"""`disc check`: what is wrong with the disc, each finding with its evidence."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from disc.errors import BadInput
from disc.words import counted, progress, say, say_cautions, show_json

if TYPE_CHECKING:
    from disc.check.check_job import Checked


def check(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    tune: Annotated[Path | None, typer.Option(help="A score of the tune: MIDI, MusicXML, ABC or kern.")] = None,
    compare: Annotated[Path | None, typer.Option(help="A later job of the same disc: list what changed.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Findings: missing, bent, abandoned or mis-set pins, each with its evidence."""
    if compare is not None:
        if tune is not None:
            raise BadInput("--tune and --compare ask for different things: give one of them.")
        _compare(job, compare, as_json)
        return
    from disc.check.check_job import check_job
    from disc.job import open_for_writing

    with progress("checking", quiet=as_json) as advance, open_for_writing(job) as opened:
        checked = check_job(opened, tune, advance)
    if as_json:
        from disc.check.report_json import checked_to_json

        show_json(checked_to_json(checked))
        return
    _tell(checked)
    say("", f"The findings on a map of both faces: {job / 'out' / 'findings.svg'}")
    say(f"Next: disc desk {job} to decide on them, or disc repin {job} for the work.")


def _tell(checked: Checked) -> None:
    from disc.check.sentences import finding_line, summary_line
    from disc.doubts import doubt_lines, untried_lines

    say(*doubt_lines(checked.doubts), *untried_lines(checked.doubts))
    say(summary_line(item.finding for item in checked.settled if not item.is_rejected))
    if checked.summary["known_tune"]:
        say(f"Judged with the known tune: {checked.summary['known_tune'].rstrip('.')}.")
    for number, item in enumerate(checked.settled, start=1):
        said = "" if item.decision is None else f" [{item.decision.verdict.value}: {item.decision.reason}]"
        say(f"{number:3d}  {finding_line(item.finding)}{said}")
    say(*(f"Note: {remark}." for remark in checked.summary["remarks"]))
    for decision in checked.unfit:
        say(
            f"A decision no longer fits: {decision.kind}, {decision.side.value} face, r {decision.r_mm:.2f} mm, "
            f"{decision.theta_deg:.1f} degrees."
        )
    if checked.settled:
        say_cautions("train", "untouched")


def _compare(before: Path, after: Path, as_json: bool) -> None:
    from disc.check.check_job import compare_jobs
    from disc.check.compare import change_words
    from disc.job import open_job

    changes = compare_jobs(open_job(before), open_job(after))
    if as_json:
        show_json({"before": before, "after": after, "changes": changes})
        return
    say(
        f"{counted(len(changes), 'place differs', 'places differ')} between {before} and {after}."
        if changes
        else "Nothing changed."
    )
    say(*(f"  {change_words(change)}" for change in changes))
