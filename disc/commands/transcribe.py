"""`disc transcribe`: pins and comb to the tune, written and sounding."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from disc.words import chance, counted, how_sure, progress, say, show_json


def transcribe(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    metre: Annotated[
        str | None, typer.Option(help="Time signature, such as 6/8, or 2/4@17 from bar 17 on; auto: read it again.")
    ] = None,
    key: Annotated[str | None, typer.Option(help="Key, such as D, Bb or 'E dorian'; auto: read it again.")] = None,
    upbeat: Annotated[str | None, typer.Option(help="Length of the upbeat, such as 1/8, or 0; auto.")] = None,
    beats: Annotated[
        str | None, typer.Option(help="Beats of the metre from the first note to the end of the last bar; auto.")
    ] = None,
    quarter_deg: Annotated[
        str | None, typer.Option(help="Degrees the disc turns in a quarter note, if known from its design; auto.")
    ] = None,
    order: Annotated[
        str | None,
        typer.Option(help="Teeth from low to high to guess pitches: 12,11 or with lengths in mm 12=9.4,11=9.1; auto."),
    ] = None,
    tip_limit: Annotated[
        float | None, typer.Option(help="Degrees that unmeasured tips may stand apart; their angles are estimated.")
    ] = None,
    section_at: Annotated[
        str | None, typer.Option(help="Bars in which a new tune begins: 17, or 17,33; none: it is one tune; auto.")
    ] = None,
    move_bar: Annotated[
        tuple[str, str] | None,
        typer.Option(help="BAR BEATS: its line and all after it stand so many beats later; -1: earlier; auto auto."),
    ] = None,
    note: Annotated[
        tuple[str, str] | None,
        typer.Option(
            help="PIN WORD, or BAR:BEAT WORD: that note is held (a fermata) or not-held, an ornament or written, "
            "melody or accompaniment; auto: read it again; auto auto: all of them."
        ),
    ] = None,
    title: Annotated[str | None, typer.Option(help='Title over the score; of two tunes: "First / Second".')] = None,
    teeth: Annotated[
        bool, typer.Option("--teeth", help="A second print with each note's tooth number under it.")
    ] = False,
    page: Annotated[str | None, typer.Option(help="Paper of the score: a4 (at first) or letter.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """The tune from pins and comb: score, MIDI, sound. What is set here is kept for the next time."""
    from disc.doubts import doubt_lines, doubts_to_json, untried_lines
    from disc.job import open_for_writing
    from disc.turn.transcribe_job import transcribe_job

    given: dict[str, Any] = {"metre": metre, "key": key, "upbeat": upbeat, "beats": beats, "title": title}
    given |= {"quarter_deg": quarter_deg, "order": order, "tip_limit": tip_limit, "section_at": section_at}
    if move_bar is not None:
        given["move_bar"] = "auto" if "auto" in move_bar else " ".join(move_bar)
    if note is not None:
        given["note"] = note
    with progress("transcribe", quiet=as_json) as advance, open_for_writing(job) as opened:
        made = transcribe_job(opened, given, advance, teeth, page)
        found = dict(opened.content.results["tune"])
    if as_json:
        show_json({"job": job, "tune": found, "files": made.files, "doubts": doubts_to_json(made.doubts)})
        return
    say(*doubt_lines(made.doubts), *untried_lines(made.doubts))
    say(
        f"{counted(found['strikes'], 'strike')}: {found['melody_notes']} of melody, "
        f"{found['accompaniment_notes']} of accompaniment.",
        f"Metre {found['metre']} ({how_sure(found['metre_probability'])}), {found['key']} "
        f"({how_sure(found['key_probability'])}); setting error {1000 * found['setting_error_s']:.0f} ms.",
    )
    say(*section_lines(found))
    say(*pace_lines(found))
    others = [other for other in found["alternatives"] if other["probability"] >= 0.02]
    if others:
        say("", "Also considered:")
        say(*(f"  {o['what']}: {o['value']} ({chance(o['probability'])}), {o['why']}" for o in others))
    if "guessed_pitches" in found:
        guess = found["guessed_pitches"]
        keys = "; ".join(other["key"] for other in guess["alternatives"])
        say("", f"The guess at the pitches: {guess['key']}; others: {keys}. The score says so.")
    if found["doubtful_pins"]:
        say("", f"Doubtful pins, marked ? in the score: {', '.join(map(str, found['doubtful_pins']))}")
    printed = "tune.pdf, tune-teeth.pdf" if teeth else "tune.pdf"
    say("", f"Written in {job / 'out'}: {printed}, tune.svg, tune.musicxml, tune.mid, tune.wav, strikes.csv")


def section_lines(found: dict[str, Any]) -> list[str]:
    """Each later section: a second tune, or bars of another metre."""
    lines = []
    for part in found["sections"]:
        if part["own_tune"]:
            title = f" ({part['title']})" if part["title"] else ""
            lines.append(f"Another tune{title} begins in bar {part['bar']}: {part['metre']}, {part['key']}.")
        else:
            lines.append(f"From bar {part['bar']} on the bar lines are counted anew, in {part['metre']}.")
    return lines


def pace_lines(found: dict[str, Any]) -> list[str]:
    """What bends the turn's time, and which notes stand in one pass of a repeat only; nothing for a steady turn."""
    lines = []
    if found["drift_bar"] is not None:
        lines.append(
            f"The setting drifts: by up to {found['drift_deg']:.1f} degrees, around bar {found['drift_bar']}. The "
            "score is written as if it did not; tune.mid sounds as the disc does."
        )
    if found["held_bars"]:
        lines.append(f"Held longer than written (a fermata) in bar {', '.join(map(str, found['held_bars']))}.")
    if found["slowing_bar"] is not None:
        lines.append(f"It slows down from bar {found['slowing_bar']} on (rit.).")
    for note in found["in_one_pass_only"]:
        pins = ", ".join(map(str, note["pins"]))
        lines.append(
            f"Bar {note['bar']}: pin {pins} has no match in the other pass of the repeat (it plays in pass "
            f"{note['pass']} only, printed small): missing there, or extra here?"
        )
    return lines
