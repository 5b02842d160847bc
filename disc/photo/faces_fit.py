"""Do two photographed faces belong to one disc? What the photographs alone can tell, as log-odds.

One disc has one stop slot, one rim with so many teeth, one metal, and pins of which no two of different faces stand in
one another, unless they go through: then many do. Which of the two is the upper face the photographs do not tell: every
trait here is the same for both. The same face photographed twice, once as upper and once as lower, is told by its pins.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from disc.frame import FULL_TURN_DEG, FloatArray
from disc.photo.image import Photo
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.view import View
from disc.photo.poorer import shared_part
from disc.photo.seen.cover_features import far_radii
from disc.photo.seen.lab import to_lab
from disc.photo.seen.rim_teeth import rim_teeth
from disc.photo.seen.small_face import small_face
from disc.records import Condition, Evidence, Pin
from disc.words import counted

# Spreads of what one disc's two faces differ by, and two discs', on p1-p8 and h1-h8: slot's width, mm; the plate's two
# colour axes (CIE L*a*b*). A part of the slots is misread, a part of the plates stands in another light.
SLOT_MM, SLOT_OTHER_MM, SLOT_MISREAD = 0.03, 0.13, 0.08
# Of one disc's, of two discs', part in another light; measured as said above.
COLOUR, COLOUR_OTHER, COLOUR_LIT = (0.6, 1.6), (4.0, 6.0), 0.10
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Rims of which one is cut and one plain are two discs' but where teeth were not made out; and so many discs are plain.
TEETH_MISSED, PLAIN_RIMS, TEETH_APART = 0.02, 0.7, 1
# Sites of both faces this near to one another, mm; on one disc rarer than by chance by this, unless they go through.
MEET_MM, RARER, THROUGH = 0.13, 0.4, 0.25
MOST = 6.0  # log-odds that one trait may weigh: none is beyond misreading
# Log-odds that the two are one disc's before anything is seen. Chosen on p1-p8, h1-h8 and n8 so that the worst of the
# 17 true pairs stays well above nought; of the 272 mixed ones four fifths then lie below it.
BEFORE = 1.0
SAME_FACE = 0.6  # of the sites of one photograph found on the other, mirrored back


@dataclass(frozen=True, slots=True)
class FaceTraits:
    """What one face shows of its disc. teeth: None: a plain rim. colour: the plate's, two axes; None: not measured."""

    pins: tuple[Pin, ...]
    slot_width_mm: float | None
    teeth: int | None
    colour: tuple[float, float] | None

    def to_json(self) -> dict[str, Any]:
        """What is stored beside the face's record; the pins stand in their own table."""
        return {"teeth": self.teeth, "colour": list(self.colour) if self.colour else None}


@dataclass(frozen=True, slots=True)
class FacesFit:
    """odds: log-odds that both faces are one disc's, with what was believed before. same_face: part of the sites that
    both photographs share when one is mirrored back. swapped: always None, the photographs do not tell it.
    """

    odds: float
    evidence: tuple[Evidence, ...]
    same_face: float
    swapped: float | None = None

    @property
    def probability(self) -> float:
        """That both faces are one disc's."""
        return float(1 / (1 + np.exp(-np.clip(self.odds, -30, 30))))


def face_traits(photo: Photo, view: View, pins: Sequence[Pin], slot_width_mm: float | None) -> FaceTraits:
    """Measure them."""
    small = small_face(photo.pixels, Plane(view.matrix, view.k1, (view.width_px, view.height_px)), view.radius_mm)
    far = far_radii()
    middle = np.median(to_lab(small[(far < 0.93) & (far > 0.3)] / np.float32(255)), axis=0)
    colour = (round(float(middle[1]), 2), round(float(middle[2]), 2))
    return FaceTraits(tuple(pins), slot_width_mm, rim_teeth(photo, view).count, colour)


def traits_from_json(face: dict[str, Any], pins: Sequence[Pin]) -> FaceTraits | None:
    """Of a stored face record and its pins; None where they were not measured when it was read."""
    stored = face.get("traits")
    if not isinstance(stored, dict):
        return None
    colour = stored.get("colour")
    return FaceTraits(tuple(pins), face.get("slot_width_mm"), stored.get("teeth"), tuple(colour) if colour else None)


