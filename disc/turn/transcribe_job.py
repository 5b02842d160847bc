"""Transcribing a job: pins and comb to strikes, strikes to the tune, the tune to everything in out/."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from disc.comb.comb_job import stage_teeth
from disc.errors import BadInput, MissingPart
from disc.job import COMB_FILE, OUT_FOLDER, PINS_FILE, Job, Stage
from disc.job.made_from import TUNE
from disc.job.stale import stale_doubts
from disc.records import Doubt, Section, Strike, Tune
from disc.results import IdentifyResult, TuneResult
from disc.tables import Column, format_table
from disc.tune.read.read_tune import TuneReading
from disc.tune.read.read_turn import TITLES_APART
from disc.tune.read.sections.strains import differing_notes
from disc.tune.settings import key_name
from disc.tune.store import stage_tune
from disc.tune.write.engrave import engrave, pdf_of_pages
from disc.tune.write.layout import lay_out
from disc.tune.write.midi import midi_bytes
from disc.tune.write.musicxml import musicxml_of_page
from disc.tune.write.sound import render_strikes, wav_bytes
from disc.turn.as_designed import tune_as_designed
from disc.turn.one_turn import OneTurn, with_direction_weighed, with_known_tune, with_tune
from disc.turn.said_of_bars import by_place
from disc.turn.settings import ACCEPTED_SETTING, SETTING_NAMES, TurnSettings, merge_settings, turn_settings
from disc.turn.turn_of_job import turn_of_pins
from disc.typeset import PRINTED_ON, check_paper

PAPER_SETTING = "score_paper"
TEETH_FILE = "out/tune-teeth.pdf"  # the print with tooth numbers, where it is asked for
# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
SURELY = 0.9  # of a tune that is one of several on a disc, to be named in the score
# The file's columns and their bounds, by definition.
STRIKE_COLUMNS = (
    Column("onset_s", float, low=0.0),
    Column("pitch", float, required=False, digits=3),
    Column("tooth", int),
    Column("pin", int, required=False),
    Column("turn_fraction", float, low=0.0, high=1.0, digits=6),
)


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

    turn: OneTurn
    reading: TuneReading
    files: tuple[str, ...]
    doubts: tuple[Doubt, ...] = ()

    @property
    def strikes(self) -> tuple[Strike, ...]:
        """The strikes that the tune was read from."""
        return self.turn.strikes


def no_step(done: float, doing: str = "") -> None:
    """For callers that do not watch."""


def transcribe_job(
    job: Job,
    given: dict[str, Any] | None = None,
    advance: Callable[[float, str], None] = no_step,
    teeth: bool = False,
    paper: str | None = None,
) -> Transcription:
    """Read the tune of a job opened for writing, and store all that comes of it as one step.

    given: settings to change, by name (metre "6/8", or "2/4@17" for a bar and what follows; key "D", upbeat "1/8",
    beats 64, title, section_at "17", move_bar "17 1", note ("41", "held")); "auto" forgets one. teeth: a second
    print, with the number of each note's tooth under it. paper: a4 or letter; None: as the last time, at first a4.
    """
    merged = merge_settings(job.settings, by_place(job, given or {}))
    settings = with_title(turn_settings(merged), job)
    comb = job.comb()
    inputs = (job.path(PINS_FILE), job.path(COMB_FILE))
    with job.step("transcribe", inputs) as stage:
        for name in SETTING_NAMES:
            job.settings.pop(name, None)
        job.settings.update(merged)
        if paper is not None:
            job.settings[PAPER_SETTING] = check_paper(paper)
        pins = job.pins()
        if any(pin.tooth is None for pin in pins):
            pins = stage_teeth(job, stage, comb)
        advance(0.1, "reading the tune")
        strikes = turn_of_pins(job, pins, comb, settings, read_tune=False)
        known = tune_as_designed(job, strikes.strikes, given or {}, settings.tune.title)
        if known is not None:
            turn = with_known_tune(strikes, known)
        else:
            turn = with_direction_weighed(with_tune(strikes, settings), settings)
        if turn.reading is None:
            raise BadInput(turn.why)
        if not turn.pitched:
            raise MissingPart(
                f"{turn.why.partition(',  so')[0].partition(', so')[0]}. Fill in the column pitch (disc comb --table, "
                "or --plucked), or name the teeth from low to high for a guess: disc transcribe --order 12,11,10"
            )
        found = summary(turn.reading, turn.strikes) | _estimated(turn, settings)
        job.content.keep(TuneResult(**found))
        _stage_all(job, stage, turn.reading, turn.strikes, advance)
        _stage_teeth(job, stage, turn.reading.tune, teeth)
    files = tuple(name for name in stage.names if name.startswith("out/"))
    return Transcription(turn, turn.reading, files, (*stale_doubts(job, without=(TUNE,)), *turn.doubts))


def _estimated(turn: OneTurn, settings: TurnSettings) -> dict[str, Any]:
    """What had to be estimated, for job.json."""
    made: dict[str, Any] = {}
    if turn.tips is not None:
        made["estimated_tips"] = asdict(turn.tips) | {"limit_deg": settings.tip_limit_deg}
    if turn.guess is not None:
        made["guessed_pitches"] = asdict(turn.guess)
    if turn.between is not None:
        made["pitches_between"] = {str(tooth): pitch for tooth, pitch in turn.between.items()}
    return made


def summary(reading: TuneReading, strikes: Sequence[Strike]) -> dict[str, Any]:
    """What goes into job.json: the reading and the runner-up readings with why they lost."""
    tune = reading.tune
    voices = [note.voice.value for note in tune.notes]
    return {
        "metre": f"{tune.metre.beats}/{tune.metre.unit}",
        "metre_probability": _rounded(reading.metre_probability),
        "key": key_name(tune.key),
        "key_probability": _rounded(reading.key_probability),
        "upbeat_quarter": str(tune.upbeat_quarter),
        "quarter_s": tune.quarter_s,
        "start_s": tune.start_s,
        "setting_error_s": round(reading.sigma_s, 4),
        "strikes": len(strikes),
        "melody_notes": voices.count("melody"),
        "accompaniment_notes": voices.count("accompaniment"),
        "doubtful_pins": sorted(pin for note in tune.notes if note.doubtful for pin in note.pins),
        "repeats": [asdict(repeat) for repeat in tune.repeats],
        "in_one_pass_only": [
            {"bar": bar, "pass": time, "pitch": note.pitch, "pins": list(note.pins)}
            for bar, note, time in differing_notes(tune)
        ],
        "held_bars": [tune.bar_of(quarter)[0] for quarter in tune.held],
        "slowing_bar": None if tune.slowing_quarter is None else tune.bar_of(tune.slowing_quarter)[0],
        "sections": [section_words(part) for part in tune.sections],
        "drift_deg": round(reading.drift_deg, 2),
        "drift_bar": reading.drift_bar,
        "alternatives": [asdict(other) for other in reading.alternatives],
    }


def section_words(part: Section) -> dict[str, Any]:
    """A later section for job.json: the bar in which it begins, and what is its own."""
    return {
        "bar": part.bar,
        "metre": f"{part.metre.beats}/{part.metre.unit}",
        "key": key_name(part.key),
        "title": part.title,
        "own_tune": part.titled,
    }


def with_title(settings: TurnSettings, job: Job) -> TurnSettings:
    """The settings with a title: as given, else that of the tune a person accepted as the disc's.

    Where the last search found several tunes, one after another, each is named that is surely known or accepted.
    """
    if settings.tune.title:
        return settings
    accepted = job.settings.get(ACCEPTED_SETTING)
    accepted = accepted if isinstance(accepted, dict) else {}
    title = accepted.get("title") if isinstance(accepted.get("title"), str) else ""
    found = job.content.result(IdentifyResult)
    parts = [] if found is None else found.parts
    its_own = [(part.file, part.number) == (accepted.get("file"), accepted.get("number")) for part in parts]
    if len(parts) > 1 and (not title or any(its_own)):
        surely = [own or (part.probability or 0.0) >= SURELY for part, own in zip(parts, its_own, strict=True)]
        titles = [part.title if sure else "" for part, sure in zip(parts, surely, strict=True)]
        title = TITLES_APART.join(titles) if any(titles) else ""
    return replace(settings, tune=replace(settings.tune, title=title)) if title else settings


def subtitle(job: Job) -> str:
    """Under the title: whose tune it is, and the day on which the disc was read; no words: they need a language."""
    read = [run.at[:10] for run in job.content.runs if run.command.split()[:1] == ["read"]]
    return f"{job.folder.resolve().name}{f', {read[-1]}' if read else ''}"


def _stage_all(
    job: Job,
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
    paper = paper_of(job)
    pages = engrave(text, tune.title, subtitle=subtitle(job), paper=paper).pages
    for number, page in enumerate(pages, start=1):
        stage.write_text("out/tune.svg" if number == 1 else f"out/tune-{number}.svg", page)
    for name in old_pages(job.folder, len(pages)):
        stage.remove(name)
    stage.write_bytes("out/tune.pdf", pdf_of_pages(pages, paper))
    advance(0.8, "making the sound")
    stage.write_bytes("out/tune.wav", wav_bytes(render_strikes(strikes)))


def _stage_teeth(job: Job, stage: Stage, tune: Tune, wanted: bool) -> None:
    """The print with tooth numbers, or that of an earlier reading away."""
    if wanted:
        text = musicxml_of_page(lay_out(tune), teeth=True)
        paper = paper_of(job)
        pages = engrave(text, tune.title, subtitle=subtitle(job), paper=paper).pages
        stage.write_bytes(TEETH_FILE, pdf_of_pages(pages, paper))
    elif job.has(TEETH_FILE):
        stage.remove(TEETH_FILE)


def paper_of(job: Job) -> str:
    """The paper of the job's score; A4 where none was chosen, or what stands there is no paper."""
    kept = job.settings.get(PAPER_SETTING)
    return kept if kept in PRINTED_ON else PRINTED_ON[0]


def old_pages(folder: Path, count: int) -> list[str]:
    """Pages in out/ beyond the first `count`: of a longer score written before."""
    found = sorted((folder / OUT_FOLDER).glob("tune-*.svg"))
    numbered = ((path.name, re.fullmatch(r"tune-(\d+)\.svg", path.name)) for path in found)
    return [f"{OUT_FOLDER}/{name}" for name, match in numbered if match and int(match[1]) > count]


def _row(strike: Strike) -> StrikeRow:
    return StrikeRow(strike.onset_s, strike.pitch, strike.tooth, strike.pin_id, strike.turn_deg / 360.0)


def _rounded(probability: float | None) -> float | None:
    return None if probability is None else round(probability, 3)
