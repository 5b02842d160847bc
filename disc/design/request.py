"""What `disc design` was asked for, carried out: files read, the disc planned, the job written."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

from disc.comb.assign import assign_teeth
from disc.design.accompany import Chords, accompanied
from disc.design.alternatives import check_alternatives, in_other_keys
from disc.design.design_job import write_job
from disc.design.keep_out import read_keep_out
from disc.design.loudness import with_signs_counted
from disc.design.names import titled
from disc.design.ornaments import Ornaments, with_ornaments
from disc.design.plan import Design, cut_to_bars, default_plate, plan_design, plan_partial
from disc.design.settings import DesignSettings
from disc.design.two_tunes import TwoTunes, plan_two
from disc.errors import BadInput
from disc.job import COMB_FILE, JOB_FILE, PINS_FILE, Job, open_job
from disc.records import USUAL, Comb, Doubt, Pin, Plate, Turns
from disc.tables import read_comb
from disc.tune.score.read_score import read_score
from disc.tune.score.records import ScoreIn
from disc.turn.turn_of_job import all_doubts
from disc.words import Advance, counted, no_progress

# Unless said otherwise: chosen by hand, not measured.
Wish = TypeVar("Wish", int, str)
MOST_TIMES = 8  # a tune of one phrase; more would be a bell
TUNES_NAMED = 4  # of a file with several tunes, how many are named in the message


@dataclass(frozen=True, slots=True)
class TuneAsked:
    """One of the tunes of a disc, as asked for; None: not given."""

    tune: Path
    number: int | None = None
    melody: str | None = None
    bars: str | None = None
    transpose: int | None = None


@dataclass(frozen=True, slots=True)
class Request:
    """The words of a command. None: not given. keep: the job of an old disc whose sound pins stay.

    second: a tune that follows on the same disc; what is said of number, melody, bars and key is then the first's.
    keep_bars: "1-8,17": kept before all others. alternatives: how many other keys are written out to hear.
    """

    tune: Path
    out: Path
    comb: Path | None = None
    keep: Path | None = None
    number: int | None = None
    melody: str | None = None
    bars: str | None = None
    times: int = 1
    transpose: int | None = None
    diameter_mm: float | None = None
    turns: Turns | None = None
    thickness_mm: float | None = None
    bore_mm: float | None = None
    rest_arc_deg: float | None = None
    revolution_s: float | None = None
    keep_out: Path | None = None
    chords: Chords | None = None
    keep_bars: str | None = None
    alternatives: int = 0
    second: TuneAsked | None = None
    ornaments: Ornaments = Ornaments.PLAYED
    settings: DesignSettings = field(default_factory=DesignSettings)


def tunes_asked(
    files: Sequence[Path],
    numbers: Sequence[int] | None = None,
    melodies: Sequence[str] | None = None,
    bars: Sequence[str] | None = None,
    keys: Sequence[int] | None = None,
) -> tuple[TuneAsked, TuneAsked | None]:
    """What was asked of the first tune and of a second: two files, or two numbers of one. Said once, an option holds
    for both. Raises BadInput.
    """
    two = len(files) == 2 or (len(files) == 1 and len(numbers or ()) == 2)
    count = 2 if two else 1
    if len(files) > count:
        raise BadInput(f"a disc takes one tune or two, not {len(files)}. Give fewer files.")
    said = {"--number": numbers, "--melody": melodies, "--bars": bars, "--transpose": keys}
    for option, values in said.items():
        if values and len(values) > count:
            raise BadInput(f"{option} was given {len(values)} times for {counted(count, 'tune')}. Give it once a tune.")
    first, second = (
        TuneAsked(files[min(i, len(files) - 1)], _of(numbers, i), _of(melodies, i), _of(bars, i), _of(keys, i))
        for i in (0, 1)
    )
    return first, second if two else None


def _of(values: Sequence[Wish] | None, place: int) -> Wish | None:
    """The value said of one tune."""
    return values[min(place, len(values) - 1)] if values else None


def carry_out(request: Request, advance: Advance = no_progress) -> tuple[Job, Design | TwoTunes]:
    """Plan the disc and write its job. Raises BadInput with one line; then nothing was written."""
    if (request.out / JOB_FILE).exists():
        raise BadInput(f"{request.out}: there is a job here already. Choose another folder with --out.")
    check_alternatives(request.alternatives, request.keep is not None or request.transpose is not None)
    if request.keep is not None and request.settings.overlap_mm is not None:
        raise BadInput(
            "how far the old disc's pins overlap is not known, so new ones cannot be set by it. Leave out --overlap-mm."
        )
    if request.second is not None:
        return _two_carried_out(request, request.second, advance)
    score = _tune_asked(request)
    if not 1 <= request.times <= MOST_TIMES:
        raise BadInput(f"a tune can be played 1 to {MOST_TIMES} times in a turn, not {request.times}.")
    score = score.played_times(request.times)
    settings = replace(_with_zones(request), keep_bars=_bars_to_keep(request.keep_bars, score))
    advance(0.1, "arranging")
    inputs = _files_of(request)
    if request.keep is not None:
        plate, comb, old_pins, more = _old_disc(request)
        design = plan_partial(score, comb, plate, settings, old_pins, advance)
        inputs += more
    else:
        comb = _comb_asked(request)
        plate = plate_for(request, comb, settings)
        design = plan_design(score, comb, plate, settings, request.revolution_s, request.transpose, advance)
    others = in_other_keys(design, request.alternatives, request.revolution_s, advance)
    return write_job(request.out, design, tuple(inputs), advance, others), design


def _two_carried_out(request: Request, second: TuneAsked, advance: Advance) -> tuple[Job, TwoTunes]:
    """Two tunes on one disc. Raises BadInput, also for wishes that are of one tune."""
    alone = {"--times": request.times != 1, "--keep": request.keep is not None, "--keep-bars": bool(request.keep_bars)}
    wrong = [option for option, given in (alone | {"--alternatives": bool(request.alternatives)}).items() if given]
    if wrong:
        raise BadInput(
            f"{' and '.join(wrong)} can be asked for one tune only. Leave it out, or lay out one of the two."
        )
    wished = replace(
        request, tune=second.tune, number=second.number, melody=second.melody, bars=second.bars, second=None
    )
    scores = (_tune_asked(request), _tune_asked(wished))
    settings = _with_zones(request)
    comb = _comb_asked(request)
    advance(0.1, "arranging")
    plate = plate_for(request, comb, settings)
    keys = (request.transpose, second.transpose)
    planned = plan_two(scores, comb, plate, settings, request.revolution_s, keys, advance)
    return write_job(request.out, planned, (*_files_of(request), second.tune), advance), planned


def _tune_asked(request: Request) -> ScoreIn:
    """The tune, or those of its bars, that a disc is to play, with what is made of its chord symbols."""
    score = titled(choose_tune(read_score(request.tune, request.melody), request.tune, request.number), request.tune)
    score = with_signs_counted(score, request.tune, request.settings)
    score = with_ornaments(accompanied(score, request.chords), request.ornaments)
    return score if request.bars is None else cut_to_bars(score, *parse_bars(request.bars))


def _with_zones(request: Request) -> DesignSettings:
    return replace(request.settings, keep_out=read_keep_out(request.keep_out) if request.keep_out else ())


def _files_of(request: Request) -> list[Path]:
    return [path for path in (request.tune, request.comb, request.keep_out) if path]


def _comb_asked(request: Request) -> Comb:
    if request.comb is None:
        raise BadInput("which comb? Give its table with --comb FILE (or an old disc's job with --keep JOB).")
    return read_comb(request.comb)


def _bars_to_keep(text: str | None, score: ScoreIn) -> tuple[tuple[int, int], ...]:
    """The bars that are kept before all others, counted in what is to be played. Raises BadInput."""
    if text is None:
        return ()
    ranges = tuple(parse_bars(piece, "--keep-bars") for piece in text.split(","))
    first, last = score.bars[0].number, score.bars[-1].number
    for low, high in ranges:
        if low > high or low < first or high > last:
            raise BadInput(f"bars {low}-{high} are not in what is played, bars {first} to {last}. Mend --keep-bars.")
    return ranges


def choose_tune(tunes: tuple[ScoreIn, ...], path: Path, number: int | None) -> ScoreIn:
    """The tune wanted of a file that may hold several. Raises BadInput naming some if it has to be said which."""
    if number is None and len(tunes) == 1:
        return tunes[0]
    if number is not None and 1 <= number <= len(tunes):
        return tunes[number - 1]
    named = ", ".join(f"{i} {tune.title!r}" for i, tune in enumerate(tunes[:TUNES_NAMED], start=1))
    more = ", ..." if len(tunes) > TUNES_NAMED else ""
    raise BadInput(f"{path} holds {len(tunes)} tunes ({named}{more}). Say which with --number N.")


def parse_bars(text: str, option: str = "--bars") -> tuple[int, int]:
    """ "1-16" as (1, 16), "8" as (8, 8). Raises BadInput."""
    match = re.fullmatch(r"\s*(\d{1,4})\s*(?:-\s*(\d{1,4}))?\s*", text)
    if not match:
        raise BadInput(f"the bars {text!r} cannot be read. Write them as {option} 1-16 (as played; 0 is an upbeat).")
    return int(match[1]), int(match[2] or match[1])


def plate_for(request: Request, comb: Comb, settings: DesignSettings) -> Plate:
    """The new disc's plate: what was given, and for the rest the default; without a diameter the smallest that fits."""
    plate = default_plate(comb, settings)
    given: dict[str, Any] = {
        "diameter_mm": request.diameter_mm,
        "turns": request.turns,
        "thickness_mm": request.thickness_mm,
        "bore_mm": request.bore_mm,
        "rest_arc_deg": request.rest_arc_deg,
        "revolution_s": request.revolution_s,
    }
    told = {name: value for name, value in given.items() if value is not None}
    # Where the turn's time was not given, the tempo sets it: that is chosen, not assumed.
    return replace(plate, **told, assumed=frozenset(USUAL) - told.keys() - {"revolution_s"})


def design_doubts(request: Request, job: Job) -> tuple[Doubt, ...]:
    """What is in doubt about the planned disc, and about the old one whose pins stay."""
    return (*all_doubts(job), *(all_doubts(open_job(request.keep)) if request.keep is not None else ()))


def _old_disc(request: Request) -> tuple[Plate, Comb, tuple[Pin, ...], list[Path]]:
    """(plate, comb, pins with their teeth, files read) of the job whose sound pins stay."""
    assert request.keep is not None
    if request.transpose is not None or request.revolution_s is not None or request.diameter_mm is not None:
        raise BadInput("with --keep the old disc sets key, speed and size; leave out --transpose and the sizes.")
    job = open_job(request.keep)
    comb = read_comb(request.comb) if request.comb else job.comb()
    pins = job.pins()
    files = [job.path(PINS_FILE), job.path(COMB_FILE)]
    fixed = {pin.id: pin.tooth for pin in pins if pin.tooth is not None}
    return job.plate, comb, assign_teeth(pins, comb, fixed).pins, [path for path in files if path.is_file()]
