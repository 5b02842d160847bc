"""A recorded turn against a job's pins, or against a comb table and a list of strikes."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from disc.errors import BadInput, MissingPart
from disc.frame import FULL_TURN_DEG
from disc.job import Job
from disc.job.made_from import LISTEN
from disc.job.stale import stale_doubts
from disc.listen.comb.plucked_store import heard_pitches
from disc.listen.findings import Located, findings_of
from disc.listen.kept_recordings import stage_recordings
from disc.listen.sound.audio import Recording, read_recording
from disc.listen.store import SOUND_FILE, stage_listen
from disc.listen.strikes_file import read_strikes
from disc.listen.turn.hear_turn import read_turn
from disc.listen.turn.pace import Pace, bars_of, pace_words, paces_of, tenths
from disc.listen.turn.plot import plot_turn
from disc.listen.turn.pool_turns import best_of, pooled
from disc.listen.turn.turn_doubts import doubts_of_turn
from disc.listen.turn.turn_record import Turn
from disc.records import Comb, Doubt
from disc.results import ListenResult
from disc.tables import read_comb
from disc.turn.turn_of_job import turn_of_pins
from disc.words import Advance, no_progress

PLOT_FILE = "out/listen.svg"


@dataclass(frozen=True)
class Listened:
    """A judged turn, how fast each bar or tenth of it ran, what is in doubt and, for a job, its findings.

    dead: teeth of which the comb's table says that they give no tone.
    """

    turn: Turn
    findings: tuple[Located, ...] = ()
    paces: tuple[Pace, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    dead: frozenset[int] = frozenset()


def listen_to_job(job: Job, path: Path, advance: Advance = no_progress, more: Sequence[Path] = ()) -> Listened:
    """Judge a recorded turn of the job's disc and store it as one step; the job must be open for writing. more: other
    recordings of the same turn, judged together with it. The recordings are kept in the job.

    Raises MissingPart without pins, comb or pitches, BadInput for a recording that is unusable or of another disc.
    """
    disc = turn_of_pins(job, job.pins(), job.comb())
    comb, pins, plate = disc.comb, disc.pins, disc.plate
    pitches = {t.number: t.pitch for t in comb.teeth if t.pitch is not None} or heard_pitches(job)
    if not pitches:
        raise MissingPart(f"{job.folder}: no tooth has a pitch yet. Run: disc comb {job.folder} --plucked RECORDING")
    strikes = disc.now
    if not strikes:
        raise MissingPart(f"{job.folder}: no pin has a tooth yet. Run: disc comb {job.folder} --table FILE")
    expected = [(s.turn_deg / FULL_TURN_DEG, s.tooth) for s in strikes]
    paths = (path, *more)
    recording, turn = _judged(paths, pitches, expected, plate.revolution_s, advance, _dead(comb))
    findings = findings_of(turn, strikes, pins, comb, plate)
    tune = disc.tune
    paces = paces_of(turn, bars_of(tune, plate.revolution_s) if tune is not None else tenths())
    own = doubts_of_turn(turn, plate.revolution_s)
    with job.step("listen", paths) as stage:
        stage_listen(stage, turn, strikes, findings, paces, own)
        stage.write_bytes(SOUND_FILE, _as_flac(recording, turn.clock))
        stage.write_text(PLOT_FILE, plot_turn(turn, paces))
        names = stage_recordings(job, stage, paths)
        job.content.keep(ListenResult(
            file=", ".join(names), revolution_s=round(turn.revolution_s, 3), silent=len(turn.silent),
            extra=len(turn.extra), early_late=len(turn.early_late), weak=len(turn.weak),
            rushing=list(pace_words(paces)), remarks=list(turn.remarks),
        ))  # fmt: skip
    doubts = (*stale_doubts(job, without=(LISTEN,)), *disc.doubts, *own)
    return Listened(turn, tuple(findings), paces, doubts, _dead(comb))


def _judged(
    paths: Sequence[Path], pitches: dict[int, float], expected: Sequence[tuple[float, int]],
    revolution_s: float | None, advance: Advance, dead: frozenset[int],
) -> tuple[Recording, Turn]:  # fmt: skip
    """(the recording that fits best, what all of them say together)."""
    recordings = [read_recording(path) for path in paths]
    turns = []
    for k, recording in enumerate(recordings):

        def part(done: float, doing: str = "", before: int = k) -> None:
            advance((before + done) / len(recordings), doing)

        turns.append(read_turn(recording, pitches, expected, revolution_s, part, dead))
    return recordings[best_of(turns)], pooled(turns)


def listen_to_files(
    comb: Path, strikes: Path, path: Path, advance: Advance = no_progress, more: Sequence[Path] = ()
) -> Listened:
    """Judge a recorded turn, or several recordings of it, against two tables. Raises BadInput for tables or a recording
    that cannot be used."""
    table = read_comb(comb)
    teeth = table.teeth
    pitches = {t.number: t.pitch for t in teeth if t.pitch is not None}
    if not pitches:
        raise BadInput(f"{comb}: no tooth has a pitch. Fill in the column pitch and run the command again.")
    rows = read_strikes(strikes)
    known = {t.number for t in teeth}
    for turn_fraction, tooth in rows:
        if tooth not in known:
            raise BadInput(
                f"{strikes}: the strike at {turn_fraction:g} is of tooth {tooth}, which {comb} does not have."
            )
    _, turn = _judged((path, *more), pitches, rows, None, advance, _dead(table))
    return Listened(turn, (), paces_of(turn, tenths()), doubts_of_turn(turn), _dead(table))


def _dead(comb: Comb) -> frozenset[int]:
    """Teeth of which the comb's table says that they give no tone."""
    return frozenset(tooth.number for tooth in comb.teeth if tooth.is_silent)


def _as_flac(recording: Recording, clock: float) -> bytes:
    """The sound for the page to play, 16 bit, at the rate it was made at."""
    import soundfile

    out = io.BytesIO()
    peak = max(1.0, float(np.abs(recording.samples).max()))
    soundfile.write(out, recording.samples / peak, round(recording.rate * clock), format="FLAC", subtype="PCM_16")
    return out.getvalue()
