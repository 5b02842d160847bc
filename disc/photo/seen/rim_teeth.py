"""How many teeth a gear-cut rim has, by how the light goes up and down along it; both faces of a disc have as many."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.frame import FULL_TURN_DEG, to_xy_mm
from disc.photo.image import Photo, opencv
from disc.photo.plane.view import View

# A band inside the tips and above the roots of teeth 0.3 mm deep (common practice, no source); teeth between these.
BAND_MM, FEWEST, MOST, SAMPLES = (0.10, 0.15, 0.20, 0.25), 40, 260, 4096
STANDS_OUT = 9.0  # over the usual wave: plain rims reach 6, gear-cut ones 12 and more (p1-p8, h1-h8)


@dataclass(frozen=True, slots=True)
class RimTeeth:
    """count: None where the rim is plain. strength: of the strongest wave along the rim over the usual one."""

    count: int | None
    strength: float


def rim_teeth(photo: Photo, view: View) -> RimTeeth:
    """Count them along the whole rim."""
    cv2 = opencv()
    theta = np.arange(SAMPLES) * (FULL_TURN_DEG / SAMPLES)
    waves = []
    for inside in BAND_MM:
        x, y = to_xy_mm(np.full(SAMPLES, view.radius_mm - inside, float), np.asarray(theta, float))
        u, v = view.to_photo_px(x, y)
        grey = cv2.cvtColor(
            cv2.remap(photo.pixels, u.astype(np.float32)[None], v.astype(np.float32)[None], cv2.INTER_LINEAR),
            cv2.COLOR_BGR2GRAY,
        )[0].astype(float)
        slow = cv2.blur(grey[None], (161, 1), borderType=cv2.BORDER_REFLECT)[0]
        spread = np.sqrt(cv2.blur(((grey - slow) ** 2)[None], (321, 1))[0]) + 4.0
        waves.append(np.abs(np.fft.rfft((grey - slow) / spread)))
    power = np.mean(waves, 0)[FEWEST : MOST + 1]
    k = int(power.argmax())
    strength = float(power[k] / max(float(np.median(power)), 1e-9))
    return RimTeeth(FEWEST + k if strength > STANDS_OUT else None, strength)
