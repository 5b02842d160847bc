"""Transcribing a job: pins and comb to strikes, strikes to the tune, the tune to everything in out/."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from disc.comb.comb_job import stage_teeth
from disc.comb.strikes import strikes_from_pins
from disc.errors import BadInput
from disc.frame import FULL_TURN_DEG
from disc.job import COMB_FILE, OUT_FOLDER, PINS_FILE, Job, Stage
from disc.records import Strike
from disc.tables import Column, format_table
from disc.tune.read.read_tune import TuneReading, read_tune
from disc.tune.settings import TuneSettings, key_name, parse_key, parse_length, parse_metre
from disc.tune.store import stage_tune
from disc.tune.write.engrave import engrave, pdf_of_pages
from disc.tune.write.layout import lay_out
from disc.tune.write.midi import midi_bytes
from disc.tune.write.musicxml import musicxml_of_page
from disc.tune.write.sound import render_strikes, wav_bytes
from disc.turn.estimates import with_estimates

STRIKE_COLUMNS = (
    Column("onset_s", float, low=0.0),
    Column("pitch", float, required=False, digits=3),
    Column("tooth", int),
    Column("pin", int, required=False),
    Column("turn_fraction", float, low=0.0, high=1.0, digits=6),
)
SETTING_NAMES = ("metre", "key", "upbeat", "beats", "quarter_deg", "title", "order", "tip_limit")


@dataclass(frozen=True, slots=True)
class StrikeRow:
    """A line of out/strikes.csv."""

    onset_s: float
    pitch: float | None
    tooth: int
    pin: int | None
    turn_fraction: float


@dataclass(frozen=True, slots=True)
class Transcription:
    """What `disc transcribe` made of a job."""

    reading: TuneReading
    strikes: tuple[Strike, ...]
    files: tuple[str, ...]


def no_step(done: float, doing: str = "") -> None:
    """For callers that do not watch."""


def transcribe_job(
    job: Job, given: dict[str, Any] | None = None, advance: Callable[[float, str], None] = no_step
) -> Transcription:
    """Read the tune of a job opened for writing, and store all that comes of it as one step.

    given: settings to change, by name (metre "6/8", key "D", upbeat "1/8", beats 64, title); "auto" forgets one.
    """
    merged = merge_settings(job.settings, given or {})
    settings = settings_from(merged)
    comb = job.comb()
    inputs = (job.path(PINS_FILE), job.path(COMB_FILE))
    with job.step("transcribe", inputs) as stage:
        for name in SETTING_NAMES:
            job.settings.pop(name, None)
        job.settings.update(merged)
        pins = job.pins()
        if any(pin.tooth is None for pin in pins):
            pins = stage_teeth(job, stage, comb).pins
        strikes, estimated = with_estimates(strikes_from_pins(pins, comb, job.plate), comb, job.plate, merged)
        if "guessed_pitches" in estimated:
            settings = replace(settings, title=f"{settings.title} (pitches guessed)".strip())
        advance(0.1, "reading the tune")
        reading = read_tune(strikes, job.plate, settings)
        job.content.results["tune"] = summary(reading, strikes) | estimated
        _stage_all(job.folder, stage, reading, strikes, advance)
    return Transcription(reading, strikes, tuple(name for name in stage.names if name.startswith("out/")))


def merge_settings(old: dict[str, Any], given: dict[str, Any]) -> dict[str, Any]:
    """The settings of this room in force: those stored with the given ones over them."""
    merged = {name: old[name] for name in SETTING_NAMES if name in old}
    for name, value in given.items():
        if value is None:
            continue
        if value == "auto":
            merged.pop(name, None)
        else:
            merged[name] = value
    return merged


def settings_from(stored: dict[str, Any]) -> TuneSettings:
    """Settings as stored (words) to the record. Raises BadInput for words that cannot be read."""
    beats = stored.get("beats")
    try:
        number = None if beats is None else int(beats)
    except (TypeError, ValueError):
        raise BadInput(f"the number of beats {beats!r} cannot be read. Write a whole number, such as 64.") from None
    if number is not None and number < 4:
        raise BadInput(f"{number} beats are too few for a turn. Count from the first note to the end of the last bar.")
    return TuneSettings(
        metre=parse_metre(stored["metre"]) if "metre" in stored else None,
        key=parse_key(stored["key"]) if "key" in stored else None,
        upbeat=parse_length(stored["upbeat"]) if "upbeat" in stored else None,
        beats=number,
        quarter_deg=_quarter_deg(stored.get("quarter_deg")),
        title=str(stored.get("title", "")),
    )


def _quarter_deg(stored: object) -> float | None:
    """Degrees of turn for a quarter, as stored or typed. Raises BadInput."""
    if stored is None:
        return None
    try:
        degrees = float(str(stored))
    except ValueError:
        degrees = math.nan
    if not 0 < degrees < FULL_TURN_DEG:  # nan fails as well
        raise BadInput(f"the turn for a quarter, {stored!r}, cannot be read. Write it in degrees, such as 4.5.")
    return degrees


def summary(reading: TuneReading, strikes: Sequence[Strike]) -> dict[str, Any]:
    """What goes into job.json: the reading and the runner-up readings with why they lost."""
    tune = reading.tune
    voices = [note.voice.value for note in tune.notes]
    return {
        "metre": f"{tune.metre.beats}/{tune.metre.unit}",
        "metre_probability": round(reading.metre_probability, 3),
        "key": key_name(tune.key),
        "key_probability": round(reading.key_probability, 3),
        "upbeat_quarter": str(tune.upbeat_quarter),
        "quarter_s": tune.quarter_s,
        "start_s": tune.start_s,
        "setting_error_s": round(reading.sigma_s, 4),
        "strikes": len(strikes),
        "melody_notes": voices.count("melody"),
        "accompaniment_notes": voices.count("accompaniment"),
        "doubtful_pins": sorted(pin for note in tune.notes if note.doubtful for pin in note.pins),
        "repeats": [asdict(repeat) for repeat in tune.repeats],
        "alternatives": [asdict(other) for other in reading.alternatives],
    }


def _stage_all(
    folder: Path,
    stage: Stage,
    reading: TuneReading,
    strikes: Sequence[Strike],
    advance: Callable[[float, str], None],
) -> None:
    tune = reading.tune
    stage.write_text("out/strikes.csv", format_table(STRIKE_COLUMNS, map(_row, strikes)))
    stage_tune(stage, tune)
    stage.write_bytes("out/tune.mid", midi_bytes(tune))
    advance(0.3, "writing the score")
    text = musicxml_of_page(lay_out(tune))
    stage.write_text("out/tune.musicxml", text)
    advance(0.5, "engraving")
    pages = engrave(text, tune.title).pages
    for number, page in enumerate(pages, start=1):
        stage.write_text("out/tune.svg" if number == 1 else f"out/tune-{number}.svg", page)
    for name in old_pages(folder, len(pages)):
        stage.remove(name)
    stage.write_bytes("out/tune.pdf", pdf_of_pages(pages))
    advance(0.8, "making the sound")
    stage.write_bytes("out/tune.wav", wav_bytes(render_strikes(strikes)))


def old_pages(folder: Path, count: int) -> list[str]:
    """Pages in out/ beyond the first `count`: of a longer score written before."""
    found = sorted((folder / OUT_FOLDER).glob("tune-*.svg"))
    numbered = ((path.name, re.fullmatch(r"tune-(\d+)\.svg", path.name)) for path in found)
    return [f"{OUT_FOLDER}/{name}" for name, match in numbered if match and int(match[1]) > count]


def _row(strike: Strike) -> StrikeRow:
    return StrikeRow(strike.onset_s, strike.pitch, strike.tooth, strike.pin_id, strike.turn_deg / 360.0)
