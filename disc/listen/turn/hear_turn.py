"""A recorded turn against the strikes the pins let expect.

    recording -> how strongly each pitch begins (turn_tones) -> smooth path through the expected strikes (turn_path)
    -> which of them sounded, what else did (turn_match) -> exact onsets (turn_onset) -> motion (speed, whirr)

All times are seconds of the recording as it was made: if its clock is wrong by a known ratio it is put right first.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.errors import BadInput
from disc.listen.sound.audio import FloatArray, Recording
from disc.listen.sound.bands import pitch_of_hz, transform
from disc.listen.sound.beginnings import NewTone, for_fundamentals, new_tones
from disc.listen.turn.disc_path import Expected, loudness
from disc.listen.turn.heard_strikes import Heard, Matched
from disc.listen.turn.match_strikes import match
from disc.listen.turn.onset_moment import attack_curve, refine
from disc.listen.turn.place_in_recording import FEWEST_STRIKES, lay
from disc.listen.turn.single_sounds import APART_S, Beginning
from disc.listen.turn.speed import Motion, motion_from
from disc.listen.turn.strike_attacks import Attacks
from disc.listen.turn.tones import Tones, tones_at, without_dead
from disc.listen.turn.tooth_voices import refined
from disc.listen.turn.weak_strikes import weak_strikes, weak_teeth
from disc.listen.turn.which_tooth import Told, tell
from disc.listen.turn.whirr import Whirr, find_whirr
from disc.words import Advance, no_progress

# Mean salience of expected strikes along the right path: 0.75 to 0.9 on the development recordings, about 0.25 on a
# recording of another tune.
LEAST_FIT = 0.45
EARLY_LATE_S = 0.03
EARLY_LATE_SPREADS = 5.0
SPEED_STEP_S = 0.05
TONE_OVER_DB = 10.0  # an extra sound must stand out of what lies beside it as a tone does
# A knock's modes are shorter, a tooth that can be taken for a strike rings longer; or at least so much of what the
# strikes nearest in pitch do.
LEAST_T60_S, RINGS_SHARE, LIKE_STRIKES = 0.25, 0.5, 3
ON_PITCH_CENTS = 60.0
PLAYED_SHARE = 0.34  # of a lap's strikes; a lap that was played has nearly all, one that was not some chance ones


@dataclass(frozen=True)
class Sound:
    """Something that sounded. tooth: None where several teeth of this pitch could have. strike: index in the expected
    strikes, None for an extra sound. late_s: against the smooth motion. strength: against the pitch's usual."""

    time_s: float
    pitch: float
    tooth: int | None
    strike: int | None
    lap: int | None
    late_s: float
    strength: float
    undecidable: bool = False


@dataclass(frozen=True)
class Missed:
    """An expected strike that did not sound in one lap: where in the recording it was to be, its pitch and index."""

    time_s: float
    pitch: float
    tooth: int
    strike: int


@dataclass(frozen=True)
class Turn:
    """A recorded turn, judged. silent: indices of strikes never heard, of those that fell into the recording. missed:
    every strike that did not sound, lap by lap.

    position of the disc: motion.position(time_s). speed: rows (time in s, speed against the mean of a revolution).
    undecided: strikes of which it cannot be told whether they sounded; untold: every such strike, lap by lap.
    weak: strikes weak each time they are heard against what their tooth is like. weak_teeth: teeth weak in all their
    strikes, against their neighbours in pitch.
    clock: by how much the recording's stated sample rate had to be multiplied. unheard: strikes outside the recording.
    """

    sounds: tuple[Sound, ...]
    silent: tuple[int, ...]
    unheard: tuple[int, ...]
    weak: tuple[int, ...]
    revolution_s: float
    speed: FloatArray
    motion: Motion
    whirr_hz: tuple[float, ...]
    clock: float
    tuning_cents: float
    fit: float
    laps: float
    remarks: tuple[str, ...]
    missed: tuple[Missed, ...] = ()
    undecided: tuple[int, ...] = ()
    weak_teeth: tuple[int, ...] = ()
    untold: tuple[Missed, ...] = ()

    @property
    def extra(self) -> tuple[Sound, ...]:
        """What sounded without a pin to explain it."""
        return tuple(s for s in self.sounds if s.strike is None)

    @property
    def early_late(self) -> tuple[Sound, ...]:
        """Expected strikes that stand off the disc's smooth motion by more than the onsets' own spread."""
        limit = max(EARLY_LATE_S, EARLY_LATE_SPREADS * self.motion.spread_s)
        return tuple(s for s in self.sounds if s.strike is not None and abs(s.late_s) > limit)


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
        raise BadInput(
            f"only {len(usable)} strikes have a tooth with a known pitch; at least {FEWEST_STRIKES} are needed. "
            "Give the comb's pitches first (disc comb JOB --plucked REC)."
        )
    advance(0.05, "listening for every pitch")
    laid = lay(recording, pitches, usable, revolution_s)
    recording, clock, cents, fit = laid.recording, laid.clock, laid.cents, laid.fit
    if fit < LEAST_FIT:
        raise BadInput(
            f"this recording does not follow the pins (fit {fit:.2f}, needed {LEAST_FIT}). Is it a turn of this disc, "
            "and are the comb's pitches right?"
        )
    advance(0.5, "matching strikes")
    matched, motion, tones = _settle(recording, laid.tones, laid.expected, laid.path_s)
    advance(0.8, "following the speed")
    whirr = find_whirr(recording, motion)
    told = tell(transform(recording), tones, matched)
    matched = told.matched
    sounds = _sounds(recording, tones, told, motion)
    period, laps = _revolution(motion, [h.expected for h in matched.heard])
    speed = _speed(motion, whirr, period)
    remarks = list(recording.remarks)
    if clock != 1.0:
        remarks.append(f"the file's sample rate is wrong; {recording.rate:.0f} a second fits the comb, times are true")
    turn = _judged(sounds, matched, tones, index, len(strikes), Turn(
        (), (), (), (), period, speed, motion, whirr.lines_hz if whirr else (), clock, cents, fit, laps, tuple(remarks)
    ))  # fmt: skip
    known_dead = [(k, float(t), tooth) for k, (t, tooth) in enumerate(strikes) if tooth in pitched.keys() - pitches]
    return _with_dead(turn, known_dead, pitched, recording.length_s)


