"""What a recorded turn says, as a file: out/listen.json, written and read here and nowhere else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from disc.doubts import doubts_from_json, doubts_to_json
from disc.job import Job, Stage
from disc.listen.sound.audio import FloatArray
from disc.listen.turn.pace import Pace, pace_words, paces_json
from disc.listen.turn.turn_record import Sound, Turn
from disc.records import Doubt, Finding, Strike
from disc.stored import Stored, json_text

LISTEN_FILE = "out/listen.json"
SOUND_FILE = "out/listen/turn.flac"


def turn_json(turn: Turn, paces: Sequence[Pace] = (), doubts: Sequence[Doubt] = ()) -> dict[str, Any]:
    """Plain JSON of a judged turn. onsets: [time in s, pitch, tooth or null]; silent: indices of strikes; extra: [time
    in s, pitch]; speed: [time in s, ratio to the mean of a revolution]; paces: how fast each bar or tenth ran; rushing:
    in words, which of them run noticeably fast or slow. why: of each silent or undecided strike [strike, probability
    that it was silent, reason]; off_table: teeth that sound elsewhere than their table says; extra_causes: for each of
    extra [probability, strike whose pin may have taken the tooth along, or null]; disturbed: [from, to] in s where
    something else is loud; doubts: as every command tells them."""
    return {
        "onsets": [[round(s.time_s, 4), s.pitch, s.tooth] for s in turn.sounds],
        "silent": list(turn.silent),
        "extra": [[round(s.time_s, 4), s.pitch] for s in turn.extra],
        "revolution_s": round(turn.revolution_s, 4),
        "speed": [[round(float(t), 3), round(float(r), 5)] for t, r in turn.speed],
        "weak": list(turn.weak),
        "weak_teeth": list(turn.weak_teeth),
        "undecided": list(turn.undecided),
        "why": [[s.strike, s.probability, s.reason] for s in turn.silences],
        "off_table": [{"tooth": o.tooth, "cents": o.cents} for o in turn.off_table],
        "extra_causes": [[s.probability, s.cause] for s in turn.extra],
        "not_recorded": list(turn.unheard),
        "early_late": [[s.strike, round(s.time_s, 4), round(s.late_s, 4)] for s in turn.early_late],
        "undecidable": [[round(s.time_s, 4), s.pitch] for s in turn.sounds if s.undecidable],
        "turns_recorded": round(turn.laps, 3),
        "whirr_hz": list(turn.whirr_hz),
        "clock": turn.clock,
        "tuning_cents": round(turn.tuning_cents, 1),
        "fit": round(turn.fit, 3),
        "remarks": list(turn.remarks),
        "disturbed": [[round(d.start_s, 2), round(d.end_s, 2)] for d in turn.disturbed],
        "doubts": doubts_to_json(doubts),
        "paces": paces_json(paces),
        "rushing": list(pace_words(paces)),
    }


# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
COURSE_POINTS = 400  # one in 0.1 s of a usual turn


@dataclass(frozen=True)
class Course:
    """How a recording lies on the disc. points: rows (second of the recording, turns since the disc stood at rest),
    rising, shape (n, 2). onset_pins: for each onset the pin that sounded it; None for an extra sound."""

    points: FloatArray
    onset_pins: tuple[int | None, ...]


def stage_listen(
    stage: Stage, turn: Turn, strikes: Sequence[Strike], findings: Sequence[tuple[Finding, Sound | None, float]],
    paces: Sequence[Pace] = (), doubts: Sequence[Doubt] = (),
) -> None:  # fmt: skip
    """Stage out/listen.json. strikes: those the turn was held against. findings: each with the sound it is about and
    where to listen, s in the recording."""
    last = max([float(turn.motion.knots_s[-1]), *(s.time_s for s in turn.sounds)])
    times = np.linspace(0.0, last, COURSE_POINTS)
    course = np.column_stack([times, turn.motion.position(times)])
    content = {
        "schema": LISTENED.schema,
        "sound": SOUND_FILE,
        "turn": turn_json(turn, paces, doubts),
        "course": [[round(float(t), 3), round(float(turns), 6)] for t, turns in course],
        "onset_pins": [None if s.strike is None else strikes[s.strike].pin_id for s in turn.sounds],
        "findings": [_finding_json(f) | {"listen_s": round(at, 3)} for f, _, at in findings],
    }
    stage.write_text(LISTEN_FILE, json_text(content))


def load_listen_findings(job: Job) -> tuple[Finding, ...]:
    """The findings of the last recorded turn; empty if there was none. Raises BadInput if the file is damaged."""
    return tuple(finding for finding, _ in load_listen(job))


@dataclass(frozen=True, slots=True)
class _HeardFinding(Finding):
    listen_s: float = 0.0


@dataclass(frozen=True, slots=True)
class _Listened:
    """The file's content; what a turn's JSON holds is told at turn_json. course: an earlier version stored none."""

    findings: tuple[_HeardFinding, ...]
    turn: dict[str, Any] | None = None
    course: tuple[tuple[float, float], ...] | None = None
    onset_pins: tuple[int | None, ...] = ()


def _course_is_one(stored: _Listened) -> None:
    if stored.course is not None and (len(stored.course) < 2 or not np.all(np.isfinite(stored.course))):
        raise ValueError("its course is no table of seconds and turns")


LISTENED: Stored[_Listened] = Stored(
    "result of listening", _Listened, "Run disc listen JOB again.", check=_course_is_one
)


def load_listen(job: Job) -> tuple[tuple[Finding, float], ...]:
    """(finding, second of SOUND_FILE at which to listen) of the last recorded turn. Raises as load_listen_findings."""
    found = LISTENED.load(job.path(LISTEN_FILE))
    return () if found is None else tuple((_plain(item), item.listen_s) for item in found.findings)


def _plain(item: _HeardFinding) -> Finding:
    return Finding(**{field.name: getattr(item, field.name) for field in fields(Finding)})


def load_turn(job: Job) -> dict[str, Any] | None:
    """The last recorded turn as turn_json wrote it; None if there was none. Raises BadInput if the file is damaged."""
    found = LISTENED.load(job.path(LISTEN_FILE))
    return None if found is None else found.turn


def load_listen_doubts(job: Job) -> tuple[Doubt, ...]:
    """What the last recorded turn put in doubt; empty if there was none. Raises BadInput if the file is damaged."""
    turn = load_turn(job) or {}
    return doubts_from_json(turn.get("doubts", []), str(job.path(LISTEN_FILE)))


def load_course(job: Job) -> Course | None:
    """How the last recorded turn lies on the disc; None if there was none, or an earlier version stored it without.
    Raises BadInput if the file is damaged."""
    found = LISTENED.load(job.path(LISTEN_FILE))
    if found is None or found.course is None:
        return None
    return Course(np.asarray(found.course, dtype=float), found.onset_pins)


def _finding_json(f: Finding) -> dict[str, Any]:
    return {
        "kind": f.kind, "side": f.side.value, "r_mm": f.r_mm, "theta_deg": f.theta_deg,
        "probability": round(f.probability, 4), "pin_id": f.pin_id, "tooth": f.tooth,
        "evidence": [{"kind": e.kind, "words": e.words, "weight": round(e.weight, 3)} for e in f.evidence],
    }  # fmt: skip
