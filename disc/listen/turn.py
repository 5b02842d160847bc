"""A recorded turn against the strikes the pins let expect.

    recording -> how strongly each pitch begins (turn_tones) -> smooth path through the expected strikes (turn_path)
    -> which of them sounded, what else did (turn_match) -> exact onsets (turn_onset) -> motion (speed, whirr)

All times are seconds of the recording as it was made: if its clock is wrong by a known ratio it is put right first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.errors import BadInput
from disc.listen.audio import FloatArray, Recording
from disc.listen.bands import pitch_of_hz, transform
from disc.listen.beginnings import for_fundamentals, new_tones
from disc.listen.speed import Motion, motion_from
from disc.listen.turn_match import Heard, Matched, match
from disc.listen.turn_onset import attack_curve, refine
from disc.listen.turn_path import Expected, expected_along, find_line, lay_path, loudness
from disc.listen.turn_sounds import Beginning
from disc.listen.turn_tell import Told, tell
from disc.listen.turn_tones import Tones, overall_shifts, tones_at, tones_of
from disc.listen.turn_voices import refined
from disc.listen.whirr import Whirr, find_whirr
from disc.words import Advance, no_progress

# A comb that sounds this much off its table was recorded with another clock; less is tuning or warmth.
CLOCK_CENTS = 60.0
STANDARD_RATES = (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000, 88200, 96000)
# The comb may be off its table as a whole by so much; neighbouring standard rates are 147 cents apart or more.
SNAP_CENTS = 35.0
FEWEST_STRIKES = 6
# Mean salience of expected strikes along the right path: 0.75 to 0.9 on the development recordings, about 0.25 on a
# recording of another tune.
LEAST_FIT = 0.45
EARLY_LATE_S = 0.03
EARLY_LATE_SPREADS = 5.0
SPEED_STEP_S = 0.05
TONE_OVER_DB = 10.0  # an extra sound must stand out of what lies beside it as a tone does
LEAST_T60_S = 0.25  # a knock's modes are shorter, a tooth that can be taken for a strike rings longer
PLAYED_SHARE = 0.34  # of a lap's strikes; a lap that was played has nearly all, one that was not some chance ones
WEAK_SHARE = 0.4  # of the tooth's usual strength


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
) -> Turn:
    """Judge a recorded turn. pitches: by tooth. strikes: (fraction of a turn, tooth). revolution_s: if roughly known.

    Raises BadInput if there are too few strikes with a pitch, or if the recording is not of this disc.
    """
    usable = [(float(t), tooth) for t, tooth in strikes if tooth in pitches]
    index = [k for k, (_, tooth) in enumerate(strikes) if tooth in pitches]
    if len(usable) < FEWEST_STRIKES:
        raise BadInput(
            f"only {len(usable)} strikes have a tooth with a known pitch; at least {FEWEST_STRIKES} are needed. "
            "Give the comb's pitches first (disc comb JOB --plucked REC)."
        )
    advance(0.05, "listening for every pitch")
    recording, tones, clock, cents, expected, path, fit = _lay(recording, pitches, usable, revolution_s)
    if fit < LEAST_FIT:
        raise BadInput(
            f"this recording does not follow the pins (fit {fit:.2f}, needed {LEAST_FIT}). Is it a turn of this disc, "
            "and are the comb's pitches right?"
        )
    advance(0.5, "matching strikes")
    matched, motion, tones = _settle(recording, tones, expected, path)
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
    return _judged(sounds, matched, tones, index, len(strikes), Turn(
        (), (), (), (), period, speed, motion, whirr.lines_hz if whirr else (), clock, cents, fit, laps, tuple(remarks)
    ))  # fmt: skip


def _lay(
    recording: Recording, pitches: dict[int, float], strikes: Sequence[tuple[float, int]], hint_s: float | None
) -> tuple[Recording, Tones, float, float, list[Expected], FloatArray, float]:
    """The best of the likely clocks and lines: recording put right, tones, clock, tuning, strikes, path, fit."""
    whole = transform(recording)
    shifts = overall_shifts(whole, [pitches[t] for t in sorted(pitches)])
    best = None
    strongest = shifts[0][1]
    for cents, score in [(c, s) for c, s in shifts if s > 0.8 * strongest]:
        clock = _clock(cents, recording.rate) if abs(cents) > CLOCK_CENTS else 1.0
        right = replace(recording, rate=recording.rate * clock)
        tones = tones_of(transform(right), pitches, cents + 1200 * float(np.log2(clock)))
        turns = np.array([t for t, _ in strikes])
        groups = [tones.group_of(tooth) for _, tooth in strikes]
        for line in find_line(tones, turns, groups, hint_s)[:3]:
            expected = expected_along(line, strikes, tones, 0.2)
            if len(expected) < FEWEST_STRIKES:
                continue
            path, fit = lay_path(tones, expected, line)
            # More of the recording explained is better, at equal fit.
            worth = fit * np.sqrt(len(expected)) * score / strongest
            if best is None or worth > best[0]:
                best = (worth, right, tones, clock, cents + 1200 * float(np.log2(clock)), expected, path, fit)
    if best is None:
        raise BadInput("the recording is too short to lay the strikes along it. Record a whole turn.")
    return best[1:]  # type: ignore[return-value]


def _clock(cents: float, rate: float) -> float:
    """The ratio by which a sample rate must be multiplied so that a shift of so many cents goes away."""
    ratio = 2.0 ** (-cents / 1200.0)
    standard = min(STANDARD_RATES, key=lambda r: abs(np.log(r / (rate * ratio))))
    if abs(1200 * np.log2(standard / (rate * ratio))) < SNAP_CENTS:
        return standard / rate
    return ratio


def _settle(
    recording: Recording, tones: Tones, expected: list[Expected], path: FloatArray
) -> tuple[Matched, Motion, Tones]:
    """Match, fit the motion, listen again at the teeth's own frequencies, and match again along it, with exact
    onsets."""
    whole = transform(recording)
    curve, step_s = attack_curve(recording)
    for again in range(3):
        loud = loudness(tones)
        matched = match(tones, expected, path, loud)
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
    return replace(matched, heard=heard, extra=tuple((exact[id(b)], odds) for b, odds in matched.extra))


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
        if _is_tone(low, b, float(tones.hz[b.group])):
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


def _is_tone(low: Recording, b: Beginning, hz: float) -> bool:
    """Whether what begins stands out of its surroundings in the spectrum, as noise and knocks do not."""
    return any(
        abs(1200 * np.log2(t.frequency_hz / hz)) < 60.0 and t.over_db > TONE_OVER_DB and t.t60_s > LEAST_T60_S
        for t in new_tones(low, b.time_s)
    )


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
    strengths: dict[int, list[float]] = {}
    for s in sounds:
        if s.strike is not None:
            strengths.setdefault(s.strike, []).append(s.strength)
    silent = [h for h in matched.heard if h.beginning is None]
    places = turn.motion.time(np.array([h.expected.turn for h in silent]))
    missed = tuple(
        Missed(float(t), _pitch(tones, h.expected.group), h.expected.tooth, index[h.expected.index])
        for t, h in zip(places, silent, strict=True)
    )
    weak = [k for k, v in strengths.items() if max(v) < WEAK_SHARE]
    return replace(
        turn, sounds=tuple(sounds), silent=tuple(sorted(inside - heard)),
        unheard=tuple(sorted(set(range(count)) - inside)), weak=tuple(sorted(weak)), missed=missed,
    )  # fmt: skip
