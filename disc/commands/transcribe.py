"""`disc transcribe`: pins and comb to the tune, written and sounding."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from disc.words import progress, say, show_json


def transcribe(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    metre: Annotated[str | None, typer.Option(help="Time signature, such as 6/8; auto: read it again.")] = None,
    key: Annotated[str | None, typer.Option(help="Key, such as D, Bb or 'E dorian'; auto: read it again.")] = None,
    upbeat: Annotated[str | None, typer.Option(help="Length of the upbeat, such as 1/8, or 0; auto.")] = None,
    beats: Annotated[
        str | None, typer.Option(help="Beats of the metre from the first note to the end of the last bar; auto.")
    ] = None,
    title: Annotated[str | None, typer.Option(help="Title over the score.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """The tune from pins and comb: score, MIDI, sound. What is set here is kept for the next time."""
    from disc.job import open_for_writing
    from disc.tune.read_job import transcribe_job

    given = {"metre": metre, "key": key, "upbeat": upbeat, "beats": beats, "title": title}
    with progress("transcribe", quiet=as_json) as advance, open_for_writing(job) as opened:
        made = transcribe_job(opened, given, advance)
        found = dict(opened.content.results["tune"])
    if as_json:
        show_json({"job": job, "tune": found, "files": made.files})
        return
    say(
        f"{found['strikes']} strikes: {found['melody_notes']} of melody, "
        f"{found['accompaniment_notes']} of accompaniment.",
        f"Metre {found['metre']} ({found['metre_probability']:.0%} sure), {found['key']} "
        f"({found['key_probability']:.0%} sure); setting error {1000 * found['setting_error_s']:.0f} ms.",
    )
    others = [other for other in found["alternatives"] if other["probability"] >= 0.02]
    if others:
        say("", "Also considered:")
        say(*(f"  {o['what']}: {o['value']} ({o['probability']:.0%}), {o['why']}" for o in others))
    if found["doubtful_pins"]:
        say("", f"Doubtful pins, marked ? in the score: {', '.join(map(str, found['doubtful_pins']))}")
    say("", f"Written in {job / 'out'}: tune.pdf, tune.svg, tune.musicxml, tune.mid, tune.wav, strikes.csv")
