"""Where the strikes lie in a recording: the likeliest of several guesses at clock, tempo, place and octave.

Every guess lays all expected strikes along the recording (turn_path) and is weighed by what each strike
finds where it is to sound, over what chance would give it, and by how much of what sounds they explain. A comb heard an
octave too high fits its strikes' second partials as well as the right one fits their fundamentals; so of two guesses an
octave apart the lower one stands if it does nearly as well, since nothing sounds an octave under a fundamental.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import maximum_filter1d

from disc.errors import BadInput
from disc.listen.sound.audio import FloatArray, Recording
from disc.listen.sound.bands import Whole, transform
from disc.listen.turn.place.disc_path import Expected, SteadyTurn, expected_along, find_line, lay_path, salience
from disc.listen.turn.place.tones import WIDEST_SHIFT_CENTS, Tones, overall_shifts, tones_of

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# A comb that sounds this much off its table was recorded with another clock; less is tuning or warmth.
CLOCK_CENTS = 60.0
# samples a second; common practice, no source
STANDARD_RATES = (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000, 88200, 96000)
# The comb may be off its table as a whole by so much; neighbouring standard rates are 147 cents apart or more.
SNAP_CENTS = 35.0
# What a guess is worth whose clock is no standard rate: a bell's other partial fits as well as a recording made at 1.7
# times the speed, which hardly happens.
ODD_CLOCK = 0.6
FEWEST_STRIKES = 6  # that a turn can be found by; chosen by hand
SHIFT_SHARE = 0.8  # of the best shift's score, for another to be tried
RIGHT_CLOCK_SHARE = 0.5  # the same for the shift that needs no other clock, which is by far the most frequent
# Steady turns that score this much less than the best never came out first (tuning recordings).
LINE_SHARE, GUESSES = 0.6, 8
# Of the strikes that the upper guess finds, for the guess an octave below to stand instead. Below the right octave 0.2
# to 0.6 of them were found, below that of the second partials 0.9 or more (four tuning recordings).
OCTAVE_SHARE, OCTAVE_CENTS = 0.75, 1200.0
MOST_OFF_HINT = 0.25  # nats, of the time of a turn given: a clock an octave off is 0.69 off; chosen
# What is clearly there, explained by a strike so near; tops nearer than the last are one. Chosen by hand.
LOUD_SALIENCE, NEAR_S, APART_S = 0.7, 0.15, 0.25


@dataclass(frozen=True)
class LaidStrikes:
    """The strikes laid along a recording. recording: with its clock put right by the factor clock; whole: its
    transform. cents: how much the comb sounds above its table. path_s: shape (n,), one for each expected strike. fit:
    mean salience there. found: how many strikes find their sound, less what chance finds. explained: share of the loud
    beginnings."""

    recording: Recording
    whole: Whole
    tones: Tones
    clock: float
    cents: float
    line: SteadyTurn
    expected: list[Expected]
    path_s: FloatArray
    fit: float
    found: float
    explained: float

    @property
    def worth(self) -> float:
        """How well the guess accounts for what was to sound and for what did."""
        return self.found * float(np.sqrt(self.explained))


def lay(
    recording: Recording, pitches: dict[int, float], strikes: Sequence[tuple[float, int]], hint_s: float | None
) -> LaidStrikes:
    """The likeliest guess. pitches: by tooth. strikes: (fraction of a turn, tooth). hint_s: a turn's time, if known.

    Raises BadInput if the recording is too short for any.
    """
    whole = transform(recording)
    turns = np.array([t for t, _ in strikes])
    guesses = []
    for cents in _shifts(whole, pitches):
        heard = _heard_at(recording, whole, pitches, cents)
        groups = [heard[2].group_of(tooth) for _, tooth in strikes]
        guesses += [(*heard, line) for line in find_line(heard[2], turns, groups, hint_s)]
    guesses.sort(key=lambda guess: -guess[-1].score)
    likely = [g for g in guesses[:GUESSES] if g[-1].score >= LINE_SHARE * guesses[0][-1].score]
    laid = [found for g in likely if (found := _along(*g, strikes)) is not None]
    if not laid:
        raise BadInput("the recording is too short to lay the strikes along it. Record a whole turn.")
    best = max(laid, key=lambda guess: guess.worth * (1.0 if _is_usual(guess.clock, recording.rate) else ODD_CLOCK))
    return _octave_below(recording, whole, pitches, strikes, best, hint_s) or best


def _shifts(whole: Whole, pitches: dict[int, float]) -> list[float]:
    """Shifts in cents worth trying, best first."""
    found = overall_shifts(whole, [pitches[t] for t in sorted(pitches)])
    best = max(score for _, score in found)
    tried = [c for c, s in found if s > SHIFT_SHARE * best or (abs(c) < CLOCK_CENTS and s > RIGHT_CLOCK_SHARE * best)]
    return tried


def _heard_at(
    recording: Recording, whole: Whole, pitches: dict[int, float], cents: float
) -> tuple[Recording, Whole, Tones, float, float]:
    """(recording with its clock put right, its transform, tones, factor of the clock, cents that are left) for one
    shift."""
    clock = _clock(cents, recording.rate) if abs(cents) > CLOCK_CENTS else 1.0
    right = recording if clock == 1.0 else replace(recording, rate=recording.rate * clock)
    rest = cents + 1200.0 * float(np.log2(clock))
    heard = whole if clock == 1.0 else replace(whole, rate=right.rate)
    return right, heard, tones_of(heard, pitches, rest), clock, rest


def _along(
    recording: Recording, whole: Whole, tones: Tones, clock: float, cents: float, line: SteadyTurn,
    strikes: Sequence[tuple[float, int]],
) -> LaidStrikes | None:  # fmt: skip
    expected = expected_along(line, strikes, tones, 0.2)
    if len(expected) < FEWEST_STRIKES:
        return None
    path, fit = lay_path(tones, expected, line)
    found, explained = _found_and_explained(tones, expected, path)
    return LaidStrikes(recording, whole, tones, clock, cents, line, expected, path, fit, found, explained)


def _found_and_explained(tones: Tones, expected: Sequence[Expected], path_s: FloatArray) -> tuple[float, float]:
    """(strikes at path_s that find their sound, less what chance finds; share of the loud beginnings explained)."""
    clear = salience(tones)
    near = maximum_filter1d(clear, 1 + 2 * round(0.016 / tones.step_s), axis=1)
    chance = near.mean(axis=1)
    groups = np.array([e.group for e in expected])
    frames = np.round(path_s / tones.step_s).astype(int)
    inside = (frames >= 0) & (frames < tones.frames)
    found = np.where(inside, near[groups, np.clip(frames, 0, tones.frames - 1)], 0.0)
    gains = (found - chance[groups]) / np.maximum(0.2, 1.0 - chance[groups])
    return float(gains.sum()), _explained_share(clear, groups, path_s, tones.step_s)


def _explained_share(clear: FloatArray, groups: FloatArray, path_s: FloatArray, step_s: float) -> float:
    """Of the loud beginnings of all pitches the share that stands near a strike of its pitch."""
    apart = 1 + 2 * round(APART_S / step_s)
    loud = (clear >= LOUD_SALIENCE) & (clear >= maximum_filter1d(clear, apart, axis=1))
    total = explained = 0
    for group in range(len(clear)):
        at = np.flatnonzero(loud[group]) * step_s
        mine = path_s[groups == group]
        total += len(at)
        if len(mine) and len(at):
            explained += int(np.sum(np.abs(at[:, None] - mine[None, :]).min(axis=1) <= NEAR_S))
    return explained / total if total else 0.0


def _octave_below(
    recording: Recording,
    whole: Whole,
    pitches: dict[int, float],
    strikes: Sequence[tuple[float, int]],
    upper: LaidStrikes,
    hint_s: float | None,
) -> LaidStrikes | None:
    """The guess an octave below on the same strikes, if it does nearly as well and the time of a turn that was given,
    if any, does not speak against it."""
    cents = upper.cents - 1200.0 * float(np.log2(upper.clock)) - OCTAVE_CENTS
    if cents < -WIDEST_SHIFT_CENTS:
        return None
    right, heard, tones, clock, rest = _heard_at(recording, whole, pitches, cents)
    if _is_usual(upper.clock, recording.rate) and not _is_usual(clock, recording.rate):
        return None
    ratio = upper.clock / clock  # the other clock's seconds
    line = replace(upper.line, start_s=upper.line.start_s * ratio, revolution_s=upper.line.revolution_s * ratio)
    if hint_s is not None and abs(np.log(line.revolution_s / hint_s)) > MOST_OFF_HINT:
        return None
    lower = _along(right, heard, tones, clock, rest, line, strikes)
    if lower is None or lower.found < OCTAVE_SHARE * upper.found:
        return None
    return lower


def is_usual_clock(laid: LaidStrikes) -> bool:
    """Whether the recording was made at the rate it says, or at another one that recorders have."""
    return _is_usual(laid.clock, laid.recording.rate / laid.clock)


def _is_usual(clock: float, rate: float) -> bool:
    """Whether the recording's own clock is right, or was taken for another standard one."""
    return clock == 1.0 or any(abs(rate * clock / standard - 1.0) < 1e-6 for standard in STANDARD_RATES)


def _clock(cents: float, rate: float) -> float:
    """The ratio by which a sample rate must be multiplied so that a shift of so many cents goes away."""
    ratio = 2.0 ** (-cents / 1200.0)
    standard = min(STANDARD_RATES, key=lambda r: abs(np.log(r / (rate * ratio))))
    if abs(1200 * np.log2(standard / (rate * ratio))) < SNAP_CENTS:
        return standard / rate
    return ratio
