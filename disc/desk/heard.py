"""A recorded turn beside the pins: where the disc stands at each moment of the recording, and which strike is heard.

out/listen.json holds what was heard and the course of the speed, but not at which place of the disc the recording
begins. That is found here: every sound votes for the places that its tooth's strikes leave possible, and the place with
most votes wins (a Hough transform of one dimension). Times are seconds of the recording; places are seconds of a steady
turn, as everywhere on the page.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from disc.errors import DiscError
from disc.frame import FULL_TURN_DEG, FloatArray
from disc.job import Job
from disc.records import Comb, Plate, Strike

VOTE_TURN = 0.004  # votes this near each other count together: 0.2 s of a turn of 50 s, wider than a strike strays
REACH_S = 0.15  # a sound this near a strike of its tooth is that strike; listen/turn_match.py looks as far
SAME_PITCH = 0.5  # semitones; a sound that several teeth could have made is any of theirs
LEAST_SHARE = 0.5  # of the sounds must find their strike, or the recording is not laid over the disc
PATH_STEPS = 400  # points of the path sent to the page: one in 0.1 s of a usual turn


@dataclass(frozen=True, slots=True)
class HeardSounds:
    """time_s, pitch: shape (n,). teeth: for each sound the numbers of the teeth that may have made it."""

    time_s: FloatArray
    teeth: tuple[tuple[int, ...], ...]


def page_heard(job: Job, strikes: Sequence[Strike], comb: Comb | None) -> dict[str, Any] | None:
    """The recorded turn last compared with the pins, as plain JSON for the page; None if there is none.

    sounds: [second of the recording, second of the turn, tooth or null, pin or null]; path: [second of the recording,
    turns since some start of a turn], rising; silent: pin ids; extra: [second of the recording, second of the turn,
    tooth]; why: words, where the recording cannot be laid over the disc.
    """
    listened = job.content.results.get("listen")
    if listened is None:
        return None
    from disc.listen.store import load_listen, load_turn  # brings in scipy, which the page must not wait for

    nothing: dict[str, Any] = {"sounds": [], "path": [], "silent": [], "extra": [], "name": str(listened.get("file"))}
    try:
        turn, findings = load_turn(job), load_listen(job)
        if turn is None:
            return None
        sounds = _sounds(turn["onsets"], comb)
        path = turns_at(np.asarray(turn["speed"], dtype=float), float(turn["revolution_s"]))
    except (DiscError, KeyError, TypeError, ValueError, IndexError, ArithmeticError) as error:
        return nothing | {"why": f"The result of listening cannot be used ({error}). Compare the recording again."}
    shift = start_of_turn(sounds, path, strikes)
    if shift is None:
        why = "The recorded turn does not lie on the pins as they are now. Compare it with them again."
        return nothing | {"why": why}
    path = path + np.array([0.0, shift])
    return nothing | {
        "why": "",
        "revolution_s": turn["revolution_s"],
        "path": _thinned(path),
        "sounds": _heard(sounds, path, strikes, job.plate),
        "silent": [f.pin_id for f, _ in findings if f.kind == "silent-strike" and f.pin_id is not None],
        "extra": [
            [round(at, 3), round(_turn_s(path, at, job.plate), 3), f.tooth]
            for f, at in findings
            if f.kind == "extra-sound"
        ],
    }


def turns_at(speed: FloatArray, revolution_s: float) -> FloatArray:
    """Turns made since the first row, shape (n, 2): second, turns. speed: rows of second and ratio to the mean."""
    steps = 0.5 * (speed[1:, 1] + speed[:-1, 1]) * np.diff(speed[:, 0]) / revolution_s
    return np.column_stack([speed[:, 0], np.concatenate([[0.0], np.cumsum(steps)])])


def start_of_turn(sounds: HeardSounds, path: FloatArray, strikes: Sequence[Strike]) -> float | None:
    """What to add to the path's turns so that whole turns begin with the disc at rest; None if nothing fits."""
    by_tooth: dict[int, list[float]] = {}
    for strike in strikes:
        by_tooth.setdefault(strike.tooth, []).append(strike.turn_deg / FULL_TURN_DEG)
    at = np.interp(sounds.time_s, path[:, 0], path[:, 1])
    votes = [
        (place - turns) % 1.0
        for turns, teeth in zip(at, sounds.teeth, strict=True)
        for tooth in teeth
        for place in by_tooth.get(tooth, ())
    ]
    if not votes:
        return None
    around = np.sort(np.array(votes))
    around = np.concatenate([around, around + 1.0])  # a circle, opened and laid out twice
    ends = np.searchsorted(around, around[: len(votes)] + VOTE_TURN, side="right")
    best = int(np.argmax(ends - np.arange(len(votes))))
    if ends[best] - best < LEAST_SHARE * len(sounds.time_s):
        return None
    return float(np.median(around[best : ends[best]]))


def _sounds(onsets: Sequence[Sequence[Any]], comb: Comb | None) -> HeardSounds:
    """Sounds with the teeth that may have made them, from rows of second, pitch, tooth or None."""
    pitched = [(tooth.number, tooth.pitch) for tooth in comb.teeth if tooth.pitch is not None] if comb else []
    teeth = [
        (int(tooth),)
        if tooth is not None
        else tuple(number for number, own in pitched if abs(own - float(pitch)) < SAME_PITCH)
        for _, pitch, tooth in onsets
    ]
    return HeardSounds(np.array([float(row[0]) for row in onsets]), tuple(teeth))


def _heard(sounds: HeardSounds, path: FloatArray, strikes: Sequence[Strike], plate: Plate) -> list[list[Any]]:
    rows: list[list[Any]] = []
    for at, teeth in zip(sounds.time_s, sounds.teeth, strict=True):
        second = _turn_s(path, float(at), plate)
        mine = [strike for strike in strikes if strike.tooth in teeth]
        near = min(mine, key=lambda strike: _apart_s(strike.onset_s, second, plate), default=None)
        if near is not None and _apart_s(near.onset_s, second, plate) <= REACH_S:
            rows.append([round(float(at), 3), round(second, 3), near.tooth, near.pin_id])
        else:
            rows.append([round(float(at), 3), round(second, 3), teeth[0] if len(teeth) == 1 else None, None])
    return rows


def _apart_s(one_s: float, other_s: float, plate: Plate) -> float:
    gap = abs(one_s - other_s) % plate.revolution_s
    return min(gap, plate.revolution_s - gap)


def _turn_s(path: FloatArray, at_s: float, plate: Plate) -> float:
    """Second of the steady turn at which the disc stands where it stood at this second of the recording."""
    return float(np.interp(at_s, path[:, 0], path[:, 1]) % 1.0 * plate.revolution_s)


def _thinned(path: FloatArray) -> list[list[float]]:
    step = max(1, len(path) // PATH_STEPS)
    kept = path[sorted({*range(0, len(path), step), len(path) - 1})]
    return [[round(float(second), 3), round(float(turns), 6)] for second, turns in kept]
