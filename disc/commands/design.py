"""`disc design`: a tune fitted to a comb and laid out as pins, written as a job like any other."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from disc.commands.typed.measure_options import angle, length
from disc.records import Turns
from disc.words import progress, say, show_json


def design(
    tune: Annotated[
        list[Path],
        typer.Argument(help="The tune: MIDI, MusicXML (.mxl), ABC or kern; or two, which follow each other in a turn."),
    ],
    out: Annotated[Path, typer.Option(help="The new job's folder.")],
    comb: Annotated[Path | None, typer.Option(help="Table: number,side,tip_r_mm,tip_theta_deg,pitch.")] = None,
    keep: Annotated[Path | None, typer.Option(help="An old job: its sound pins stay.")] = None,
    number: Annotated[
        list[int] | None,
        typer.Option(help="Which tune of a file that holds several; twice: of each tune, or two of one file."),
    ] = None,
    melody: Annotated[
        list[str] | None,
        typer.Option(help="The part that carries the tune: number from 1, or name; left out, it is found."),
    ] = None,
    bars: Annotated[
        list[str] | None,
        typer.Option(help="Only these bars, as played, such as 1-16; 0 is an upbeat. Of two tunes: once for each."),
    ] = None,
    times: Annotated[int, typer.Option(help="Play the tune, or the bars, this many times in a turn.")] = 1,
    transpose: Annotated[
        list[int] | None, typer.Option(help="Semitones up or down; left out, the best is found.")
    ] = None,
    missing: Annotated[str, typer.Option(help="Chromatic notes without a tooth: drop or nearest.")] = "drop",
    chords: Annotated[
        str | None,
        typer.Option(help="Chord symbols of a tune alone: after-beats (if left out), broken or none."),
    ] = None,
    ornaments: Annotated[
        str, typer.Option(help="Grace notes and ornaments' signs: played, before their notes, or none.")
    ] = "played",
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
    overlap_mm: Annotated[
        str | None,
        typer.Option(
            help="The maker's least and most overlap of pin and tip, such as 0.06-0.14: loudness, with p, f, accents."
        ),
    ] = None,
    keep_out: Annotated[Path | None, typer.Option(help="Table of screws, openings and the like.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """A new disc from a tune, or from two: which tooth plays which note, and where its pin stands."""
    from disc.commands.design_words import say_result, say_two
    from disc.design.accompany import chords_from
    from disc.design.loudness import parse_overlap
    from disc.design.ornaments import ornaments_from
    from disc.design.request import Request, carry_out, design_doubts, tunes_asked
    from disc.design.settings import DesignSettings, missing_pitch_from, prefer_from
    from disc.doubts import doubt_lines, doubts_to_json

    settings = DesignSettings(
        pin_diameter_mm=pin_diameter_mm,
        pin_height_mm=pin_height_mm,
        overlap_mm=None if overlap_mm is None else parse_overlap(overlap_mm, pin_height_mm),
        hub_mm=hub_mm,
        missing_pitch=missing_pitch_from(missing),
        prefer=prefer_from(prefer),
    )
    first, second = tunes_asked(tune, number, melody, bars, transpose)
    request = Request(
        tune=first.tune,
        out=out,
        comb=comb,
        keep=keep,
        number=first.number,
        melody=first.melody,
        bars=first.bars,
        times=times,
        transpose=first.transpose,
        second=second,
        diameter_mm=diameter_mm,
        turns=turns,
        thickness_mm=thickness_mm,
        bore_mm=bore_mm,
        rest_arc_deg=rest_arc_deg,
        revolution_s=revolution_s,
        keep_out=keep_out,
        chords=chords_from(chords),
        ornaments=ornaments_from(ornaments),
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
    tell = say_result if second is None else say_two
    tell(job.folder, job.plate.diameter_mm, summary)
