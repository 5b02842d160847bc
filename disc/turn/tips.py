"""Tip angles that were not measured, from the beat: a track's strikes are all late or early by the same amount.

On a staggered comb each tip stands at its own angle. Where it is not known, the track's strikes keep their beat among
themselves but stand off the others'. The step common to all tracks shows in the sum of their separate spectra; the
phase of each track at that step is its shift, up to whole steps. Among those, within the limits given, the one is taken
that keeps the coarser beats together best, so limits narrower than half a step leave no doubt, wider ones may. The
limits lie about where the measured tips of the same face let a tip be expected: tips stand in a row, and their angle
changes evenly with the radius. The result is an estimate and is named as one; only a measurement is sure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.frame import FULL_TURN_DEG, FloatArray, onset_s, tip_for, turn_for_onset_deg, wrap_deg
from disc.records import Comb, Plate, Strike, Tooth
from disc.tune.read.time.step_grid import LONGEST_STEP_S, SHORTEST_STEP_S

# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
# A track with fewer strikes tells nothing about its own shift.
FEWEST_STRIKES = 4
DEFAULT_LIMIT_DEG = 3.0  # common practice, no source: tips of one comb stand within a few degrees of their row
SPREAD_OF_LIMIT = 0.4  # a shift's usual size as a share of the limit: small ones are likelier
TRIED_A_PEAK = 6.0  # frequencies within the width of one peak of the spectrum
MULTIPLES = (1, 2, 3, 4)  # beats of so many steps in which a shift by whole steps would show


@dataclass(frozen=True, slots=True)
class TipEstimate:
    """tip_theta_deg: by tooth, estimated; sigma_deg: its error by tooth; silent: teeth with too few strikes to tell."""

    tip_theta_deg: Mapping[int, float]
    sigma_deg: Mapping[int, float]
    silent: tuple[int, ...] = ()


def estimate_tips(
    strikes: Sequence[Strike], comb: Comb, plate: Plate, limit_deg: float = DEFAULT_LIMIT_DEG
) -> TipEstimate:
    """Tip angles of the teeth that have none, within limit_deg of the measured ones' row (or of 0 if none is measured).

    strikes: of the comb with its unknown tips where their row lets them be expected (as_expected).
    """
    unknown = {tooth.number for tooth in comb.teeth if tooth.tip_theta_deg is None}
    tracks = _tracks(strikes, unknown)
    open_teeth = [n for n in sorted(unknown) if len(tracks.get(n, ())) >= FEWEST_STRIKES]
    silent = tuple(n for n in sorted(unknown) if n not in open_teeth)
    if not open_teeth:
        return TipEstimate({}, {}, silent)
    frequency = _common_frequency([tracks[n] for n in (*open_teeth, 0) if n in tracks])
    limit_s = float(onset_s(limit_deg, plate.revolution_s))
    together = tracks.get(0)
    order = sorted(open_teeth, key=lambda n: (-len(tracks[n]), n))
    if together is None or len(together) < FEWEST_STRIKES:
        together = tracks[order[0]]  # no measured tooth: the busiest track stands at 0
    shifts: dict[int, float] = {}
    for number in order:
        shifts[number] = _shift_s(tracks[number], together, frequency, limit_s)
        together = np.r_[together, tracks[number] + shifts[number]]
    expected = expected_tips_deg(comb)
    return TipEstimate(
        {n: float(wrap_deg(expected[n] + _tip_deg(s, plate))) for n, s in shifts.items()},
        {n: _sigma_deg(tracks[n] + shifts[n], frequency, plate) for n in shifts},
        silent,
    )


def fill_silent(estimate: TipEstimate, comb: Comb, limit_deg: float = DEFAULT_LIMIT_DEG) -> TipEstimate:
    """The estimate with the teeth that play too little to tell put where the others' tips, the row, let them be."""
    known = {**{t.number: t.tip_theta_deg for t in comb.teeth}, **estimate.tip_theta_deg}
    row = expected_tips_deg(replace(comb, teeth=tuple(replace(t, tip_theta_deg=known[t.number]) for t in comb.teeth)))
    angles = dict(estimate.tip_theta_deg) | {number: row[number] for number in estimate.silent}
    sigmas = dict(estimate.sigma_deg) | dict.fromkeys(estimate.silent, SPREAD_OF_LIMIT * limit_deg)
    return replace(estimate, tip_theta_deg=angles, sigma_deg=sigmas)


def expected_tips_deg(comb: Comb) -> dict[int, float]:
    """Where each tip without an angle is to be expected, by tooth: on the row of its face's measured tips.

    Between two of them in proportion to the radius, beyond them on the line through all; where the face has one alone,
    there; where it has none, in the middle of the other face's; 0 where nothing was measured.
    """
    measured = [tooth for tooth in comb.teeth if tooth.tip_theta_deg is not None]
    found = {}
    for tooth in comb.teeth:
        if tooth.tip_theta_deg is None:
            row = [other for other in measured if other.side is tooth.side]
            found[tooth.number] = _on_row_deg(tooth.tip_r_mm, row) if row else _middle_deg(measured)
    return found


