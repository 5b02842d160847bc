"""From sites to pins: best root, lean, height, condition, one sigma and a confidence for each."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from disc.frame import FloatArray, to_polar, view_to_disc_mm, wrap_deg
from disc.photo.fitted import darkness, likeness, own_scale
from disc.photo.marks.site_odds import (
    BEND_REACH_MM,
    BENT_SHARE,
    SURE,
    TRACK_GAP_MM,
    UPRIGHT_MM,
    alike,
    network_odds,
)
from disc.photo.marks.slant import Slant
from disc.photo.marks.spots import HOLE, PIN, STUB, Spots
from disc.photo.marks.tint import hole_odds
from disc.photo.plane.joint import APART_SCALES, spreads, upright_share
from disc.records import Condition, Pin, Side

# Tip off its root by more than this, once the view's slant is taken out: bent (about a third of a pin's thickness;
# common practice, no source).
BENT_MM = 0.08
SAME_PIN_MM = 0.15  # readings of one pin in two pictures lie nearer: about half a pin's thickness; chosen by hand
# and by more than this many sigmas of measuring (2 in 100 sound pins of rendered faces that no network was trained
# on lean as far). Along the slant, where the foot is hidden, a lean is told worse than across: the networks' own sigmas
# of foot and tip together times these, and the part of the face's scatter about the slant that goes across.
BENT_SIGMAS = 2.0
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# As said above; the last: mm an upright pin must show for its foot to be seen.
LEAN_ALONG, LEAN_ACROSS, SCATTER_ACROSS, SHOWN_WELL_MM = 1.2, 0.55, 0.7, 0.08
# Squared on, a pin hides its own length, and the network cannot well tell it from a stub or a hole: there rarity speaks
# (each so many times rarer than the networks take it for). As the common slant grows, an upright pin shows this much of
# itself before it is told from a stub, mm.
RARITY, SHOWN_MM = np.array([3.0, 1.5]), 0.05
# An upright pin drawn shorter than this hardly differs from a stub, an empty hole or a leaning pin: on rendered faces 3
# of 90 stubs were told then, and 46 of 50 where it is drawn twice as long.
SQUARELY_MM = 0.06
FEWEST_LIT = 4  # sure pins by which it is told how bright standing ones are; chosen by hand


@dataclass(frozen=True, slots=True)
class Sites:
    """Sites that are believed, in view mm, with their log-odds; the same order throughout."""

    spots: Spots
    odds: FloatArray


@dataclass(frozen=True, slots=True)
class FaceDoubt:
    """What all pins of a face share: common_mm per axis; outward: sigma per mm of radius, of scale and turn.

    bend: sigma of what a lens's untold distortion does, as a part of the radius, at the middle; it falls off to nothing
    at the rim, whose radius is known.
    """

    common_mm: float
    outward: float
    bend: float = 0.0
    radius_mm: float = np.inf

    @property
    def most_bent_mm(self) -> float:
        """Sigma of what the distortion does where it does most: at the radius over the root of three."""
        return self.bend * self.radius_mm * 2 / 3**1.5 if self.bend else 0.0

    def at(self, own_mm: float, r_mm: float) -> float:
        """Sigma of a place with its own and all common errors."""
        bent = self.bend * r_mm * (1 - (r_mm / self.radius_mm) ** 2)
        return float(np.hypot(np.hypot(own_mm, self.outward * r_mm), bent))


def kinds_by_slant(spots: Spots, slant: Slant) -> Spots:
    """Pin, stub or hole, with what the view's slant lets be seen of a standing pin taken into account."""
    field = slant.at(spots.root)
    shown = np.linalg.norm(field, axis=1)
    rare = RARITY ** -np.exp(-0.5 * (shown / SHOWN_MM) ** 2)[:, None]
    kind = spots.kind.copy()
    kind[:, STUB:] *= rare
    # What lies flat shows no length; an upright pin shows the field's; a bent one may end anywhere within reach.
    _, foot, tip = spreads(spots.sigma_root, spots.sigma_tip, slant, APART_SCALES)
    sigma = np.hypot(foot, tip).mean(1)
    drawn = spots.tip - spots.root
    flat = _density(drawn, sigma)
    stands = (1 - BENT_SHARE) * _density(drawn - field, sigma) + BENT_SHARE / (np.pi * BEND_REACH_MM**2)
    # The networks have seen as much of the length themselves: half of this is news.
    kind[:, STUB:] *= np.sqrt(flat / stands)[:, None]
    like = alike(spots, slant)
    if like.any():
        upright = np.linalg.norm(drawn - field, axis=1) < UPRIGHT_MM
        told = likeness()
        kind[:, STUB:] *= np.where(upright, np.exp(-told.against_stub * (like - told.even)), 1.0)[:, None]
    kind[:, HOLE] *= np.exp(darkness().weight * _hole_odds(spots))
    return replace(spots, kind=kind / kind.sum(1, keepdims=True))


