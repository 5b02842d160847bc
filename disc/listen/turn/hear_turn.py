"""A recorded turn against the strikes the pins let expect.

    recording -> where its strikes lie in it (place_in_recording)
    -> each tooth's own pitch, what each strike did and the disc's motion (follow_disc)
    -> which of them sounded (silent_strikes), what else did (single_extra) -> speed, whirr

All times are seconds of the recording as it was made: if its clock is wrong by a known ratio it is put right first.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from disc.errors import BadInput
from disc.listen.sound.audio import FloatArray, Recording
from disc.listen.sound.bands import pitch_of_hz
from disc.listen.sound.disturbed import Disturbance, loud_stretches
from disc.listen.turn.follow_disc import follow
from disc.listen.turn.followed import Followed
from disc.listen.turn.hear.heard_strikes import HeardStrike, left_open
from disc.listen.turn.judge.silent_reasons import silences_of
from disc.listen.turn.judge.silent_strikes import with_twins
from disc.listen.turn.judge.weak_strikes import weak_strikes, weak_teeth
from disc.listen.turn.learn.settled_pitch import settled_pitch
from disc.listen.turn.learn.true_pitches import OFF_TABLE_CENTS, OffTable
from disc.listen.turn.place.disc_path import Expected
from disc.listen.turn.place.place_in_recording import FEWEST_STRIKES, is_usual_clock, lay
from disc.listen.turn.place.speed import Motion
from disc.listen.turn.place.tones import without_dead
from disc.listen.turn.place.whirr import Whirr, find_whirr
from disc.listen.turn.sounds_heard import judged_strikes, sounds_of
from disc.listen.turn.turn_record import Missed, Sound, Turn
from disc.words import Advance, counted, no_progress

# Mean salience of expected strikes along the right path: 0.75 to 0.9 on the development recordings, about 0.25 on a
# recording of another tune.
LEAST_FIT = 0.45
# The same for a recording made at no rate that recorders have: what fits no better is another partial taken for the
# fundamental. Two such turns of bells lay wrong at .53 and .54, right ones reach .61 and more (chosen).
LEAST_FIT_ODD_CLOCK = 0.58
SPEED_STEP_S = 0.05  # of the speed curve as it is given; chosen by hand
# Of its band, at most strikes of a tooth, of which there must be so many: its tone is then surely its own. Chosen on
# turns that were looked at: three more of thirty teeth off their table are found, none on it is said to be off.
CLEAR_GAIN, FEWEST_CLEAR = 0.5, 3
NEAR_S = 0.035  # of the disc's path: what is farther off is early or late, and tells nothing of it; chosen
NEAR_SEMITONES = 1.2  # of a tooth's pitch: what begins there disturbs it; chosen by hand
OWN_GAIN = 0.2  # of its band, at one strike at least; chosen between a dead tooth's .09 at most and a live one's .94


def read_turn(
    recording: Recording,
    pitches: dict[int, float],
    strikes: Sequence[tuple[float, int]],
    revolution_s: float | None = None,
    advance: Advance = no_progress,
    dead: Collection[int] = (),
) -> Turn:
    """Judge a recorded turn. pitches: by tooth. strikes: (fraction of a turn, tooth). revolution_s: if roughly known.
    dead: teeth known to be dead; one that has a live tooth's pitch cannot have made what is heard of that pitch.

    Raises BadInput if there are too few strikes with a pitch, or if the recording is not of this disc.
    """
    pitched, pitches = pitches, without_dead(pitches, dead)
    usable = [(float(t), tooth) for t, tooth in strikes if tooth in pitches]
    index = [k for k, (_, tooth) in enumerate(strikes) if tooth in pitches]
    if len(usable) < FEWEST_STRIKES:
        few = f"only {counted(len(usable), 'strike')} {'has' if len(usable) == 1 else 'have'}"
        raise BadInput(
            f"{few} a tooth with a known pitch; at least {FEWEST_STRIKES} are needed. "
            "Give the comb's pitches first (disc comb JOB --plucked REC)."
        )
    advance(0.05, "listening for every pitch")
    laid = lay(recording, pitches, usable, revolution_s)
    recording, clock, cents, fit = laid.recording, laid.clock, laid.cents, laid.fit
    needed = LEAST_FIT if is_usual_clock(laid) else LEAST_FIT_ODD_CLOCK
    if fit < needed:
        raise BadInput(
            f"this recording does not follow the pins (fit {fit:.2f}, needed {needed}). Is it a turn of this disc, "
            "and are the comb's pitches right?"
        )
    advance(0.5, "matching strikes")
    followed = follow(laid, pitches)
    motion = followed.motion
    advance(0.8, "following the speed")
    heard = judged_strikes(followed, recording.length_s)
    whirr = find_whirr(recording, motion, *_on_course(followed, heard))
    sounds = sounds_of(followed, heard)
    period, laps = _revolution(motion, [h.expected for h in heard])
    speed = _speed(motion, whirr, period)
    remarks = list(recording.remarks)
    if clock != 1.0:
        remarks.append(f"the file's sample rate is wrong; {recording.rate:.0f} a second fits the comb, times are true")
    turn = _judged(sounds, heard, followed, index, len(strikes), Turn(
        (), (), (), (), period, speed, motion, whirr.lines_hz if whirr else (), clock, cents, fit, laps, tuple(remarks),
        off_table=off_their_table(followed, pitches, cents), disturbed=_disturbed(recording, followed),
    ))  # fmt: skip
    known_dead = [(k, float(t), tooth) for k, (t, tooth) in enumerate(strikes) if tooth in pitched.keys() - pitches]
    return _with_dead(turn, known_dead, pitched, recording.length_s)


def _on_course(followed: Followed, heard: Sequence[HeardStrike]) -> tuple[FloatArray, FloatArray]:
    """(onsets in s, less what their pitch is usually late; where the disc was to be) of what sounded near its place."""
    late_s = followed.motion.late_s
    rows = [
        (h.beginning.time_s - late_s.get(h.expected.group, 0.0), h.expected.turn) for h in heard
        if h.beginning is not None
    ]  # fmt: skip
    onsets, turns = np.array(rows).T
    near = np.abs(onsets - followed.motion.time(turns)) < NEAR_S
    return onsets[near], turns[near]


def _revolution(motion: Motion, expected: Sequence[Expected]) -> tuple[float, float]:
    """(seconds of a turn, turns heard): over the whole turns recorded, or the part there is, taken to a whole turn."""
    first, last = expected[0].turn, expected[-1].turn
    start = np.floor(first + 0.2)  # a turn that was recorded from its beginning is measured from there
    begin = start if abs(first - start) < 0.2 else min(first, float(motion.position(np.array([0.0]))[0]))
    laps = max(1.0, np.floor(last - begin + 0.2))
    ends = motion.time(np.array([begin, begin + laps]))
    return float((ends[1] - ends[0]) / laps), float(last - first)


def _speed(motion: Motion, whirr: Whirr | None, period_s: float) -> FloatArray:
    grid = np.arange(max(0.0, motion.knots_s[0]), motion.knots_s[-1], SPEED_STEP_S)
    ratio = motion.speed(grid) * period_s
    if whirr is not None:
        ratio = ratio * np.interp(grid, whirr.times_s, whirr.ratio, left=1.0, right=1.0)
    return np.column_stack([grid, ratio])


def _disturbed(recording: Recording, followed: Followed) -> tuple[Disturbance, ...]:
    """Where something loud is heard that no tooth of the comb makes."""
    return tuple(loud_stretches(recording, min(v.hz for v in followed.voices.values())))


def off_their_table(followed: Followed, pitches: dict[int, float], cents: float) -> tuple[OffTable, ...]:
    """The teeth off their table, by their exact tones. cents: by how much the comb as a whole sounds above it.

    One whose tone explains none of the strikes that no tooth of that very tone shares is dead, and what stood there
    another's. One that stands a little off
    shows only in the tone that its strikes settle at, where that explains them."""
    gains: dict[int, list[float]] = {}
    alone: dict[int, list[float]] = {}
    heard = followed.told.matched.heard
    at_once = with_twins(heard, followed.tuned, followed.places_s)
    for h, step, with_twin in zip(heard, followed.steps, at_once, strict=True):
        if step is not None:
            gains.setdefault(h.expected.tooth, []).append(step.gain)
            if not with_twin:
                alone.setdefault(h.expected.tooth, []).append(step.gain)
    off = {o.tooth for o in followed.off if max(alone.get(o.tooth, [0.0])) > OWN_GAIN}
    found = []
    for tooth, voice in sorted(followed.voices.items()):
        above = 100.0 * (pitch_of_hz(voice.hz) - pitches[tooth])
        mine = gains.get(tooth, [])
        is_clear = voice.known and len(mine) >= FEWEST_CLEAR and float(np.median(mine)) > CLEAR_GAIN
        if (tooth in off or is_clear) and abs(above - cents) >= OFF_TABLE_CENTS:
            above = 100.0 * (_settled(followed, tooth, voice.hz) - pitches[tooth])
            if abs(above - cents) >= OFF_TABLE_CENTS:
                found.append(OffTable(tooth, round(above, 1)))
    return tuple(found)


def _settled(followed: Followed, tooth: int, hz: float) -> float:
    """The pitch at which a tooth settles, by its strikes that nothing near it disturbs."""
    pitch = pitch_of_hz(hz)
    begun = [
        (h.beginning.time_s, h.expected.tooth) for h in followed.told.matched.heard if h.beginning is not None
        and abs(pitch_of_hz(followed.voices[h.expected.tooth].hz) - pitch) < NEAR_SEMITONES
    ]  # fmt: skip
    own = [at for at, other in begun if other == tooth]
    return settled_pitch(followed.whole, pitch, own, np.sort([at for at, _ in begun]))


def _judged(
    sounds: list[Sound], heard: Sequence[HeardStrike], followed: Followed, index: list[int], count: int, turn: Turn
) -> Turn:
    """The turn with its strikes judged; indices are those of the caller's list."""
    sounds = [
        replace(
            s, strike=None if s.strike is None else index[s.strike], cause=None if s.cause is None else index[s.cause]
        )
        for s in sounds
    ]
    sounding = {s.strike for s in sounds if s.strike is not None}
    inside = {index[h.expected.index] for h in heard if not h.beyond}
    undecided = {index[k] for k in left_open(heard)} - sounding
    silences = [replace(s, strike=index[s.strike]) for s in silences_of(heard, followed)]
    untold = [h for h in heard if h.is_open]
    missed = [h for h in heard if h.beginning is None and not h.is_open and not h.beyond]
    return replace(
        turn, sounds=tuple(sounds), silent=tuple(sorted(inside - sounding - undecided)),
        undecided=tuple(sorted(undecided)), unheard=tuple(sorted(set(range(count)) - inside)),
        weak=tuple(index[k] for k in weak_strikes(heard, followed.steps)),
        missed=_missed(missed, followed, index), untold=_missed(untold, followed, index), weak_teeth=weak_teeth(heard),
        silences=tuple(s for s in silences if s.strike not in sounding),
        chances={index[h.expected.index]: h.silent for h in heard if h.silent is not None and not h.beyond},
    )  # fmt: skip