def faces_fit(upper: FaceTraits, lower: FaceTraits) -> FacesFit:
    """Weigh all traits."""
    found = [_slots(upper, lower), _rims(upper, lower), _metals(upper, lower), _meetings(upper, lower)]
    evidence = tuple(e for e in found if e is not None)
    mirrored = [replace(pin, theta_deg=(-pin.theta_deg) % FULL_TURN_DEG) for pin in lower.pins]
    same = shared_part(upper.pins, mirrored) if min(len(upper.pins), len(mirrored)) >= 8 else 0.0
    return FacesFit(BEFORE + sum(e.weight for e in evidence), evidence, same)


def _normal(off: float, sigma: float) -> float:
    return float(np.exp(-0.5 * (off / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi)))


def _weighed(words: str, one: float, two: float) -> Evidence:
    return Evidence("seen", words, float(np.clip(np.log(max(one, 1e-12) / max(two, 1e-12)), -MOST, MOST)))


def _slots(a: FaceTraits, b: FaceTraits) -> Evidence | None:
    if not a.slot_width_mm or not b.slot_width_mm:
        return None
    off = a.slot_width_mm - b.slot_width_mm
    two = _normal(off, SLOT_OTHER_MM)
    one = (1 - SLOT_MISREAD) * _normal(off, SLOT_MM) + SLOT_MISREAD * two
    return _weighed(f"stop slots {a.slot_width_mm:.2f} and {b.slot_width_mm:.2f} mm wide", one, two)


def _rims(a: FaceTraits, b: FaceTraits) -> Evidence:
    if a.teeth is None and b.teeth is None:
        return _weighed("both rims plain", PLAIN_RIMS, PLAIN_RIMS**2)
    if a.teeth is None or b.teeth is None:
        words = f"one rim cut with {a.teeth or b.teeth} teeth, the other plain"
        return _weighed(words, TEETH_MISSED * (1 - PLAIN_RIMS), 2 * PLAIN_RIMS * (1 - PLAIN_RIMS))
    words = f"rims cut with {a.teeth} and {b.teeth} teeth"
    if abs(a.teeth - b.teeth) <= TEETH_APART:
        return _weighed(words, 1.0, 0.06)  # of two cut rims with 90 to 140 teeth, one in 17 is so near
    return _weighed(words, TEETH_MISSED, 0.94)


def _metals(a: FaceTraits, b: FaceTraits) -> Evidence | None:
    if a.colour is None or b.colour is None:
        return None
    one, two = 1.0, 1.0
    for k in range(2):
        off = a.colour[k] - b.colour[k]
        one *= _normal(off, COLOUR[k])
        two *= _normal(off, COLOUR_OTHER[k])
    apart = float(np.hypot(a.colour[0] - b.colour[0], a.colour[1] - b.colour[1]))
    words = f"the plates' colours differ by {apart:.1f} (CIE a*b*)"
    return _weighed(words, (1 - COLOUR_LIT) * one + COLOUR_LIT * two, two)


def _meetings(a: FaceTraits, b: FaceTraits) -> Evidence | None:
    """Sites of the two faces that meet: none, or many that go through; or as many as chance has it."""
    p, q = _places(a.pins), _places(b.pins)
    if len(p) < 8 or len(q) < 8:
        return None
    here = _meet(p, q)
    chance = float(np.mean([_meet(p, q * np.exp(1j * np.radians(t))) for t in range(12, 352, 8)])) + 0.05
    most = min(len(p), len(q))
    through = 1.0 / (most + 1)
    one = (1 - THROUGH) * _poisson(here, RARER * chance) + THROUGH * through
    return _weighed(
        f"{counted(here, 'site of the two faces meets', 'sites of the two faces meet')}, {chance:.1f} would by chance",
        one,
        _poisson(here, chance),
    )


def _places(pins: Sequence[Pin]) -> Any:
    """As complex numbers, mm."""
    told = [pin for pin in pins if pin.condition is not Condition.UNSEEN]
    polar: FloatArray = np.array([(pin.r_mm, np.radians(pin.theta_deg)) for pin in told]).reshape(-1, 2)
    return polar[:, 0] * np.exp(1j * polar[:, 1])


def _meet(p: Any, q: Any) -> int:
    return int((np.abs(p[:, None] - q[None]).min(1) < MEET_MM).sum())


def _poisson(n: int, mean: float) -> float:
    from math import lgamma, log

    return float(np.exp(n * log(mean) - mean - lgamma(n + 1)))
