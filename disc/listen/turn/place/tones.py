"""How strongly each pitch of the comb begins at each moment of a recorded turn.

For every pitch two windows stand on either side of a moment. What the window before leads one to expect, carried on
with its decay, is taken off the window after it; what is left has begun between them. Ringing, however loud, leaves
nothing; a second strike of a ringing tooth leaves its full strength.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.listen.sound.audio import FloatArray
from disc.listen.sound.bands import FALL_60_DB, Whole, band, hz_of_pitch

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# Teeth nearer than this cannot be told apart by ear or by spectrum within a note's length.
SAME_PITCH_SEMITONES = 0.25
SHARED_SEMITONES = 0.5  # nearer, the ringing of one is taken for a strike of the other
SHORTEST_WINDOW_S, LONGEST_WINDOW_S = 0.030, 0.130  # bounds of two periods of the gap to the next pitch
STEP_S = 0.004  # between moments; chosen by hand, a fraction of the shortest window
USUAL_T60_S = 2.0  # of a tooth whose own ring is not known
TUNING_CENTS = 45.0  # how far a tooth may sound from the table and still be it
# Teeth so near share a line; how far a line is sought from where the table puts it.
CLOSE_SEMITONES, CLOSE_CENTS = 0.02, 4.0
NEAR_CENTS = 7.0  # of a tooth's own line as its strikes' spectra show it
# The usual distance: a partial of another tooth must be much stronger to be taken for it from farther off.
USUAL_CENTS = 15.0


@dataclass(frozen=True)
class Tones:
    """strength: shape (pitches, frames), amplitude of what begins; frame k at k * step_s. steady: same
    shape, 0 to 1, how far what has begun goes on as a tone does (noise does not). hz: shape (pitches,), as
    heard. teeth: for each pitch the teeth that have it. noise: shape (pitches,), the usual strength of nothing.
    rung_hz: for each pitch the frequencies at which its teeth ring, one or several some cents apart. window_s: shape
    (pitches,).
    """

    strength: FloatArray
    steady: FloatArray
    step_s: float
    hz: FloatArray
    teeth: tuple[tuple[int, ...], ...]
    noise: FloatArray
    rung_hz: tuple[tuple[float, ...], ...]
    window_s: FloatArray

    @property
    def frames(self) -> int:
        """How many frames."""
        return self.strength.shape[1]

    def group_of(self, tooth: int) -> int:
        """Index of the pitch that a tooth has. Raises KeyError if it has none."""
        for k, teeth in enumerate(self.teeth):
            if tooth in teeth:
                return k
        raise KeyError(tooth)


def without_dead(pitches: dict[int, float], dead: Collection[int]) -> dict[int, float]:
    """The pitches by tooth less those of dead teeth that share a live tooth's."""
    live = [pitch for tooth, pitch in pitches.items() if tooth not in dead]
    return {
        tooth: pitch
        for tooth, pitch in pitches.items()
        if tooth not in dead or all(abs(pitch - other) >= SHARED_SEMITONES for other in live)
    }


def groups_of(pitches: dict[int, float]) -> tuple[tuple[int, ...], ...]:
    """Teeth gathered by pitch, lowest first; teeth within SAME_PITCH_SEMITONES of a group's first are one group."""
    groups: list[list[int]] = []
    for tooth in sorted(pitches, key=lambda t: (pitches[t], t)):
        if groups and pitches[tooth] - pitches[groups[-1][0]] < SAME_PITCH_SEMITONES:
            groups[-1].append(tooth)
        else:
            groups.append([tooth])
    return tuple(tuple(g) for g in groups)


def tones_of(whole: Whole, pitches: dict[int, float], shift_cents: float = 0.0) -> Tones:
    """The strength of beginnings for every pitch of the comb. shift_cents: how much higher all of it sounds."""
    groups = groups_of(pitches)
    lines = LineSpectrum(whole)
    rung = [lines.of_group([pitches[t] + shift_cents / 100.0 for t in group]) for group in groups]
    return tones_at(whole, groups, rung)


def tones_near(whole: Whole, pitches: dict[int, float], known: Collection[int]) -> Tones:
    """The strength of beginnings for every pitch where most teeth's own lines are roughly known. known: those teeth."""
    groups = groups_of(pitches)
    lines = LineSpectrum(whole)
    rung = []
    for group in groups:
        mine = sorted(pitches[t] for t in group if t in known)
        if not mine:
            rung.append(lines.of_group([pitches[t] for t in group]))
            continue
        apart = [p for k, p in enumerate(mine) if not k or p - mine[k - 1] > CLOSE_SEMITONES]
        rung.append(sorted({lines.nearest(hz_of_pitch(p), NEAR_CENTS) for p in apart}))
    return tones_at(whole, groups, rung)