def _hole_odds(spots: Spots) -> FloatArray:
    """Log-odds that each mark is a hole by how dark it is beside the face's sure pins; 0 without enough of them."""
    sure = (spots.kind.argmax(1) == PIN) & (network_odds(spots) > SURE) & np.isfinite(spots.light)
    return hole_odds(spots.light, spots.light[sure]) if sure.sum() >= FEWEST_LIT else np.zeros(len(spots))


def _density(off: FloatArray, sigma: FloatArray) -> FloatArray:
    """Of a normal error of both axes, per mm2."""
    return np.asarray(np.exp(-0.5 * np.sum(off**2, 1) / sigma**2) / (2 * np.pi * sigma**2) + 1e-9)


def best_roots(spots: Spots, slant: Slant, common_mm: float) -> tuple[FloatArray, FloatArray]:
    """Roots (n, 2) and sigma (n,) per axis: seen foot and upright-standing tip weighed together, axis by axis."""
    frame, foot, tip = spreads(spots.sigma_root, spots.sigma_tip, slant)
    by_foot = spots.root @ frame.T
    by_tip = (spots.tip + np.asarray(slant.shift)) / (1 + slant.gain) @ frame.T
    share = upright_share(by_tip - by_foot, foot, tip)
    stands = np.where((spots.kind.argmax(1) == PIN) & (slant.pins >= 10), share, 0.0)
    w_foot, w_tip = 1 / foot**2, stands[:, None] / tip**2
    root = (by_foot * w_foot + by_tip * w_tip) / (w_foot + w_tip) @ frame
    # The weights hold feet for worse than they are, which places the roots best: the sigma is put right.
    return root, np.hypot(own_scale() * np.sqrt(np.mean(1 / (w_foot + w_tip), 1)), common_mm)


def make_pins(
    sites: Sites, slant: Slant, height_mm: float | None, tracks: FloatArray, side: Side, doubt: FaceDoubt
) -> tuple[Pin, ...]:
    """Pins in the disc's own axes, numbered from 1 by angle. tracks: radii that two pins or more share."""
    spots = sites.spots
    root, sigma = best_roots(spots, slant, doubt.common_mm)
    seen = spots.tip - spots.root - slant.at(spots.root)
    bent = (np.hypot(*seen.T) > BENT_MM) & (_sigmas_of_lean(spots, seen, slant) > BENT_SIGMAS)
    # An upright pin's tip told its root as well: what it leans is counted from there, not from the foot alone.
    lean = np.where(bent[:, None], seen, spots.tip - root - slant.at(root))
    x, y = view_to_disc_mm(root[:, 0], root[:, 1], side)
    lx, ly = view_to_disc_mm(lean[:, 0], lean[:, 1], side)
    r, theta = to_polar(x, y)
    shown = np.linalg.norm(slant.at(root), axis=1)
    height_doubt = height_sigma(height_mm, shown)
    if height_doubt is None:
        height_mm = None
    pins: list[Pin] = []
    for k in np.argsort(theta):
        kind = int(spots.kind[k].argmax())
        condition = _condition(kind, bool(bent[k]))
        if _unexplained(float(r[k]), tracks):
            condition = Condition.EXTRA
        stands = kind == PIN
        pins.append(
            Pin(
                id=len(pins) + 1,
                side=side,
                r_mm=float(r[k]),
                theta_deg=float(wrap_deg(float(theta[k]))),
                diameter_mm=None,
                height_mm=_height(kind, height_mm, float(np.hypot(lx[k], ly[k]))),
                height_sigma_mm=height_doubt if stands else None,
                condition=condition,
                lean_x_mm=float(lx[k]) if stands else 0.0,
                lean_y_mm=float(ly[k]) if stands else 0.0,
                sigma_mm=doubt.at(float(sigma[k]), float(r[k])),
                confidence=float(1 / (1 + np.exp(-np.clip(sites.odds[k], -20, 20)))),
                condition_probability=_told(kind, float(spots.kind[k, kind]), float(shown[k])),
            )
        )
    return tuple(pins)


