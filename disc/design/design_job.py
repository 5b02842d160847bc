"""The job folder of a planned disc: a job like any other, with pins, comb, tune, preview, marked score and pictures."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from disc.design.arranged import arranged_tune, fates, moved_words, whole_asked, whole_tune, written_key
from disc.design.known_notes import known_notes
from disc.design.loudness import overlap_of
from disc.design.marked_score import add_legend, mark_musicxml
from disc.design.picture.draw_disc import picture_png
from disc.design.plan import Design
from disc.design.stored_design import DESIGN_SETTING, StoredDesign
from disc.design.summary import summary_of, summary_of_two
from disc.design.two_tunes import TwoTunes
from disc.job import PINS_FILE, READING_FILE, Job, Stage, create_job, open_for_writing
from disc.records import Side
from disc.results import DesignResult
from disc.tables import format_pins
from disc.tune.read.read_turn import TITLES_APART
from disc.tune.settings import LATER
from disc.tune.store import stage_tune
from disc.tune.write.engrave import engrave, pdf_of_pages
from disc.tune.write.midi import midi_bytes
from disc.tune.write.musicxml import musicxml_text
from disc.tune.write.sound import render_strikes, wav_bytes
from disc.turn.said_of_notes import with_notes
from disc.turn.swing import OVERLAP
from disc.words import Advance, counted, no_progress, plain


def write_job(
    folder: Path,
    design: Design | TwoTunes,
    inputs: tuple[Path, ...] = (),
    advance: Advance = no_progress,
    alternatives: Sequence[Design] = (),
) -> Job:
    """A new job for the planned disc. alternatives: the same tune in other keys, written out to be heard and compared.

    Raises BadInput if the folder holds a job already or cannot be written.
    """
    parts = parts_of(design)
    pins = tuple(pin for part in parts for pin in part.pins)
    create_job(folder, parts[0].plate, {DESIGN_SETTING: design_settings(parts)} | settings_of_parts(parts))
    with open_for_writing(folder) as job:
        with job.step("design", inputs) as stage:
            stage.write_text(READING_FILE, format_pins(pins))
            stage.write_text(PINS_FILE, format_pins(pins))
            job.stage_comb(stage, parts[0].comb)
            _stage_music(stage, parts, advance)
            _stage_pictures(stage, parts, advance)
            others = [_stage_alternative(stage, other, n) for n, other in enumerate(alternatives, start=1)]
            made = summary_of_two(design) if isinstance(design, TwoTunes) else summary_of(design)
            summary = made | {"alternatives": others}
            stage.write_text("out/design.json", json.dumps(summary, indent=1, ensure_ascii=False) + "\n")
            job.content.keep(DesignResult(**summary))
        return job


def parts_of(design: Design | TwoTunes) -> tuple[Design, ...]:
    """The tunes of a disc, each as it was planned."""
    return design.parts if isinstance(design, TwoTunes) else (design,)


def title_of(parts: Sequence[Design]) -> str:
    """The titles of all that the disc plays."""
    return TITLES_APART.join(part.score.title for part in parts)


def _stage_music(stage: Stage, parts: Sequence[Design], advance: Advance) -> None:
    advance(0.3, "writing the tune")
    tune = replace(whole_tune(parts), title=parts[0].score.title)
    stage_tune(stage, tune)
    stage.write_bytes("out/tune.mid", midi_bytes(tune))
    advance(0.4, "sounding it")
    stage.write_bytes("out/preview.wav", _sound(parts))
    advance(0.5, "engraving it")
    pages = _stage_marked(stage, parts, "out/marked-score")
    for number, page in enumerate(pages, start=1):
        suffix = "" if number == 1 else f"-{number}"
        stage.write_text(f"out/marked-score{suffix}.svg", page)


def _sound(parts: Sequence[Design]) -> bytes:
    """The whole turn as a listener hears it."""
    strikes = sorted((strike for part in parts for strike in part.strikes), key=lambda strike: strike.turn_deg)
    return wav_bytes(render_strikes(strikes, seconds=parts[0].plate.revolution_s + 2.0))


def _stage_marked(stage: Stage, parts: Sequence[Design], name: str) -> tuple[str, ...]:
    """The tune as asked for with every change marked, as MusicXML and PDF; its pages."""
    notes = tuple(fate for part in parts for fate in fates(part))
    marked = mark_musicxml(musicxml_text(whole_asked(parts)), notes)
    stage.write_text(f"{name}.musicxml", marked)
    present = {fate.change for fate in notes}
    words = " ".join(one_line(part) for part in parts)
    pages = tuple(add_legend(page, title_of(parts), words, present) for page in engrave(marked).pages)
    stage.write_bytes(f"{name}.pdf", pdf_of_pages(pages))
    return pages


def _stage_alternative(stage: Stage, design: Design, number: int) -> dict[str, Any]:
    """Another key to hear and read beside the chosen one; what it keeps."""
    name = f"out/alternative-{number}"
    stage.write_bytes(f"{name}.wav", _sound((design,)))
    _stage_marked(stage, (design,), name)
    share = design.arrangement.share
    key = moved_words(design.score.key, share.transposition)
    return asdict(share) | {
        "lost": share.lost,
        "key": key,
        "says": one_line(design),
        "files": [f"{name}.pdf", f"{name}.wav"],
    }


def _stage_pictures(stage: Stage, parts: Sequence[Design], advance: Advance) -> None:
    advance(0.7, "drawing the disc")
    pins = tuple(pin for part in parts for pin in part.pins)
    plate = parts[0].plate
    count = {side: sum(pin.side is side for pin in pins) for side in Side}
    words = (
        f"{plate.diameter_mm:g} mm, {counted(len(pins), 'pin')} "
        f"({count[Side.UPPER]} upper, {count[Side.LOWER]} lower), "
        f"one turn in {plate.revolution_s:.0f} s"
    )
    stage.write_bytes("out/disc.png", picture_png(pins, plate, parts[0].settings.keep_out, title_of(parts), words))


def one_line(design: Design) -> str:
    """The arrangement in one line, for the foot of the score and the picture."""
    share = design.arrangement.share
    key = moved_words(design.score.key, design.transposition)
    played = len(design.score.notes) - len(design.arrangement.lost)
    return (
        f"{key[0].upper()}{key[1:]}; {played} of {len(design.score.notes)} notes on the disc; "
        f"melody {share.melody_kept} of {share.melody}."
    )


def tune_settings(design: Design) -> dict[str, Any]:
    """What `disc transcribe` should know of this tune: title, key, the quarter's length, and its metre if most of its
    bars keep to it; where the bars lie if they are all alike.
    """
    tune = arranged_tune(design)
    known: dict[str, Any] = {"title": tune.title, "key": written_key(tune.key)}
    known["quarter_deg"] = round(design.timing.deg_per_quarter, 6)
    bars, whole = design.score.bars, tune.metre.bar_quarter
    odd = sum(bar.length_quarter != whole for bar in bars[1:-1])
    # a bar that a repeat parts is no odd one: the next whole bar begins where the metre has a line
    if any(bar.length_quarter == whole and bar.start_quarter % whole for bar in bars) or 2 * odd >= max(
        1, len(bars) - 2
    ):
        return known | ({"metre": f"{tune.metre.beats}/{tune.metre.unit}"} if 2 * odd < len(bars) - 2 else {})
    first = tune.notes[0].onset_quarter
    upbeat = -first % tune.metre.bar_quarter
    return known | {"metre": f"{tune.metre.beats}/{tune.metre.unit}", "upbeat": str(upbeat / 4)}


def settings_of_parts(parts: Sequence[Design]) -> dict[str, Any]:
    """What `disc transcribe` should know of all the disc plays: of a second tune also where in the turn it begins."""
    known = tune_settings(parts[0]) | (_of_later_tunes(parts) if len(parts) > 1 else {})
    if (overlap := overlap_of(parts[0].settings)) is not None:
        known[OVERLAP] = [overlap.most_mm, overlap.stands_mm]
    return with_notes(known, known_notes(parts, known))


def _of_later_tunes(parts: Sequence[Design]) -> dict[str, Any]:
    silences = [
        (max(s.turn_deg for s in before.strikes), min(s.turn_deg for s in after.strikes))
        for before, after in pairwise(parts)
    ]
    return {
        "title": title_of(parts),
        "section_deg": [round((end + start) / 2, 2) for end, start in silences],
        LATER: [{name: words for name, words in tune_settings(part).items() if name != "title"} for part in parts[1:]],
    }


def design_settings(parts: Sequence[Design]) -> dict[str, Any]:
    """How the disc was planned, for job.json."""
    design = parts[0]
    sizes = {name: value for name, value in asdict(design.settings).items() if name != "keep_out"}
    return StoredDesign(
        title=title_of(parts),
        transposition=design.transposition,
        pin_diameter_mm=design.settings.pin_diameter_mm,
        pin_height_mm=design.settings.pin_height_mm,
        missing_pitch=design.settings.missing_pitch,
        kept=tuple(pin.id for pin in design.kept.pins) if design.kept else (),
        reused=tuple(pin.id for pin in design.kept.reused) if design.kept else (),
        sizes=plain(sizes),
        keep_out=design.settings.keep_out,
    ).model_dump(mode="json")
