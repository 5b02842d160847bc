"""What several photographs solved together (bundle.py) tell of a face's pins: where they stand, how tall they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from disc.frame import to_polar
from disc.photo.marks.pins_from_sites import SAME_PIN_MM
from disc.photo.plane.view import View
from disc.photo.several.bundle import SharedPins
from disc.photo.several.fitting import places
from disc.records import SOUNDING, Pin

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Tips must be drawn so far apart, and heights told so well (one sigma), or they are left blank: what is usual is known
# to 0.16 mm beforehand, and a foot or a tip is misread by up to 0.02 mm, alike in photographs from one side.
LEAST_PARALLAX_MM, TOLD_MM = 0.05, 0.08


def with_shared(pins: Sequence[Pin], view: View, shared: SharedPins) -> tuple[Pin, ...]:
    """The face's pins with place and height of those that stand. view: of the photograph that shared is told in."""
    x, y = view.to_disc_mm(*shared.root_px.T)
    told = _height_told(shared)
    out = []
    at, here = np.column_stack([x, y]), places(pins)
    for pin, place in zip(pins, here, strict=True):
        gap = np.linalg.norm(at - place, axis=1)
        k = int(gap.argmin())
        if gap[k] > SAME_PIN_MM or pin.condition not in SOUNDING:
            out.append(pin)
            continue
        r, theta = to_polar(float(x[k]), float(y[k]))
        height, sigma = (float(v[k]) if told[k] else None for v in (shared.height_mm, shared.height_sigma_mm))
        out.append(replace(pin, r_mm=float(r), theta_deg=float(theta) % 360.0, height_mm=height, height_sigma_mm=sigma))
    return tuple(sorted(out, key=lambda pin: pin.theta_deg))


def about_heights(shared: SharedPins) -> str:
    """Words on what the photographs tell of the pins' heights."""
    told = _height_told(shared)
    if told.mean() > 0.5:
        sigma, apart = np.median(shared.height_sigma_mm[told]), np.median(shared.parallax_mm[told])
        return (
            f"the photographs together tell the pins' heights to {sigma:.2f} mm (one sigma): they draw a pin's tip "
            f"{apart:.2f} mm apart."
        )
    return (
        "the pins' heights were left blank: the photographs look at them from nearly the same side (a pin's tip is "
        f"drawn {np.median(shared.parallax_mm):.2f} mm apart). Photograph this side once more, tilted the other way."
    )


def _height_told(shared: SharedPins) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    return np.asarray((shared.parallax_mm >= LEAST_PARALLAX_MM) & (shared.height_sigma_mm <= TOLD_MM))
