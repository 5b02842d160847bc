"""Which pin sounds which tooth: by face and radius, with the scale's own error allowed for.

Disc and comb are measured apart, so their radii may differ by a common stretch (the diameter given was a little off)
and a common offset (the comb's centre was). Both are estimated from all pins together, with a mild belief that they are
small; then each pin gets every tooth of its face with a probability, and one for none of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from disc.frame import FloatArray
from disc.records import Comb, Condition, Pin, Side

# How far stretch and offset may be off, one standard deviation. Common practice, no source: a vernier caliper on a
# 25 mm disc and a comb measured in place agree within 1 % and a twentieth of a millimetre or so.
STRETCH_SIGMA = 0.01
OFFSET_SIGMA_MM = 0.08  # of disc against comb, along the radius; as said above
LARGEST_STRETCH = 0.03  # tried to either side: three sigmas
# Tried to either side: nearly four sigmas; chosen by hand.
LARGEST_OFFSET_MM = 0.30
# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
# Spread of pins about their tip's radius: setting, filing of the tip, measuring of the tip. Re-estimated within limits.
SPREAD_MM = 0.04
SPREAD_LIMITS_MM = (0.02, 0.08)  # chosen by hand
STRAY_SHARE = 0.005  # prior share of pins on no track; common practice, no source: a slip or two on a disc of 300
SURE_FROM = 0.9  # a pin less sure of its tooth, with a second one near, stands between two tracks; chosen by hand


@dataclass(frozen=True, slots=True)
class Assignment:
    """Pins with their teeth, and how sure that is.

    probability: of the tooth given, by pin id; runner_up: the next best tooth, where there is one. between: pins that
    stand between two tracks and cannot be told; off_track: pins on no track. A radius of the comb table times
    (1 + stretch) plus offset_mm is the radius on the disc. spread_mm: of the pins about their tracks.
    """

    pins: tuple[Pin, ...]
    probability: Mapping[int, float] = field(default_factory=dict)
    runner_up: Mapping[int, int] = field(default_factory=dict)
    between: tuple[int, ...] = ()
    off_track: tuple[int, ...] = ()
    stretch: float = 0.0
    offset_mm: float = 0.0
    spread_mm: float = SPREAD_MM


def assign_teeth(
    pins: Sequence[Pin],
    comb: Comb,
    fixed: Mapping[int, int] | None = None,
    scale: tuple[float, float, float] | None = None,
) -> Assignment:
    """Give every pin its tooth. fixed: teeth set by a person, by pin id; those stand as they are.

    scale: what fit_scale found for this disc and comb before, to spare the search where one pin of many was changed.

    A comb's tooth that dead or missing pins point to is as good as another: all conditions are placed. Pins whose
    likeliest answer is "on no track" get tooth None; a sound pin there becomes an extra nowhere, that is check's word.
    """
    if not pins:
        return Assignment(())
    stretch, offset_mm, spread_mm = scale or fit_scale(pins, comb)
    table = {side: [t for t in comb.teeth if t.side is side] for side in Side}
    placed, probability, runner_up, between, off_track = [], {}, {}, [], []
    for pin in pins:
        if fixed and pin.id in fixed:
            placed.append(replace(pin, tooth=fixed[pin.id]))
            probability[pin.id] = 1.0
            continue
        teeth = table[pin.side]
        chances = _chances(pin, np.array([t.tip_r_mm for t in teeth]), stretch, offset_mm, spread_mm)
        best = int(np.argmax(chances))
        if best == len(teeth):
            placed.append(replace(pin, tooth=None))
            off_track.append(pin.id)
            continue
        placed.append(replace(pin, tooth=teeth[best].number))
        probability[pin.id] = float(chances[best])
        if len(teeth) > 1:
            second = int(np.argsort(chances[:-1])[-2])
            runner_up[pin.id] = teeth[second].number
            if chances[best] < SURE_FROM and chances[second] > 1.0 - SURE_FROM:
                between.append(pin.id)
    return Assignment(
        tuple(placed), probability, runner_up, tuple(between), tuple(off_track), stretch, offset_mm, spread_mm
    )


def fit_scale(pins: Sequence[Pin], comb: Comb) -> tuple[float, float, float]:
    """(stretch, offset_mm, spread_mm) between comb table and disc: a coarse search, then refined by least squares."""
    r, nearest_of = _radii_by_side(pins, comb)
    if r.size < 2:
        return 0.0, 0.0, SPREAD_MM
    offsets = np.linspace(-LARGEST_OFFSET_MM, LARGEST_OFFSET_MM, 31)
    grid = [
        (bad, abs(stretch), abs(offset), stretch, offset)
        for stretch in np.linspace(-LARGEST_STRETCH, LARGEST_STRETCH, 31)
        for offset, bad in zip(offsets, _badness(r, nearest_of, stretch, offsets, SPREAD_MM), strict=True)
    ]
    _, _, _, stretch, offset = min(grid)
    spread = SPREAD_MM
    for _ in range(12):
        stretch, offset, spread = _refine(r, nearest_of, float(stretch), float(offset), spread)
    return stretch, offset, spread


@dataclass(frozen=True, slots=True)
class _Tips:
    """Sorted tip radii per pin's face, and which face each pin is on."""

    by_side: tuple[FloatArray, FloatArray]
    side_of: FloatArray

    def nearest(self, r_on_comb: FloatArray) -> FloatArray:
        """For radii brought to the comb's scale, shape (..., n), the nearest tip radius on the pin's own face."""
        out = np.full(r_on_comb.shape, np.nan)
        for index, tips in enumerate(self.by_side):
            mine = self.side_of == index
            if len(tips) and mine.any():
                values = r_on_comb[..., mine]
                upper = np.clip(np.searchsorted(tips, values), 1, max(len(tips) - 1, 1))
                low, high = tips[upper - 1], tips[np.minimum(upper, len(tips) - 1)]
                out[..., mine] = np.where(values - low <= high - values, low, high)
        return out


