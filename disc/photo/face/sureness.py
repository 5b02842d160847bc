"""How sure a face is told: what its pins share of doubt, where the lens stood, and words where little is told."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.photo.image import Photo
from disc.photo.marks.pins_from_sites import FaceDoubt
from disc.photo.marks.slant import Slant, plane_tilt
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.joint import Joint
from disc.photo.plane.view import half_diagonal_px
from disc.records import Pin

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
NOMINAL_HEIGHT_MM = 0.5  # where nothing tells the pins' height; conventions.md: 0.25-0.8 mm
# Rim and slot on rendered faces that the networks were not trained on: sigma per axis at the rim.
RIM_DOUBT_MM, RIM_DOUBT_PX = 0.012, 0.55
# What the fit leaves in doubt, times its misfit and this, chosen between the errors met on such faces: 0.4 where the
# lens draws straight, 1.2 where it bends or the marks are hard to see.
DOUBT_SCALE = 0.8


def shared_doubt(joint: Joint, radius_mm: float) -> FaceDoubt:
    """How far scale and turn may be off: the rim's edge and the slot's are told to a part of a pixel."""
    rim_mm = float(np.hypot(RIM_DOUBT_MM, RIM_DOUBT_PX / px_per_mm(joint.plane)))
    part = DOUBT_SCALE * joint.misfit
    bend = bend_of(joint.plane, radius_mm, joint.k1_sigma)
    return FaceDoubt(part * joint.common_mm, part * rim_mm / radius_mm, bend, radius_mm)


def bend_of(plane: Plane, radius_mm: float, k1: float) -> float:
    """What a distortion k1 does to places near the middle, as a part of their radius, the rim's being held."""
    return k1 * (px_per_mm(plane) * radius_mm / half_diagonal_px(plane.size)) ** 2


def eye_over(slant: Slant, plane: Plane, photo: Photo) -> tuple[tuple[float, float, float], bool]:
    """The lens over the face, view mm, and whether its height is known rather than nominal."""
    where = slant.eye_xy_mm
    gain = max(slant.gain, 5e-4)
    nominal = NOMINAL_HEIGHT_MM * (1 + gain) / gain
    if where is None:
        return (slant.shift[0] / gain, slant.shift[1] / gain, nominal), False
    tangent, _ = plane_tilt(plane)
    distance = float(np.hypot(*where))
    # Foreshortening tells the tilt to a degree or so; below 6 degrees it tells nothing of the height.
    if tangent > 0.105 and distance / tangent > 15.0:
        height = slant.gain * (distance / tangent) / (1 + slant.gain)
        if 0.15 < height < 1.2:
            return (where[0], where[1], distance / tangent), True
    if photo.focal_px:
        z = photo.focal_px / px_per_mm(plane)
        return (where[0], where[1], float(z)), True
    return (where[0], where[1], nominal), False


def px_per_mm(plane: Plane) -> float:
    """Of the photo about the plane's middle, px a mm across the slant."""
    at = plane.to_px(np.array([[0.0, 0.0], [0.05, 0.0], [0.0, 0.05]]))
    # Across the slant nothing is foreshortened: the larger of the two scales.
    a = np.stack([at[1] - at[0], at[2] - at[0]], 1) / 0.05
    return float(np.linalg.svd(a)[1][0])


# A fifth of the sites doubtful: on rendered faces sites were found with an F1 under 0.9 then, and above it otherwise. A
# pin set 0.05 mm off is heard, so that places in more doubt than that are of little use.
MANY_DOUBTFUL, VAGUE_MM = 0.2, 0.05


def hard_to_tell(pins: Sequence[Pin]) -> tuple[str, ...]:
    """Words where the pins of a face as a whole are not told well."""
    if not pins:
        return ("no pins were found; check on the overlay that the right disc was taken, and that it is in focus.",)
    words = []
    doubtful = sum(pin.presence_is_doubtful for pin in pins)
    if doubtful > MANY_DOUBTFUL * len(pins):
        words.append(
            f"{doubtful} of {len(pins)} sites are doubtful: pins and marks are hard to tell apart here. Clean the "
            "face, or take another photograph with the light from another side and give both."
        )
    stated = [pin.sigma_mm for pin in pins if pin.sigma_mm is not None]
    sigma = float(np.median(stated)) if stated else None
    if sigma is not None and sigma > VAGUE_MM:
        words.append(
            f"places are told to {sigma:.2f} mm only: mark the rim and the slot (disc read JOB ... --rim-SIDE, "
            "--slot-SIDE, or at the desk), or take another photograph, less tilted."
        )
    return tuple(words)
