"""`disc design`: a tune fitted to a comb and laid out as pins, written as a job like any other."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from disc.commands.measure_options import angle, length
from disc.records import Turns
from disc.words import counted, progress, say, say_cautions, show_json

TEMPO_HEARD = 0.02  # a change of tempo below this nobody hears; common practice, no source
# Unless said otherwise: chosen by hand, not measured.
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
    chords: Annotated[
        str | None,
        typer.Option(help="Chord symbols of a tune alone: after-beats (if left out), broken or none."),
    ] = None,
    prefer: Annotated[
        str | None,
        typer.Option(help="Rather kept: melody, harmony, bass, or range (few notes an octave away)."),
    ] = None,
    keep_bars: Annotated[
        str | None, typer.Option(help="Bars kept before all others, such as 1-8 or 1-4,13-16, as played.")
    ] = None,
    alternatives: Annotated[
        int, typer.Option(help="How many other keys are written out too, with score and sound.")
    ] = 0,
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
    from disc.design.accompany import chords_from
    from disc.design.request import Request, carry_out, design_doubts
    from disc.design.settings import DesignSettings, missing_pitch_from, prefer_from
    from disc.doubts import doubt_lines, doubts_to_json

    settings = DesignSettings(
        pin_diameter_mm=pin_diameter_mm,
        pin_height_mm=pin_height_mm,
        hub_mm=hub_mm,
        missing_pitch=missing_pitch_from(missing),
        prefer=prefer_from(prefer),
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
        chords=chords_from(chords),
        keep_bars=keep_bars,
        alternatives=alternatives,
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
        f"{found['title']}: {counted(found['pins'], 'pin')} on a disc of {diameter_mm:g} mm, one turn in "
        f"{found['revolution_s']:.1f} s, at {found['tempo_against_written']:.2f} times the tempo "
        f"{'written' if found['tempo_was_given'] else 'usual (the file gives none)'}.",
        f"In {found['key']}. {kept} of {found['notes']} notes are on it; "
        f"melody {found['melody_kept']} of {found['melody']}.",
        _proof(found),
    )
    if found.get("kept_first"):
        first = found["kept_first"]
        say(f"Before all others bars {first['bars']}: {first['kept']} of their {first['notes']} notes are on it.")
    if found["melody_part"]:
        say(f"The tune is taken from part {found['melody_part']}; another: --melody PART.")
    say(*_tempo(found))
    changed = [f"{count} {what}" for what, count in found["notes_by_change"].items() if count and what != "as written"]
    reasons = [f"{count} for {what}" for what, count in found["left_out_because"].items()]
    if changed:
        say(f"Changed: {', '.join(changed)}{' (' + ', '.join(reasons) + ')' if reasons else ''}.")
    say(*_damping(found.get("damping")))
    if found["turn_used"] < USED_WELL:
        say(
            f"The tune sounds for {found['turn_used']:.0%} of the turn only; --times plays it again, a shorter "
            "--revolution-s turns faster."
        )
    if found["new_pins"] != found["pins"]:
        say(
            f"{counted(found['pins'] - found['new_pins'], 'old pin stays', 'old pins stay')}; "
            f"{counted(found['new_pins'], 'is set', 'are set')}, "
            f"{found['in_old_holes']} of them in old holes."
        )
    for remark in (*found["remarks"], *found["teeth_left_out"]):
        say(f"Note: {remark}.")
    if found["old_pins_without_a_note"]:
        say(f"Old pins the tune has no note for: {', '.join(map(str, found['old_pins_without_a_note']))}.")
    if found.get("alternatives"):
        say("", "To compare, in other keys:")
        for other in found["alternatives"]:
            say(f"  {other['says']} {_moved(other)}: {', '.join(other['files'])}")
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
            f"Of all keys and tempi tried, none is worth more by the weights (proven): {_weights(found.get('prefer'))}."
        )
    else:
        words = f"The time ran out: at most {found['gap']:.1%} more could be kept, by the weights of melody and bass."
    fuller = [other for other in found["other_transpositions"] if other["lost"] < left_out]
    if fuller:
        best = min(fuller, key=lambda other: other["lost"])
        words += (
            f" {left_out - best['lost']} notes more are kept in {best['key']} (--transpose {best['transposition']}), "
            f"but melody {best['melody_kept']} of {best['melody']} and {best['folded']} notes an octave away."
        )
    return words


def _weights(prefer: str | None) -> str:
    """What the weights say, in words: those of disc/design/arrange/weights.py."""
    return {
        None: "a melody note counts as three of the bass or eight inner ones, an octave away for less",
        "melody": "a melody note counts as seven of the bass or sixteen inner ones, a broken line costs double",
        "harmony": "a melody note counts as two of the bass or two and a half inner ones",
        "bass": "three melody notes count as five of the bass",
        "range": "a note an octave away counts little more than none",
    }[prefer]


def _tempo(found: dict[str, Any]) -> list[str]:
    """That the tempo was changed, and why; nothing where it was not."""
    ratio = found["tempo_against_written"]
    if abs(ratio - 1.0) < TEMPO_HEARD:
        return []
    way = "faster" if ratio > 1 else "slower"
    return [f"It goes {abs(ratio - 1):.0%} {way} than {_tempo_asked(found)}, because {found['tempo_because']}."]


def _damping(found: dict[str, Any] | None) -> list[str]:
    """How soon a tooth is struck again, against what its damper needs."""
    if found is None:
        return []
    figure = f"tooth {found['tooth']} after {found['again_s']:.2f} s, where its damper needs {found['needs_s']:.2f} s"
    if found["too_soon"]:
        early = counted(found["too_soon"], "old pin follows", "old pins follow")
        return [f"Dampers: {early} too soon on a tooth ({figure})."]
    return [f"Dampers: no tooth is struck again before its damper can have touched; soonest {figure}."]


def _tempo_asked(found: dict[str, Any]) -> str:
    return "written" if found["tempo_was_given"] else "usual (the file gives no tempo)"


def _other(other: dict[str, Any]) -> str:
    return (
        f"  {other['key']} (--transpose {other['transposition']}): {other['lost']} of {other['notes']} notes left out, "
        f"{other['folded']} an octave away, melody {other['melody_kept']} of {other['melody']}"
    )


def _moved(other: dict[str, Any]) -> str:
    return f"{other['folded']} an octave away (--transpose {other['transposition']})"
