"""The job folder of a planned disc: a job like any other, with pins, comb, tune, preview, marked score and pictures."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from disc.check.mechanics.clearance import track_gaps
from disc.design.arrange.task import is_kept_first
from disc.design.arranged import NoteChange, arranged_tune, asked_tune, fates, moved_words, written_key
from disc.design.marked_score import add_legend, mark_musicxml
from disc.design.picture.draw_disc import picture_png
from disc.design.plan import Design
from disc.design.stored_design import DESIGN_SETTING, StoredDesign
from disc.frame import FULL_TURN_DEG
from disc.job import PINS_FILE, READING_FILE, Job, Stage, create_job, open_for_writing
from disc.records import Side
from disc.results import DesignResult
from disc.tables import format_pins
from disc.tune.score.records import ScoreIn
from disc.tune.store import stage_tune
from disc.tune.write.engrave import engrave, pdf_of_pages
from disc.tune.write.midi import midi_bytes
from disc.tune.write.musicxml import musicxml_text
from disc.tune.write.sound import render_strikes, wav_bytes
from disc.words import Advance, counted, no_progress, plain

ROUNDING_S = 1e-5  # the pin table keeps 0.0001 degrees, which is some microseconds of a turn


def write_job(
    folder: Path,
    design: Design,
    inputs: tuple[Path, ...] = (),
    advance: Advance = no_progress,
    alternatives: Sequence[Design] = (),
) -> Job:
    """A new job for the planned disc. alternatives: the same tune in other keys, written out to be heard and compared.

    Raises BadInput if the folder holds a job already or cannot be written.
    """
    create_job(folder, design.plate, {DESIGN_SETTING: design_settings(design)} | tune_settings(design))
    with open_for_writing(folder) as job:
        with job.step("design", inputs) as stage:
            stage.write_text(READING_FILE, format_pins(design.pins))
            stage.write_text(PINS_FILE, format_pins(design.pins))
            job.stage_comb(stage, design.comb)
            _stage_music(stage, design, advance)
            _stage_pictures(stage, design, advance)
            others = [_stage_alternative(stage, other, n) for n, other in enumerate(alternatives, start=1)]
            summary = summary_of(design) | {"alternatives": others}
            stage.write_text("out/design.json", json.dumps(summary, indent=1, ensure_ascii=False) + "\n")
            job.content.keep(DesignResult(**summary))
        return job


def _stage_music(stage: Stage, design: Design, advance: Advance) -> None:
    advance(0.3, "writing the tune")
    tune = arranged_tune(design)
    stage_tune(stage, tune)
    stage.write_bytes("out/tune.mid", midi_bytes(tune))
    advance(0.4, "sounding it")
    sound = render_strikes(design.strikes, seconds=design.plate.revolution_s + 2.0)
    stage.write_bytes("out/preview.wav", wav_bytes(sound))
    advance(0.5, "engraving it")
    pages = _stage_marked(stage, design, "out/marked-score")
    for number, page in enumerate(pages, start=1):
        suffix = "" if number == 1 else f"-{number}"
        stage.write_text(f"out/marked-score{suffix}.svg", page)


def _stage_marked(stage: Stage, design: Design, name: str) -> tuple[str, ...]:
    """The tune as asked for with every change marked, as MusicXML and PDF; its pages."""
    notes = fates(design)
    marked = mark_musicxml(musicxml_text(asked_tune(design)), notes)
    stage.write_text(f"{name}.musicxml", marked)
    present = {fate.change for fate in notes}
    pages = tuple(add_legend(page, design.score.title, one_line(design), present) for page in engrave(marked).pages)
    stage.write_bytes(f"{name}.pdf", pdf_of_pages(pages))
    return pages


def _stage_alternative(stage: Stage, design: Design, number: int) -> dict[str, Any]:
    """Another key to hear and read beside the chosen one; what it keeps."""
    name = f"out/alternative-{number}"
    sound = render_strikes(design.strikes, seconds=design.plate.revolution_s + 2.0)
    stage.write_bytes(f"{name}.wav", wav_bytes(sound))
    _stage_marked(stage, design, name)
    share = design.arrangement.share
    key = _key_words(design.score, share.transposition)
    return asdict(share) | {
        "lost": share.lost,
        "key": key,
        "says": one_line(design),
        "files": [f"{name}.pdf", f"{name}.wav"],
    }


def _stage_pictures(stage: Stage, design: Design, advance: Advance) -> None:
    advance(0.7, "drawing the disc")
    count = {side: sum(pin.side is side for pin in design.pins) for side in Side}
    words = (
        f"{design.plate.diameter_mm:g} mm, {counted(len(design.pins), 'pin')} "
        f"({count[Side.UPPER]} upper, {count[Side.LOWER]} lower), "
        f"one turn in {design.plate.revolution_s:.0f} s"
    )
    picture = picture_png(design.pins, design.plate, design.settings.keep_out, design.score.title, words)
    stage.write_bytes("out/disc.png", picture)


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
    bars = design.score.bars
    odd = sum(bar.length_quarter != tune.metre.bar_quarter for bar in bars[1:-1])
    if odd:
        return known | ({"metre": f"{tune.metre.beats}/{tune.metre.unit}"} if 2 * odd < len(bars) - 2 else {})
    first = tune.notes[0].onset_quarter
    upbeat = -first % tune.metre.bar_quarter
    return known | {"metre": f"{tune.metre.beats}/{tune.metre.unit}", "upbeat": str(upbeat / 4)}


def design_settings(design: Design) -> dict[str, Any]:
    """How the disc was planned, for job.json."""
    sizes = {name: value for name, value in asdict(design.settings).items() if name != "keep_out"}
    return StoredDesign(
        title=design.score.title,
        transposition=design.transposition,
        pin_diameter_mm=design.settings.pin_diameter_mm,
        pin_height_mm=design.settings.pin_height_mm,
        missing_pitch=design.settings.missing_pitch,
        kept=tuple(pin.id for pin in design.kept.pins) if design.kept else (),
        reused=tuple(pin.id for pin in design.kept.reused) if design.kept else (),
        sizes=plain(sizes),
        keep_out=design.settings.keep_out,
    ).model_dump(mode="json")


def _tempo_because(design: Design) -> str:
    """Why the tempo is not the written one."""
    settings, turn_s = design.settings, design.timing.revolution_s
    if design.kept is not None:
        return "the old disc's pins set the tempo"
    if abs(turn_s - settings.shortest_turn_s) < 0.01:
        return f"a turn of a movement takes {turn_s:.0f} s at least, and the tune is shorter; --times 2 plays it twice"
    if abs(turn_s - settings.longest_turn_s) < 0.01:
        return f"a turn of a movement takes {turn_s:.0f} s at most, and the tune is longer"
    if 0.95 <= 1 / design.timing.tempo_ratio <= 1.0:
        return "pins of the two faces fall clear of each other so"
    return f"the tune is fitted to a turn of {turn_s:.1f} s"


def _key_words(score: ScoreIn, semitones: int) -> str:
    """The key a transposition leads to and how far it is."""
    return moved_words(score.key, semitones)


def _kept_first(design: Design) -> dict[str, Any] | None:
    """How much is kept of the bars that go before all others; None where none do."""
    settings, score = design.settings, design.score
    if not settings.keep_bars:
        return None
    lost = {i for i, _ in design.arrangement.lost}
    inside = [i for i, note in enumerate(score.notes) if is_kept_first(score, note.onset_quarter, settings)]
    words = ", ".join(f"{a}-{b}" if a != b else str(a) for a, b in settings.keep_bars)
    return {"bars": words, "notes": len(inside), "kept": sum(i not in lost for i in inside)}


def damping_of(design: Design) -> dict[str, Any] | None:
    """The tooth struck again soonest against what its damper needs, seconds; None where no tooth is struck twice.

    too_soon: how many times a tooth is struck again before its damper can have touched: only by pins of an old disc.
    """
    gaps = track_gaps(design.pins, design.comb, design.plate)
    if not gaps:
        return None
    nearest = min(gaps, key=lambda gap: gap.gap_s / gap.need_s)
    return {
        "tooth": nearest.first.tooth,
        "again_s": round(nearest.gap_s, 3),
        "needs_s": round(nearest.need_s, 3),
        "too_soon": sum(gap.gap_s < gap.need_s - ROUNDING_S for gap in gaps),
    }


def _part_words(score: ScoreIn) -> str | None:
    """The part taken for the tune, as a person may name it; None where the file has but one."""
    number = score.melody_part
    if number is None:
        return None
    name = score.parts[number].name if number < len(score.parts) else ""
    return f"{number + 1} ({name})" if name else str(number + 1)


def summary_of(design: Design) -> dict[str, Any]:
    """What was planned and what it costs, as plain JSON."""
    found, timing = design.arrangement, design.timing
    notes = fates(design)
    counts: dict[str, int] = {change.value: sum(f.change is change for f in notes) for change in NoteChange}
    reasons: dict[str, int] = {}
    for fate in notes:
        if fate.why is not None:
            reasons[fate.why.value] = reasons.get(fate.why.value, 0) + 1
    return plain(
        {
            "title": design.score.title,
            "remarks": design.score.remarks,
            "melody_part": _part_words(design.score),
            "notes": len(notes),
            "pins": len(design.pins),
            "new_pins": len(design.pins) - (len(design.kept.pins) if design.kept else 0),
            "in_old_holes": len(design.kept.reused) if design.kept else 0,
            "melody": found.share.melody,
            "melody_kept": found.share.melody_kept,
            "notes_by_change": counts,
            "left_out_because": reasons,
            "transposition": found.transposition,
            "key": _key_words(design.score, found.transposition),
            "prefer": design.settings.prefer,
            "kept_first": _kept_first(design),
            "damping": damping_of(design),
            "proven_optimal": found.proven,
            "gap": round(found.gap, 4),
            "value": found.value,
            "revolution_s": round(timing.revolution_s, 3),
            "quarter_s": round(timing.quarter_s, 5),
            "tempo_against_written": round(timing.tempo_ratio, 3),
            "tempo_was_given": timing.tempo_given,
            "tempo_because": _tempo_because(design),
            "turn_used": round(timing.span_quarter * timing.deg_per_quarter / FULL_TURN_DEG, 3),
            "comb_offset_cents": round(100 * design.playing.offset, 1),
            "teeth_left_out": design.playing.left_out,
            "other_transpositions": [
                asdict(share) | {"lost": share.lost, "key": _key_words(design.score, share.transposition)}
                for share in found.others
            ],
            "old_pins_without_a_note": design.kept.unexplained if design.kept else [],
        }
    )