def _on_row_deg(r_mm: float, row: Sequence[Tooth]) -> float:
    radii, angles = _unwound(row)
    if len(row) > 1 and not radii[0] <= r_mm <= radii[-1] and radii[-1] > radii[0]:
        slope, start = np.polyfit(radii, angles, 1)
        return float(wrap_deg(start + slope * r_mm))
    return float(wrap_deg(np.interp(r_mm, radii, angles)))


def _middle_deg(row: Sequence[Tooth]) -> float:
    return float(wrap_deg(np.median(_unwound(row)[1]))) if row else 0.0


def _unwound(row: Sequence[Tooth]) -> tuple[FloatArray, FloatArray]:
    """(radii, angles) by radius, the angles without a jump at 360 degrees."""
    row = sorted(row, key=lambda tooth: tooth.tip_r_mm)
    angles = np.unwrap([tooth.tip_deg for tooth in row], period=FULL_TURN_DEG)
    return np.array([tooth.tip_r_mm for tooth in row]), angles


def as_expected(comb: Comb) -> Comb:
    """The comb with unknown tips on their row, from where each track's shift is then measured."""
    row = expected_tips_deg(comb)
    return replace(
        comb, teeth=tuple(replace(t, tip_theta_deg=row[t.number]) if t.number in row else t for t in comb.teeth)
    )


def _tracks(strikes: Sequence[Strike], unknown: set[int]) -> dict[int, FloatArray]:
    """Onsets by tooth; all teeth with a measured tip together under 0."""
    found: dict[int, list[float]] = {}
    for strike in strikes:
        found.setdefault(strike.tooth if strike.tooth in unknown else 0, []).append(strike.onset_s)
    return {number: np.array(sorted(times)) for number, times in found.items()}


def _common_frequency(tracks: Sequence[FloatArray]) -> float:
    """The step's frequency, Hz: where the tracks' own spectra are strongest together.

    A track of n strikes at random has a power of n; what is above is counted. Of a frequency and its double the lower
    is kept if it is nearly as strong, as a step and its half have the same multiples.
    """
    length_s = max(float(t[-1] - t[0]) for t in tracks)
    frequencies = np.arange(1.0 / LONGEST_STEP_S, 1.0 / SHORTEST_STEP_S, 1.0 / (TRIED_A_PEAK * max(length_s, 1.0)))
    power = np.zeros(len(frequencies))
    for times in tracks:
        power += np.abs(np.exp(2j * np.pi * np.outer(frequencies, times)).sum(1)) ** 2 - len(times)
    return float(frequencies[int(power.argmax())])


def _shift_s(times: FloatArray, together: FloatArray, frequency: float, limit_s: float) -> float:
    """Seconds to add to a track so that it falls in with the others, at most limit_s either way."""
    apart = np.exp(2j * np.pi * frequency * together).sum() / np.exp(2j * np.pi * frequency * times).sum()
    step_s = 1.0 / frequency
    base_s = float(np.angle(apart)) / (2 * np.pi) * step_s
    most = int((limit_s + step_s) // step_s)
    choices = [base_s + k * step_s for k in range(-most, most + 1) if abs(base_s + k * step_s) <= limit_s]
    if not choices:
        return float(np.clip(base_s, -limit_s, limit_s))

    def favour(shift_s: float) -> float:
        beats = len(times) * _agreement(times + shift_s, together, frequency)
        return beats - 0.5 * (shift_s / (SPREAD_OF_LIMIT * limit_s)) ** 2

    return max(choices, key=lambda shift: (round(favour(shift), 6), -abs(shift)))


def _agreement(times: FloatArray, together: FloatArray, frequency: float) -> float:
    """How well a track keeps the coarser beats of the others."""
    total = 0.0
    for multiple in MULTIPLES[1:]:
        slow = frequency / multiple
        one = np.exp(2j * np.pi * slow * times).mean()
        all_others = np.exp(2j * np.pi * slow * together).mean()
        total += float((one * np.conj(all_others)).real)
    return total


def _tip_deg(shift_s: float, plate: Plate) -> float:
    """By how much the tip's angle must grow for a track's strikes to come this much later."""
    turned = float(turn_for_onset_deg(shift_s, plate.revolution_s))
    return float(wrap_deg(tip_for(turned, 0.0, plate.turns)))


def _sigma_deg(times: FloatArray, frequency: float, plate: Plate) -> float:
    """Standard error of a track's shift: the spread of its strikes about the step over the root of their number."""
    place = times * frequency
    strength = min(abs(np.exp(2j * np.pi * place).mean()), 1.0 - 1e-9)
    spread_s = float(np.sqrt(-2.0 * np.log(max(strength, 1e-6)))) / (2 * np.pi * frequency)  # circular spread
    return float(turn_for_onset_deg(spread_s / np.sqrt(len(times)), plate.revolution_s))