def tones_at(whole: Whole, groups: Sequence[tuple[int, ...]], rung_hz: Sequence[Sequence[float]]) -> Tones:
    """The same where it is known at which frequencies each group of teeth rings."""
    hz = np.array([float(np.mean(row)) for row in rung_hz])
    window_s = np.array([_window_s(hz, k) for k in range(len(hz))])
    rows = [_least(_beginnings(whole, f, w) for f in row) for row, w in zip(rung_hz, window_s, strict=True)]
    frames = min(len(r[0]) for r in rows)
    strength = np.array([r[0][:frames] for r in rows])
    steady = np.array([r[1][:frames] for r in rows])
    noise = np.median(strength, axis=1) + 1e-9
    return Tones(strength, steady, STEP_S, hz, tuple(groups), noise, tuple(map(tuple, rung_hz)), window_s)


def _least(rows: Iterable[tuple[FloatArray, FloatArray]]) -> tuple[FloatArray, FloatArray]:
    """What begins at all frequencies of a group alike: the ringing of one tooth is unsteady at another's frequency."""
    found = list(rows)
    strength = np.min([r[0] for r in found], axis=0)
    return strength, np.max([r[1] for r in found], axis=0)


class LineSpectrum:
    """The spectrum of the whole recording: where the lines of ringing teeth stand."""

    def __init__(self, whole: Whole) -> None:
        self.fine = np.abs(whole.bins) ** 2
        self.fine_step = whole.rate / whole.size
        self.width = max(1, round(0.6 / self.fine_step))

    def of_group(self, pitches: Sequence[float]) -> list[float]:
        """Frequencies at which teeth of nearly one pitch ring: all are moved alike to where the strongest lines stand,
        then each to its own line. One frequency where they are too near to be told apart."""
        apart = sorted({round(p, 2) for p in pitches})
        if apart[-1] - apart[0] < CLOSE_SEMITONES:
            apart = [float(np.mean(pitches))]
        nominal = [hz_of_pitch(p) for p in apart]
        if len(nominal) == 1:
            return [self.nearest(nominal[0], TUNING_CENTS)]
        moves = np.arange(-TUNING_CENTS, TUNING_CENTS + 0.5)
        sums = np.zeros(len(moves))
        for hz in nominal:
            off, smooth, _ = self._around(hz, TUNING_CENTS)
            if not len(off):
                return nominal
            sums += np.log(np.interp(moves, off, smooth) + 1e-12)
        best = float(moves[int(np.argmax(sums - 0.5 * (moves / USUAL_CENTS) ** 2))])
        return [self.nearest(hz * 2 ** (best / 1200.0), CLOSE_CENTS) for hz in nominal]

    def nearest(self, hz: float, cents: float) -> float:
        """Frequency of the strongest line within so many cents, as the centre of its energy."""
        off, smooth, low = self._around(hz, cents)
        if len(off) < 3 or smooth.max() <= 0:
            return hz
        top = int(np.argmax(smooth * np.exp(-0.5 * (off / USUAL_CENTS) ** 2)))
        reach = slice(max(0, top - 2 * self.width), top + 2 * self.width + 1)
        places = low + np.arange(len(off))[reach]
        power = self.fine[places] ** 2
        return float(np.sum(places * power) / np.sum(power) * self.fine_step)

    def _around(self, hz: float, cents: float) -> tuple[FloatArray, FloatArray, int]:
        """(cents off hz, smoothed power, first bin) of the spectrum within so many cents."""
        low, high = (int(hz * 2 ** (s * cents / 1200) / self.fine_step) for s in (-1, 1))
        if low < self.width or high + 1 + self.width > len(self.fine) or high - low < 2:
            return np.zeros(0), np.zeros(0), low
        piece = self.fine[low - self.width : high + 1 + self.width]
        smooth = np.convolve(piece, np.hanning(2 * self.width + 1), mode="valid")
        return 1200 * np.log2(np.arange(low, high + 1) * self.fine_step / hz), smooth, low


def _window_s(hz: FloatArray, k: int) -> float:
    """As short as tells this pitch from its neighbours: the first zero of a Hann window at the nearest one."""
    apart = np.abs(np.delete(hz, k) - hz[k])
    nearest = float(apart.min()) if len(apart) else hz[k] * 0.06
    return float(np.clip(2.0 / max(nearest, hz[k] * 0.03), SHORTEST_WINDOW_S, LONGEST_WINDOW_S))