def _sigmas_of_lean(spots: Spots, lean: FloatArray, slant: Slant) -> FloatArray:
    """How many sigmas of measuring each lean (n, 2) mm is."""
    field = slant.at(spots.root)
    shown = np.linalg.norm(field, axis=1)
    way = field / np.maximum(shown, 1e-9)[:, None]
    own = np.hypot(spots.sigma_root, spots.sigma_tip)
    part = np.exp(-0.5 * (shown / SHOWN_WELL_MM) ** 2)
    along = np.hypot(LEAN_ALONG * own, slant.sigma_mm)
    across = np.hypot((LEAN_ACROSS + (1 - LEAN_ACROSS) * part) * own, SCATTER_ACROSS * slant.sigma_mm)
    beside = lean[:, 0] * way[:, 1] - lean[:, 1] * way[:, 0]
    return np.asarray(np.hypot(np.sum(lean * way, 1) / along, beside / across))


def _told(kind: int, probability: float, shown_mm: float) -> float:
    """The probability of a kind; of a stub as far as the view shows the length by which a pin would differ from it."""
    if kind != STUB:
        return probability
    odds = np.log(probability / max(1 - probability, 1e-6))
    return float(1 / (1 + np.exp(-odds * shown_mm**2 / (shown_mm**2 + SQUARELY_MM**2))))


def _condition(kind: int, bent: bool) -> Condition:
    if kind == STUB:
        return Condition.STUB
    if kind == HOLE:
        return Condition.MISSING
    return Condition.BENT if bent else Condition.SOUND


# By how much all pins of a face are drawn too short or too long together, mm: where a foot is hidden it is taken too
# near the tip. r.m.s. over 24 faces of h1-h8, n8 and p1-p8 that tell a height; worst .016 (p6, out of focus).
DRAWN_DOUBT_MM = 0.011
VAGUE_HEIGHT = 0.2  # a height told worse than by this part of itself is left blank; chosen: usual heights scatter so


def height_sigma(height_mm: float | None, shown_mm: FloatArray) -> float | None:
    """One sigma, mm, of what one photograph tells of its pins' height by how long it draws them, shown_mm (n,); None
    where it tells too little."""
    if height_mm is None or not len(shown_mm):
        return None
    part = DRAWN_DOUBT_MM / max(float(np.median(shown_mm)), 1e-6)
    return height_mm * part if part <= VAGUE_HEIGHT else None


def _height(kind: int, height_mm: float | None, lean_mm: float) -> float | None:
    """A hole has none; of a stub only that it is low is known; a bent pin is lower by what its lean takes."""
    if kind == HOLE:
        return 0.0
    if kind == STUB or height_mm is None:
        return None
    return float(np.sqrt(max(height_mm**2 - lean_mm**2, (0.3 * height_mm) ** 2)))


def _unexplained(r_mm: float, tracks: FloatArray) -> bool:
    """Between two tracks, closer to one than a track of its own could lie, and clearly on neither."""
    if len(tracks) < 3:
        return False
    gap = np.abs(tracks - r_mm)
    return bool(0.11 < gap.min() < TRACK_GAP_MM - 0.06)
