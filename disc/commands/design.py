"""`disc design`: a tune fitted to a comb and laid out as pins, written as a job like any other."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from disc.commands.measure_options import angle, length
from disc.records import Turns
from disc.words import progress, say, say_cautions, show_json

TEMPO_HEARD = 0.02  # a change of tempo below this nobody hears; common practice, no source
USED_WELL = 0.6  # of the turn; below it the silence at the end is worth a word


def design(
    tune: Annotated[Path, typer.Argument(help="The tune: MIDI, MusicXML (.mxl), ABC or kern.")],
    out: Annotated[Path, typer.Option(help="The new job's folder.")],
    comb: Annotated[Path | None, typer.Option(help="Table: number,side,tip_r_mm,tip_theta_deg,pitch.")] = None,
    keep: Annotated[Path | None, typer.Option(help="An old job: its sound pins stay.")] = None,
    number: Annotated[int | None, typer.Option(help="Which tune of a file that holds several.")] = None,
    melody: Annotated[
        str | None, typer.Option(help="The part that carries the tune: number from 1, or name; left out, it is found.")
    ] = None,
    bars: Annotated[str | None, typer.Option(help="Only these bars, as played, such as 1-16; 0 is an upbeat.")] = None,
    times: Annotated[int, typer.Option(help="Play the tune, or the bars, this many times in a turn.")] = 1,
    transpose: Annotated[int | None, typer.Option(help="Semitones up or down; left out, the best is found.")] = None,
    missing: Annotated[str, typer.Option(help="Chromatic notes without a tooth: drop or nearest.")] = "drop",
    diameter_mm: Annotated[
        float | None,
        typer.Option(parser=length("--diameter-mm"), help="The plate; left out, the smallest for the comb."),
    ] = None,
    turns: Annotated[Turns | None, typer.Option(help="Which way the disc goes, seen on the upper side.")] = None,
    thickness_mm: Annotated[
        float | None, typer.Option(parser=length("--thickness-mm"), help="The plate's thickness.")
    ] = None,
    bore_mm: Annotated[
        float | None, typer.Option(parser=length("--bore-mm"), help="Diameter of the hole for the arbor.")
    ] = None,
    hub_mm: Annotated[
        float, typer.Option(parser=length("--hub-mm"), help="Diameter of a boss or flange round the arbor.")
    ] = 0.0,
    rest_arc_deg: Annotated[
        float | None,
        typer.Option(parser=angle("--rest-arc-deg"), help="Arc free of pins, for running up and stopping."),
    ] = None,
    revolution_s: Annotated[float | None, typer.Option(help="Seconds a turn; left out, by the tempo.")] = None,
    pin_diameter_mm: Annotated[float, typer.Option(parser=length("--pin-diameter-mm"), help="The pins' wire.")] = 0.25,
    pin_height_mm: Annotated[
        float, typer.Option(parser=length("--pin-height-mm"), help="How far the pins stand out.")
    ] = 0.50,
    keep_out: Annotated[Path | None, typer.Option(help="Table of screws, openings and the like.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """A new disc from a tune: which tooth plays which note, and where its pin stands."""
    from disc.design.request import Request, carry_out, design_doubts
    from disc.design.settings import DesignSettings, missing_pitch_from
    from disc.doubts import doubt_lines, doubts_to_json

    settings = DesignSettings(
        pin_diameter_mm=pin_diameter_mm,
        pin_height_mm=pin_height_mm,
        hub_mm=hub_mm,
        missing_pitch=missing_pitch_from(missing),
    )
    request = Request(
        tune=tune,
        out=out,
        comb=comb,
        keep=keep,
        number=number,
        melody=melody,
        bars=bars,
        times=times,
        transpose=transpose,
        diameter_mm=diameter_mm,
        turns=turns,
        thickness_mm=thickness_mm,
        bore_mm=bore_mm,
        rest_arc_deg=rest_arc_deg,
        revolution_s=revolution_s,
        keep_out=keep_out,
        settings=settings,
    )
    with progress("design", quiet=as_json) as advance:
        job, _ = carry_out(request, advance)
    summary = dict(job.content.results["design"])
    doubts = design_doubts(request, job)
    if as_json:
        show_json({"job": job.folder, "plate": job.plate, "design": summary, "doubts": doubts_to_json(doubts)})
        return
    say(*doubt_lines(doubts))
    _say_result(job.folder, job.plate.diameter_mm, summary)


def _say_result(folder: Path, diameter_mm: float, found: dict[str, Any]) -> None:
    kept = found["notes"] - found["notes_by_change"]["left out"]
    say(
        f"{found['title']}: {found['pins']} pins on a disc of {diameter_mm:g} mm, one turn in "
        f"{found['revolution_s']:.1f} s, at {found['tempo_against_written']:.2f} times the tempo "
        f"{'written' if found['tempo_was_given'] else 'usual (the file gives none)'}.",
        f"Moved by {found['transposition']:+d} semitones. {kept} of {found['notes']} notes are on it; "
        f"melody {found['melody_kept']} of {found['melody']}.",
        _proof(found),
    )
    if found["melody_part"]:
        say(f"The tune is taken from part {found['melody_part']}; another: --melody PART.")
    say(*_tempo(found))
    changed = [f"{count} {what}" for what, count in found["notes_by_change"].items() if count and what != "as written"]
    reasons = [f"{count} for {what}" for what, count in found["left_out_because"].items()]
    if changed:
        say(f"Changed: {', '.join(changed)}{' (' + ', '.join(reasons) + ')' if reasons else ''}.")
    if found["turn_used"] < USED_WELL:
        say(
            f"The tune sounds for {found['turn_used']:.0%} of the turn only; --times plays it again, a shorter "
            "--revolution-s turns faster."
        )
    if found["new_pins"] != found["pins"]:
        say(
            f"{found['pins'] - found['new_pins']} old pins stay; {found['new_pins']} are set, "
            f"{found['in_old_holes']} of them in old holes."
        )
    for remark in (*found["remarks"], *found["teeth_left_out"]):
        say(f"Note: {remark}.")
    if found["old_pins_without_a_note"]:
        say(f"Old pins the tune has no note for: {', '.join(map(str, found['old_pins_without_a_note']))}.")
    if found["other_transpositions"]:
        say("", "Other keys, and what each would lose:")
        say(*(_other(other) for other in found["other_transpositions"]))
    say("", f"Written in {folder / 'out'}: disc.png, preview.wav, marked-score.pdf, tune.mid, design.json")
    say_cautions("eyes", "untouched")
    say("", f"Next: disc repin {folder}")


def _proof(found: dict[str, Any]) -> str:
    left_out = found["notes_by_change"]["left out"]
    if found["proven_optimal"]:
        words = (
            "Of all keys and tempi tried, none is worth more by the weights (proven): a melody note counts as three of "
            "the bass or eight inner ones, an octave away for less."
        )
    else:
        words = f"The time ran out: at most {found['gap']:.1%} more could be kept, by the weights of melody and bass."
    fuller = [other for other in found["other_transpositions"] if other["lost"] < left_out]
    if fuller:
        best = min(fuller, key=lambda other: other["lost"])
        words += (
            f" More notes, {left_out - best['lost']} of them, are kept with --transpose {best['transposition']}, but "
            f"melody {best['melody_kept']} of {best['melody']} and {best['folded']} notes an octave away."
        )
    return words


def _tempo(found: dict[str, Any]) -> list[str]:
    """That the tempo was changed, and why; nothing where it was not."""
    ratio = found["tempo_against_written"]
    if abs(ratio - 1.0) < TEMPO_HEARD:
        return []
    way = "faster" if ratio > 1 else "slower"
    return [f"It goes {abs(ratio - 1):.0%} {way} than {_tempo_asked(found)}, because {found['tempo_because']}."]


def _tempo_asked(found: dict[str, Any]) -> str:
    return "written" if found["tempo_was_given"] else "usual (the file gives no tempo)"


def _other(other: dict[str, Any]) -> str:
    key = f" ({other['key']})" if other.get("key") else ""
    return (
        f"  {other['transposition']:+d}{key}: {other['lost']} of {other['notes']} notes left out, "
        f"{other['folded']} an octave away, melody {other['melody_kept']} of {other['melody']}"
    )