def _radii_by_side(pins: Sequence[Pin], comb: Comb) -> tuple[FloatArray, _Tips]:
    sides = list(Side)
    by_side = tuple(np.sort([t.tip_r_mm for t in comb.teeth if t.side is side]) for side in sides)
    used = [p for p in pins if len(by_side[sides.index(p.side)]) and p.condition is not Condition.EXTRA]
    side_of = np.array([sides.index(p.side) for p in used], dtype=float)
    return np.array([p.r_mm for p in used]), _Tips((by_side[0], by_side[1]), side_of)


def _badness(r: FloatArray, tips: _Tips, stretch: float, offset_mm: FloatArray, spread_mm: float) -> FloatArray:
    """Negative log posterior of a stretch with each of these offsets, shape (k,); a pin far from all tips costs no
    more than a stray one."""
    on_comb = (r - offset_mm[:, None]) / (1.0 + stretch)
    z = (on_comb - tips.nearest(on_comb)) / spread_mm
    fit = -np.log((1 - STRAY_SHARE) * np.exp(-0.5 * z**2) + STRAY_SHARE).sum(axis=-1)
    return np.asarray(fit + 0.5 * (stretch / STRETCH_SIGMA) ** 2 + 0.5 * (offset_mm / OFFSET_SIGMA_MM) ** 2)


def _refine(
    r: FloatArray, tips: _Tips, stretch: float, offset_mm: float, spread_mm: float
) -> tuple[float, float, float]:
    """One step of weighted least squares with the beliefs about stretch and offset as two more equations."""
    target = tips.nearest((r - offset_mm) / (1.0 + stretch))
    residual = r - (target * (1.0 + stretch) + offset_mm)
    inlier = (1 - STRAY_SHARE) * np.exp(-0.5 * (residual / spread_mm) ** 2)
    weight = np.sqrt(inlier / (inlier + STRAY_SHARE)) / spread_mm
    rows = np.vstack([np.column_stack([target, np.ones_like(r)]) * weight[:, None], np.diag([1.0, 1.0])])
    rows[-2] /= STRETCH_SIGMA
    rows[-1] /= OFFSET_SIGMA_MM
    wanted = np.concatenate([(r - target) * weight, [0.0, 0.0]])
    (stretch, offset_mm), *_ = np.linalg.lstsq(rows, wanted, rcond=None)
    residual = r - (target * (1.0 + stretch) + offset_mm)
    share = (weight * spread_mm) ** 2
    spread = float(np.sqrt((share * residual**2).sum() / max(share.sum(), 1e-9)))
    return float(stretch), float(offset_mm), float(np.clip(spread, *SPREAD_LIMITS_MM))


def _chances(pin: Pin, tip_r_mm: FloatArray, stretch: float, offset_mm: float, spread_mm: float) -> FloatArray:
    """Probability of each tooth of the pin's face, and last of none, shape (teeth + 1,)."""
    sigma = float(np.hypot(spread_mm, pin.sigma_mm or 0.0))
    z = (pin.r_mm - (tip_r_mm * (1.0 + stretch) + offset_mm)) / sigma
    on_track = (1 - STRAY_SHARE) * np.exp(-0.5 * z**2) / sigma
    # A stray pin may stand anywhere in a reach of 10 mm of radius.
    stray = np.array([STRAY_SHARE * np.sqrt(2 * np.pi) / 10.0 * max(len(tip_r_mm), 1)])
    chances = np.concatenate([on_track, stray])
    return chances / chances.sum()
