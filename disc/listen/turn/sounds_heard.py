"""The sounds of a turn: every strike that sounded, and every extra sound, each with its moment and its tooth."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.listen.sound.bands import pitch_of_hz
from disc.listen.turn.followed import Followed
from disc.listen.turn.hear.heard_strikes import HeardStrike
from disc.listen.turn.judge.silent_strikes import judged, silent_probability, still_playing
from disc.listen.turn.judge.single_extra import EXTRA_FROM, candidates, extra_probability
from disc.listen.turn.turn_record import Sound

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
TAIL_S = 1.0  # the end of a recording may lie beyond the disc's stop
SAME_STRIKE_S = 0.045  # an extra sound so near one of its own pitch is that one


def judged_strikes(followed: Followed, length_s: float) -> tuple[HeardStrike, ...]:
    """Every expected strike with its answer."""
    heard = followed.told.matched.heard
    path = followed.motion.time(np.array([h.expected.turn for h in heard]))
    played = still_playing(heard, followed.steps, path)
    probability = silent_probability(heard, followed.steps, followed.leaks, path < length_s - TAIL_S, played)
    return judged(heard, followed.steps, followed.places_s, followed.tones, probability, played)


def sounds_of(followed: Followed, heard: Sequence[HeardStrike]) -> list[Sound]:
    """Everything that sounded, in order of time. heard: judged."""
    found = [_struck(followed, h, heard) for h in heard if h.beginning is not None]
    found += _extra(followed, heard)
    return sorted(found, key=lambda s: (s.time_s, s.pitch))


def _struck(followed: Followed, h: HeardStrike, heard: Sequence[HeardStrike]) -> Sound:
    b = h.beginning
    assert b is not None
    motion = followed.motion
    beside = b.time_s - float(motion.time(np.array([h.expected.turn]))[0])
    late = _nearer(beside, beside - motion.late_s.get(b.group, 0.0))
    lap = int(np.floor(h.expected.turn))
    share = float(b.strength / followed.told.matched.loud[b.group])
    return Sound(
        b.time_s, _pitch(followed, h.expected.tooth), h.expected.tooth, h.expected.index, lap, late, share,
        _is_shared(h, heard),
    )  # fmt: skip


def _nearer(beside_s: float, less_usual_s: float) -> float:
    """How late a strike is: beside the disc's path, less what its pitch usually is, whichever is less. A lateness that
    the pitch was given wrongly makes no strike late that stands on the path."""
    return 0.0 if beside_s * less_usual_s < 0.0 else min(beside_s, less_usual_s, key=abs)


def _pitch(followed: Followed, tooth: int) -> float:
    return round(pitch_of_hz(followed.voices[tooth].hz), 3)


def _is_shared(h: HeardStrike, heard: Sequence[HeardStrike]) -> bool:
    """Whether another tooth of the same pitch was to strike at the same moment."""
    return any(
        o is not h and o.beginning is not None and h.beginning is not None
        and o.expected.group == h.expected.group and o.beginning.time_s == h.beginning.time_s
        for o in heard
    )  # fmt: skip


def _extra(followed: Followed, heard: Sequence[HeardStrike]) -> list[Sound]:
    some = candidates(followed, heard)
    found: list[Sound] = []
    taken = [(h.expected.group, h.beginning.time_s) for h in heard if h.beginning is not None]
    for c, p in sorted(zip(some, extra_probability(some), strict=True), key=lambda item: -item[1]):
        if p < EXTRA_FROM:
            break
        b = c.beginning
        if any(group == b.group and abs(t - b.time_s) < SAME_STRIKE_S for group, t in taken):
            continue
        taken.append((b.group, b.time_s))
        teeth = followed.tones.teeth[b.group]
        tooth = teeth[0] if len(teeth) == 1 else followed.told.tooth_of.get(id(b))
        share = float(b.strength / followed.told.matched.loud[b.group])
        cause = None if c.cause is None else heard[c.cause].expected.index
        found.append(Sound(
            b.time_s, _pitch(followed, c.tooth), tooth, None, None, 0.0, share, tooth is None, round(float(p), 3), cause
        ))  # fmt: skip
    return found