def _missed(strikes: Sequence[HeardStrike], followed: Followed, index: list[int]) -> tuple[Missed, ...]:
    """Where the disc passes strikes that were not heard."""
    places = followed.motion.time(np.array([h.expected.turn for h in strikes]))
    return tuple(
        Missed(
            float(t), round(pitch_of_hz(followed.voices[h.expected.tooth].hz), 3), h.expected.tooth,
            index[h.expected.index],
        )
        for t, h in zip(places, strikes, strict=True)
    )  # fmt: skip


def _with_dead(
    turn: Turn, strikes: Sequence[tuple[int, float, int]], pitches: dict[int, float], length_s: float
) -> Turn:
    """The turn with the strikes of teeth known to be dead, (index, fraction of a turn, tooth), silent where the disc
    passes them within the recording."""
    first, last = turn.motion.position(np.array([0.0, length_s]))
    laps = np.arange(np.floor(first), np.ceil(last) + 1)
    missed = [
        Missed(float(t), pitches[tooth], tooth, k)
        for k, fraction, tooth in strikes
        for t in turn.motion.time(fraction + laps)
        if 0.0 <= t <= length_s
    ]
    passed = {m.strike for m in missed}
    return replace(
        turn, silent=tuple(sorted({*turn.silent, *passed})), unheard=tuple(k for k in turn.unheard if k not in passed),
        missed=tuple(sorted((*turn.missed, *missed), key=lambda m: m.time_s)),
    )  # fmt: skip
