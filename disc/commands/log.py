"""`disc log JOB ...`: dated bench notes and photographs, and the put-back list."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from disc.locale.catalogue import Language
from disc.words import plain, progress, say, say_cautions, show_json

if TYPE_CHECKING:
    from disc.report.log import LogStep

log = typer.Typer(help="Dated bench notes and photos; the put-back list in reverse order.", rich_markup_mode=None)

AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
Note = Annotated[str, typer.Option(help="What was done or seen.")]
Parts = Annotated[list[str] | None, typer.Option("--part", help='A part and its own screws: "fly bridge: 2 screws".')]


@log.callback()
def _of_job(context: typer.Context, job: Annotated[Path, typer.Argument(help="The job's folder.")]) -> None:
    """Dated bench notes and photos; the put-back list in reverse order."""
    context.obj = job


@log.command("add")
def add(
    context: typer.Context,
    note: Note = "",
    photo: Annotated[list[Path] | None, typer.Option(help="A photograph of this step; may be given again.")] = None,
    part: Parts = None,
    after: Annotated[int | None, typer.Option(help="Put it right behind this step, not where its time says.")] = None,
    as_json: AsJson = False,
) -> None:
    """Add a step; its time is its photograph's. Without a job here, one is made that holds only the log."""
    from disc.job import open_for_writing
    from disc.report.log import FIRST_STEP, add_step, begin_log, check_step, load_log

    check_step(note, photo or (), part or ())  # before a folder is made
    if after in (None, FIRST_STEP) and begin_log(context.obj) and not as_json:
        say(f"A new job in {context.obj}, for the log alone; disc start {context.obj} keeps it.")
    with open_for_writing(context.obj) as job:
        first = not job.has("log.json")
        step = add_step(job, note, photo or (), part or (), after)
        if first and not as_json:
            say(f"1. {load_log(job)[0].note}")
            say_cautions("train", "untouched")
            say("")
    _show(step, as_json)


@log.command("edit")
def edit(
    context: typer.Context,
    number: Annotated[int, typer.Argument(help="The step's number.")],
    note: Annotated[str | None, typer.Option(help="New words.")] = None,
    part: Parts = None,
    as_json: AsJson = False,
) -> None:
    """Change a step's words or parts."""
    from disc.job import open_for_writing
    from disc.report.log import edit_step

    with open_for_writing(context.obj) as job:
        step = edit_step(job, number, note, part)
    _show(step, as_json)


@log.command("tick")
def tick(
    context: typer.Context,
    number: Annotated[int, typer.Argument(help="The step's number.")],
    undo: Annotated[bool, typer.Option("--undo", help="Take the tick away again.")] = False,
    as_json: AsJson = False,
) -> None:
    """Tick a step: its parts are back in place."""
    from disc.job import open_for_writing
    from disc.report.log import edit_step

    with open_for_writing(context.obj) as job:
        step = edit_step(job, number, done=not undo)
    _show(step, as_json)


@log.command("list")
def list_steps(context: typer.Context, as_json: AsJson = False) -> None:
    """The steps in order."""
    from disc.job import open_job
    from disc.report.log import in_order, load_log

    steps = in_order(load_log(open_job(context.obj)))
    if as_json:
        show_json({"steps": steps})
        return
    for step in steps:
        _show(step, False)


@log.command("put-back")
def put_back(
    context: typer.Context,
    language: Annotated[Language, typer.Option(help="The checklist's language.")] = Language.EN,
    as_json: AsJson = False,
) -> None:
    """The steps in reverse order, as a checklist with pictures."""
    from disc.job import open_for_writing
    from disc.report.put_back import make_put_back, put_back_names

    with progress("put-back", quiet=as_json) as advance, open_for_writing(context.obj) as job:
        steps = make_put_back(job, language, advance)
        made = [job.path(name) for name in put_back_names(language)]
    if as_json:
        show_json({"steps": steps, "files": made})
        return
    for step in steps:
        _show(step, False)
    say("", *(f"Checklist: {path}" for path in made))
    say_cautions("train", "untouched")


def _show(step: LogStep, as_json: bool) -> None:
    if as_json:
        show_json(plain(step))
        return
    say(f"{'[x]' if step.done else '[ ]'} {step.number}. {step.at[:16]}  {step.note}")
    for part in step.parts:
        say(f"      {part.name}" + (f": {part.screws}" if part.screws else ""))
    for name in step.photos:
        say(f"      {name}")
