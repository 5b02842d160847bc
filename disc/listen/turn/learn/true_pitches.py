"""Where each tooth really sounds: its pitch from all of its strikes together, up to 120 cents off its table.

A spectrum just after each strike less the one just before shows what the strike set going. Summed over all strikes of a
tooth, its own line stands in every one of them, while what its companions in the chords set going changes from strike
to strike. What a companion sets going at its other strikes too is its own partial. What the recording's other strikes
show at the same frequency is the ground it must stand out of.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.listen.sound.audio import FloatArray, Recording
from disc.listen.sound.bands import hz_of_pitch
from disc.listen.turn.place.disc_path import Expected

WINDOW_S, SKIP_S = 0.16, 0.012  # after a strike and before it, and left out for the pluck's noise; chosen by hand
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# off the table, and the grid between; a semitone and some room, beyond it is another tooth's
FARTHEST_CENTS, STEP_CENTS = 130.0, 2.0
# A tooth this much off its table is said to be so; less is warmth, or the table's own rounding.
OFF_TABLE_CENTS = 20.0
ON_TABLE_CENTS = 14.0  # so near, a line counts as the table's own
FEWEST = 2  # strikes that tell of a tooth together; one alone needs LONE_SCORE
# A single strike tells where its tooth stands if nothing else could: so full, and so far over the table's own place.
LONE_SCORE, LONE_LEAD = 0.8, 0.6
# Of the range from ground to full tone a line off the table must reach, and by which it must stand over what is found
# at the table itself. Chosen on the drawn recordings of the usual make that were looked at.
LEAST_SCORE, LEAST_LEAD = 0.45, 0.22
# A low tooth under louder ones never comes to its full: where nothing at all stands at the table, and four pins say the
# same, less is enough. Chosen on the one turn that shows it.
LEAST_SCORE_ALONE, LEAST_AT_TABLE = 0.33, 0.08
LEAST_NEAR = 0.25  # so full a line near the table is the tooth's own
# Two or three strikes may have a companion's partial in common: of so few a line farther from the table than this must
# stand over what is nearer by so much.
ENOUGH, NEAREST_CENTS, FEW_LEAD = 4, 8.0, 0.15
TWIN_SEMITONES = 0.6  # nearer, a tooth's tone is its twin's as well; chosen by hand
RANGE_DB = 24.0  # a line so far under a strike's own loudest counts as nothing
OTHERS_CENTS = 40.0  # about the table pitch of a companion in the chord nothing is learned
# What a companion of the chord usually sets going at its other strikes, of which so many are asked, is its partial:
# twice its power is not this tooth's, since strikes of a tooth differ by some 3 dB; four times what is here is not its
# partial. Chosen.
TOGETHER_S, MOST_OF_COMPANION, OF_USUAL, MOST_OF_HERE = 0.09, 4, 2.0, 4.0


@dataclass(frozen=True)
class OffTable:
    """A tooth that sounds cents above (or, negative, below) the pitch its table gives."""

    tooth: int
    cents: float


def off_table(
    recording: Recording, expected: Sequence[Expected], path_s: FloatArray, pitches: dict[int, float]
) -> tuple[tuple[OffTable, ...], dict[int, float]]:
    """(the teeth that sound off their table, cents from the table by tooth for those that are near it). recording: best
    from for_fundamentals. pitches: of the table, by tooth, as the comb sounds as a whole. path_s: where each expected
    strike is.

    A tooth's own line is its own even where a twin some cents away is louder in the whole recording."""
    grid = np.arange(-FARTHEST_CENTS, FARTHEST_CENTS + 0.5 * STEP_CENTS, STEP_CENTS)
    rises = _Rises(recording)
    found, near = [], {}
    for tooth in sorted({e.tooth for e in expected}):
        mine = [k for k, e in enumerate(expected) if e.tooth == tooth and 0.0 < path_s[k] < recording.length_s - 0.3]
        if not mine:
            continue
        cents = _off(rises, grid, tooth, mine, expected, path_s, pitches)
        if cents is not None and abs(cents) >= OFF_TABLE_CENTS:
            found.append(OffTable(tooth, cents))
        elif cents is not None:
            near[tooth] = cents
        elif any(t != tooth and abs(p - pitches[tooth]) < TWIN_SEMITONES for t, p in pitches.items()):
            near[tooth] = 0.0  # a quiet tooth is not taken to sound its twin's pitch
    return tuple(found), near