def _settle(
    recording: Recording, tones: Tones, expected: list[Expected], path: FloatArray
) -> tuple[Matched, Motion, Tones]:
    """Match, fit the motion, listen again at the teeth's own frequencies, and match again along it, with exact
    onsets."""
    whole = transform(recording)
    curve, step_s = attack_curve(recording)
    for again in range(3):
        loud = loudness(tones)
        matched = match(tones, expected, path, loud, Attacks(curve, step_s))
        heard = [h for h in matched.heard if h.beginning is not None]
        if len(heard) < FEWEST_STRIKES:
            raise BadInput("too few of the expected strikes are heard to follow the disc. Record closer, in quiet.")
        onsets = _onsets([h.beginning for h in heard if h.beginning], curve, step_s)
        motion = motion_from(onsets, np.array([h.expected.turn for h in heard]), [h.expected.group for h in heard])
        expected = _played(expected, heard)
        path = motion.time(np.array([e.turn for e in expected]))
        if not again:
            rung = refined(whole, tones, [(h.beginning.time_s, h.expected.tooth) for h in heard if h.beginning])
            tones = tones_at(whole, tones.teeth, rung)
    return _with_onsets(matched, curve, step_s), motion, tones


def _played(expected: list[Expected], heard: Sequence[Heard]) -> list[Expected]:
    """The expected strikes without laps of which almost nothing is heard: the disc stood still, or had stopped."""
    laps = {int(np.floor(e.turn)) for e in expected}
    counts = {lap: sum(np.floor(e.turn) == lap for e in expected) for lap in laps}
    sounding = {lap: sum(np.floor(h.expected.turn) == lap for h in heard) for lap in laps}
    return [e for e in expected if sounding[int(np.floor(e.turn))] >= PLAYED_SHARE * counts[int(np.floor(e.turn))]]


def _onsets(beginnings: Sequence[Beginning], curve: FloatArray, step_s: float) -> FloatArray:
    return refine([b.edge_s for b in beginnings], [b.group for b in beginnings], curve, step_s)


def _with_onsets(matched: Matched, curve: FloatArray, step_s: float) -> Matched:
    """Everything heard with its exact onset."""
    beginnings = [h.beginning for h in matched.heard if h.beginning] + [b for b, _ in matched.extra]
    onsets = _onsets(beginnings, curve, step_s)
    exact = {id(b): replace(b, time_s=float(t)) for b, t in zip(beginnings, onsets, strict=True)}
    heard = tuple(h if h.beginning is None else replace(h, beginning=exact[id(h.beginning)]) for h in matched.heard)
    taken = [(h.beginning.group, h.beginning.time_s) for h in heard if h.beginning]
    extra = [(exact[id(b)], odds) for b, odds in matched.extra]
    # Two peaks of one pitch may turn out to be one attack.
    lone = tuple((b, o) for b, o in extra if not any(g == b.group and abs(t - b.time_s) < APART_S for g, t in taken))
    return replace(matched, heard=heard, extra=lone)