# A tone that has begun is looked at again so long after, in these many places.
STEADY_S, STEADY_PLACES = 0.12, 3


def _beginnings(whole: Whole, hz: float, window_s: float) -> tuple[FloatArray, FloatArray]:
    """(strength, steadiness) at every frame; shape (frames,) each."""
    envelope, rate = band(whole, hz, 0.5 / STEP_S * 1.25)
    span = max(4, round(window_s * rate))
    kernel = np.hanning(span + 2)[1:-1]
    smooth = np.convolve(envelope, kernel / kernel.sum(), mode="same")
    frames = np.arange(int(len(envelope) / rate / STEP_S))
    after = _at(smooth, (frames * STEP_S + 0.5 * window_s) * rate)
    before = _at(smooth, (frames * STEP_S - 0.5 * window_s) * rate)
    fall = np.exp(-FALL_60_DB * window_s / USUAL_T60_S)
    fresh = after - before * fall
    total, power = np.zeros(len(frames), dtype=complex), np.zeros(len(frames))
    for k in range(STEADY_PLACES):
        wait_s = STEADY_S * k / (STEADY_PLACES - 1)
        decay = np.exp(-FALL_60_DB * (window_s + wait_s) / USUAL_T60_S)
        later = _at(smooth, (frames * STEP_S + 0.5 * window_s + wait_s) * rate) - before * decay
        total += later
        power += np.abs(later) ** 2
    steady = np.abs(total) ** 2 / (STEADY_PLACES * power + 1e-20)
    return np.abs(fresh), steady


def _at(values: npt.NDArray[np.complex128], places: npt.NDArray[np.floating]) -> npt.NDArray[np.complex128]:
    """Values between samples, by straight lines; nothing outside."""
    grid = np.arange(len(values))
    real = np.interp(places, grid, values.real, left=0.0, right=0.0)
    return real + 1j * np.interp(places, grid, values.imag, left=0.0, right=0.0)


# ---- is the recording's clock, or the comb's tuning, off as a whole?

WIDEST_SHIFT_CENTS = 1450.0  # just over an octave: 96 against 48 kHz, and 44.1 against 22.05
SHIFT_STEP_CENTS = 3.0  # between shifts tried; a third of LINE_CENTS, finer tells nothing more
NO_SHIFT_CENTS = 60.0  # tuning or warmth
LINE_CENTS = 9.0  # either side of a pitch, counted to its line; chosen by eye


def overall_shifts(whole: Whole, pitches: Sequence[float], most: int = 3) -> list[tuple[float, float]]:
    """The likeliest shifts of all pitches together as (cents, score), best first, from the lines of the spectrum; the
    best near none is always among them."""
    axis = np.arange(36.0, 116.0, SHIFT_STEP_CENTS / 100.0)
    hz = 440.0 * 2.0 ** ((axis - 69.0) / 12.0)
    step = whole.rate / whole.size
    power = np.abs(whole.bins) ** 2
    total = np.r_[0.0, np.cumsum(power)]
    low = np.clip((hz * 2 ** (-LINE_CENTS / 1200) / step).astype(int), 0, len(power) - 1)
    high = np.clip((hz * 2 ** (LINE_CENTS / 1200) / step).astype(int) + 1, low + 1, len(power))
    level = 10 * np.log10((total[high] - total[low]) / (high - low) + 1e-20)
    level[hz > 0.45 * whole.rate] = level.min()
    from scipy.ndimage import median_filter

    level = np.clip(level - median_filter(level, int(200 / SHIFT_STEP_CENTS)), 0.0, 40.0)
    places = np.round((np.unique(np.round(pitches, 2)) - axis[0]) * 100 / SHIFT_STEP_CENTS).astype(int)
    shifts = np.arange(-WIDEST_SHIFT_CENTS, WIDEST_SHIFT_CENTS + 1, SHIFT_STEP_CENTS)
    moves = np.round(shifts / SHIFT_STEP_CENTS).astype(int)
    inside = np.clip(places[None, :] + moves[:, None], 0, len(level) - 1)
    scores = level[inside].mean(axis=1)
    found: list[tuple[float, float]] = []
    for k in np.argsort(-scores):
        if all(abs(shifts[k] - s) > 30.0 for s, _ in found):
            found.append((float(shifts[k]), float(scores[k])))
        if len(found) == most:
            break
    none = np.abs(shifts) < NO_SHIFT_CENTS
    if all(abs(s) >= NO_SHIFT_CENTS for s, _ in found):
        found.append((float(shifts[none][np.argmax(scores[none])]), float(scores[none].max())))
    return found