def _off(
    rises: _Rises, grid: FloatArray, tooth: int, mine: list[int], expected: Sequence[Expected], path_s: FloatArray,
    pitches: dict[int, float],
) -> float | None:  # fmt: skip
    hz = hz_of_pitch(pitches[tooth]) * 2.0 ** (grid / 1200.0)
    times = [float(path_s[k]) for k in mine]
    theirs = OF_USUAL * _companions(rises, hz, tooth, times, expected, path_s)
    mean = _mean(_scores(rises, hz, grid, tooth, times, expected, path_s, pitches, theirs))
    others = sorted({round(float(t), 2) for e, t in zip(expected, path_s, strict=True) if e.tooth != tooth})
    away = [t for t in others if min(abs(t - path_s[k]) for k in mine) > 0.1][:: max(1, len(others) // 24)]
    ground = _scores(rises, hz, grid, tooth, away, expected, path_s, pitches)
    standing = mean - _mean(ground)
    near = np.abs(grid) <= ON_TABLE_CENTS
    top = int(np.argmax(np.where(np.abs(grid) >= OFF_TABLE_CENTS, standing, -1.0)))
    pins = len({expected[k].index for k in mine})  # of one pin two turns say the same
    least, lead = (LEAST_SCORE, LEAST_LEAD) if pins >= FEWEST else (LONE_SCORE, LONE_LEAD)
    if pins >= ENOUGH and standing[near].max() < LEAST_AT_TABLE:
        least = LEAST_SCORE_ALONE
    if standing[top] < least or standing[top] - standing[near].max() < lead:
        top = int(np.argmax(np.where(np.abs(grid) < OFF_TABLE_CENTS, standing, -1.0)))
        nearest = int(np.argmax(np.where(np.abs(grid) <= NEAREST_CENTS, standing, -1.0)))
        if len(mine) < ENOUGH and standing[top] - standing[nearest] < FEW_LEAD:
            top = nearest
        if standing[top] < LEAST_NEAR:
            return None
    return _vertex(grid, standing, top)


def _mean(scores: FloatArray) -> FloatArray:
    """Mean over the times, of what is known; 0 where nothing is."""
    known = np.isfinite(scores)
    return np.asarray(np.where(known, scores, 0.0).sum(axis=0) / np.maximum(1, known.sum(axis=0)))


def _companions(
    rises: _Rises, hz: FloatArray, tooth: int, times: Sequence[float], expected: Sequence[Expected], path_s: FloatArray
) -> FloatArray:
    """The most that one of the chord's companions sets going at each frequency, as power, shape (times, grid), by what
    they usually do at their strikes without this tooth; what is far more than is here is of others that begin there."""
    alone: dict[int, FloatArray] = {}
    rows = np.zeros((len(times), len(hz)))
    own = np.array(times)
    for row, t in enumerate(times):
        here, _ = rises.power_at(t, hz)
        for other in {e.tooth for e, at in zip(expected, path_s, strict=True) if abs(at - t) < TOGETHER_S} - {tooth}:
            if other not in alone:
                moments = [
                    float(at) for e, at in zip(expected, path_s, strict=True)
                    if e.tooth == other and np.abs(own - at).min() > WINDOW_S and at > 0.0
                ][:MOST_OF_COMPANION]  # fmt: skip
                powers = [rises.power_at(at, hz)[0] for at in moments]
                alone[other] = np.median(powers, axis=0) if powers else np.zeros(len(hz))
            usual = alone[other]
            rows[row] = np.maximum(rows[row], np.where(usual < MOST_OF_HERE * here, usual, 0.0))
    return rows


def _vertex(grid: FloatArray, standing: FloatArray, top: int) -> float:
    if not 0 < top < len(grid) - 1:
        return float(grid[top])
    a, b, c = standing[top - 1 : top + 2]
    bend = a - 2 * b + c
    shift = 0.5 * (a - c) / bend if bend < 0 else 0.0
    return float(grid[top] + STEP_CENTS * np.clip(shift, -0.5, 0.5))


def _scores(
    rises: _Rises, hz: FloatArray, grid: FloatArray, tooth: int, times: Sequence[float], expected: Sequence[Expected],
    path_s: FloatArray, pitches: dict[int, float], theirs: FloatArray | None = None,
) -> FloatArray:  # fmt: skip
    """How full each frequency rises at each time, 0 to 1, shape (times, grid); nan about companions' table pitches.
    theirs: the power to leave out, as _companions gives it."""
    rows = []
    for k, t in enumerate(times):
        row = rises.at(t, hz, 0.0 if theirs is None else theirs[k])
        for e, other in zip(expected, path_s, strict=True):
            if abs(other - t) < TOGETHER_S and e.tooth != tooth:
                apart = 100.0 * (pitches[e.tooth] - pitches[tooth])
                row = np.where(np.abs(grid - apart) < OTHERS_CENTS, np.nan, row) if abs(apart) > OTHERS_CENTS else row
        rows.append(row)
    return np.array(rows) if rows else np.zeros((0, len(grid)))


class _Rises:
    """Spectra after and before moments of a recording, made once each."""

    def __init__(self, recording: Recording) -> None:
        self.samples, self.rate = recording.samples, recording.rate
        self.count = round(WINDOW_S * recording.rate)
        self.size = 1 << int(np.ceil(np.log2(4 * self.count)))
        self.window = np.hanning(self.count)
        self.kept: dict[float, FloatArray] = {}

    def at(self, time_s: float, hz: FloatArray, theirs: FloatArray | float = 0.0) -> FloatArray:
        """How full what begins at time_s rises at each frequency, 0 to 1 of RANGE_DB under the moment's loudest in the
        region asked for and about it. theirs: power that others set going."""
        here, loudest = self.power_at(time_s, hz)
        here = np.maximum(here - theirs, 0.0)
        top = max(float(here.max()), 0.03 * loudest) + 1e-20
        return np.clip(1.0 + 10.0 * np.log10(here / top + 1e-20) / RANGE_DB, 0.0, 1.0)

    def power_at(self, time_s: float, hz: FloatArray) -> tuple[FloatArray, float]:
        """(by how much the power at each frequency rises at time_s, by how much it does where it does most)."""
        key = round(time_s, 3)
        if key not in self.kept:
            after = self._power(time_s + SKIP_S)
            before = self._power(time_s - SKIP_S - WINDOW_S)
            self.kept[key] = np.maximum(after - before, 0.0)
        places = hz * self.size / self.rate
        low = np.clip(places.astype(int), 0, self.size // 2 - 1)
        rise = self.kept[key]
        return rise[low] + (places - low) * (rise[low + 1] - rise[low]), float(rise.max())

    def _power(self, start_s: float) -> FloatArray:
        first = round(start_s * self.rate)
        piece = np.zeros(self.count)
        low, high = max(0, first), min(len(self.samples), first + self.count)
        if high > low:
            piece[low - first : high - first] = self.samples[low:high]
        return np.asarray(np.abs(np.fft.rfft(piece * self.window, self.size)) ** 2)