def _sounds(recording: Recording, tones: Tones, told: Told, motion: Motion) -> list[Sound]:
    found, matched = [], told.matched
    for h in matched.heard:
        b = h.beginning
        if b is None:
            continue
        late = b.time_s - float(motion.time(np.array([h.expected.turn]))[0]) - motion.late_s.get(b.group, 0.0)
        lap = int(np.floor(h.expected.turn))
        share = b.strength / matched.loud[b.group]
        shared = _is_shared(h, matched.heard)
        found.append(
            Sound(b.time_s, _pitch(tones, b.group), h.expected.tooth, h.expected.index, lap, late, float(share), shared)
        )
    low = for_fundamentals(recording)
    for b, _ in matched.extra:
        least_t60_s = _least_t60(low, b.group, tones, matched.heard)
        if _is_tone(low, b, float(tones.hz[b.group]), least_t60_s):
            teeth = tones.teeth[b.group]
            tooth = teeth[0] if len(teeth) == 1 else told.tooth_of.get(id(b))
            share = float(b.strength / matched.loud[b.group])
            found.append(Sound(b.time_s, _pitch(tones, b.group), tooth, None, None, 0.0, share, tooth is None))
    return sorted(found, key=lambda s: (s.time_s, s.pitch))


def _pitch(tones: Tones, group: int) -> float:
    return round(pitch_of_hz(float(tones.hz[group])), 3)


def _is_shared(h: Heard, heard: Sequence[Heard]) -> bool:
    """Whether another tooth of the same pitch was to strike at the same moment."""
    return any(
        o is not h and o.beginning is not None and h.beginning is not None
        and o.expected.group == h.expected.group and o.beginning.time_s == h.beginning.time_s
        for o in heard
    )  # fmt: skip


def _is_tone(low: Recording, b: Beginning, hz: float, least_t60_s: float) -> bool:
    """Whether what begins stands out of its surroundings in the spectrum, as noise and knocks do not."""
    return any(t.over_db > TONE_OVER_DB and t.t60_s > least_t60_s for t in _at_pitch(low, b, hz))


def _at_pitch(low: Recording, b: Beginning, hz: float) -> list[NewTone]:
    """The tones that begin there within ON_PITCH_CENTS of a frequency."""
    return [t for t in new_tones(low, b.time_s) if abs(1200 * np.log2(t.frequency_hz / hz)) < ON_PITCH_CENTS]


def _least_t60(low: Recording, group: int, tones: Tones, heard: Sequence[Heard]) -> float:
    """How long a tone of this pitch must ring, in s: a high tooth may ring no longer than a knock's modes do, but the
    strikes nearest in pitch show that."""
    strikes = sorted(
        (h for h in heard if h.beginning is not None), key=lambda h: (abs(h.expected.group - group), h.path_s)
    )
    rings = [
        t.t60_s
        for h in strikes[:LIKE_STRIKES]
        for t in _at_pitch(low, h.beginning, float(tones.hz[h.beginning.group]))[:1]  # type: ignore[union-attr, arg-type]
    ]
    return min(LEAST_T60_S, RINGS_SHARE * float(np.median(rings))) if rings else LEAST_T60_S


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


def _judged(
    sounds: list[Sound], matched: Matched, tones: Tones, index: list[int], count: int, turn: Turn
) -> Turn:  # fmt: skip
    """The turn with its strikes judged; indices are those of the caller's list."""
    sounds = [s if s.strike is None else replace(s, strike=index[s.strike]) for s in sounds]
    heard = {s.strike for s in sounds if s.strike is not None}
    inside = {index[h.expected.index] for h in matched.heard}
    undecided = {index[h.expected.index] for h in matched.heard if h.is_open} - heard
    silent = [h for h in matched.heard if h.beginning is None and not h.is_open]
    untold = [h for h in matched.heard if h.is_open]
    return replace(
        turn, sounds=tuple(sounds), silent=tuple(sorted(inside - heard - undecided)),
        undecided=tuple(sorted(undecided)), unheard=tuple(sorted(set(range(count)) - inside)),
        weak=tuple(index[k] for k in weak_strikes(matched.heard)), missed=_missed(silent, tones, index, turn.motion),
        untold=_missed(untold, tones, index, turn.motion),
        weak_teeth=weak_teeth(matched.heard),
    )  # fmt: skip


def _missed(strikes: Sequence[Heard], tones: Tones, index: list[int], motion: Motion) -> tuple[Missed, ...]:
    """Where the disc passes strikes that were not heard."""
    places = motion.time(np.array([h.expected.turn for h in strikes]))
    return tuple(
        Missed(float(t), _pitch(tones, h.expected.group), h.expected.tooth, index[h.expected.index])
        for t, h in zip(places, strikes, strict=True)
    )


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
