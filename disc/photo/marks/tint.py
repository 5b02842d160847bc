"""Of what a mark is made: its colour beside the plate's, and how alike that is to the face's own pins.

Pins are steel on brass: bluer and less red than the plate about them, whatever the light, by an amount that all of a
face share. A punch mark, a plug, a pit, a scratch or a stain has the plate's own colour, only darker. Where pins are of
brass the two do not differ, and nothing is said.
"""

from __future__ import annotations

import numpy as np

from disc.frame import FloatArray
from disc.photo import fitted
from disc.photo.image import opencv
from disc.photo.marks.spots import Spots
from disc.photo.plane.flatten import Flat

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Circles on the tip, well within the thinnest wire, and on the plate about it, looked at in so many places each; grey
# levels of the deepest shade, where colours are noise.
TIP_MM, PLATE_MM, AROUND, SHADE = (0.01, 0.035, 0.06, 0.075), (0.32, 0.40, 0.48, 0.55), 24, 10.0
# Circles on foot and tip that a dark hole fills, and the part of what they show that counts as its brightest.
MARK_MM, BRIGHTEST = (0.01, 0.03, 0.05, 0.07), 0.9
# Marks and pins of neither the plate's nor the pins' colour (blued, lit by another lamp, of another wire) are spread
# evenly over this field; how wide the colours' spreads are, and how many are neither, was fitted (fitted.json).
FIELD = 0.8
# A face's pins that lie so few spreads from the plate's colour are not told from it.
TOLD_APART = 2.0
# That a mark is as pins are says less than that it is not: dust, filings and tails of the other face's are steel too.
MOST = 1.0


def tints(flat: Flat, spots: Spots) -> FloatArray:
    """How much bluer and redder tips and bodies are than the plate about them, (n, 2, 2). spots: view mm."""
    return np.stack([_beside_plate(flat, at) for at in (spots.tip, (spots.root + spots.tip) / 2)], 1)


def _beside_plate(flat: Flat, at: FloatArray) -> FloatArray:
    """Of places (n, 2) mm: logarithms of blue over green and of red over green, less the plate's own, (n, 2)."""
    on, about = (_colours(flat, at, radii) for radii in (TIP_MM, PLATE_MM))
    logs = np.log((on.mean(1) + SHADE) / (np.median(about, 1) + SHADE))
    return np.stack([logs[:, 0] - logs[:, 1], logs[:, 2] - logs[:, 1]], 1)


def _colours(flat: Flat, at: FloatArray, radii_mm: tuple[float, ...]) -> FloatArray:
    """Colours on circles about places (n, 2) mm, (n, m, 3) BGR."""
    cv2 = opencv()
    turn = 2 * np.pi * np.arange(AROUND) / AROUND
    circles = np.array(radii_mm)[:, None] * flat.px_per_mm
    u, v = (
        (place[:, None] + (circles * wave(turn)).ravel()).astype(np.float32)
        for place, wave in zip(flat.to_flat(at).T, (np.cos, np.sin), strict=True)
    )
    if not len(at):
        return np.zeros((0, u.shape[1], 3))
    return np.asarray(cv2.remap(flat.pixels, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), float)


def lights(flat: Flat, spots: Spots) -> FloatArray:
    """How much brighter than the plate about it the brightest of a mark's foot and tip is, logarithms (n,): a hole is
    dark at both. spots: view mm."""
    about = np.median(_colours(flat, spots.root, PLATE_MM).mean(2), 1)
    on = [np.quantile(_colours(flat, at, MARK_MM).mean(2), BRIGHTEST, axis=1) for at in (spots.root, spots.tip)]
    return np.asarray(np.log((np.maximum(*on) + SHADE / 2) / (about + SHADE / 2)))


def hole_odds(light: FloatArray, sure: FloatArray) -> FloatArray:
    """Log-odds that each mark (n,) is an empty hole, not a pin or what is left of one: a hole is black, steel is not.

    sure (m,): of the face's own sure standing pins. 0 where nothing was looked at.
    """
    told = fitted.darkness()
    middle = float(np.median(sure))
    spread = float(np.hypot(1.4826 * np.median(np.abs(sure - middle)), told.pin_spread))
    off = light - middle
    stands = -2.5 * np.log1p(np.minimum(off, 0.0) ** 2 / (4 * spread**2)) - np.log(spread)
    hole = -2.5 * np.log1p(np.maximum(off - told.hole_middle, 0.0) ** 2 / (4 * told.hole_spread**2))
    odds = hole - np.log(told.hole_spread) - stands
    return np.asarray(np.where(np.isfinite(odds), np.clip(odds, *told.range), 0.0))


def tint_odds(tint: FloatArray, sure: FloatArray) -> FloatArray:
    """Log-odds that each mark (n, 2, 2) is of the pins' metal, by whichever of its places speaks more for it.

    sure: of the face's own sure pins (m, 2, 2). 0 where these are of the plate's colour.
    """
    told = fitted.tint()
    of_plate = np.array(told.plate_spread)
    middle = np.median(sure[:, 0], axis=0)
    spread = np.hypot(1.4826 * np.median(np.abs(sure[:, 0] - middle), axis=0), told.pin_spread)
    if not np.linalg.norm(middle / np.hypot(spread, of_plate)) > TOLD_APART:
        return np.zeros(len(tint))
    plate, elsewhere = _density(tint, 0.0, of_plate), 1 / FIELD
    steel = 1 - told.other_pins - told.rusty
    pin = steel * _density(tint, middle, spread) + told.rusty * plate + told.other_pins * elsewhere
    other = (1 - told.other_marks) * plate + told.other_marks * elsewhere
    return np.asarray(np.minimum(np.log(pin / other).max(1), MOST))


def _density(tint: FloatArray, middle: FloatArray | float, spread: FloatArray) -> FloatArray:
    """Of a normal error of both numbers, (n, 2)."""
    return np.asarray(np.exp(-0.5 * np.sum(((tint - middle) / spread) ** 2, -1)) / (2 * np.pi * np.prod(spread)))
