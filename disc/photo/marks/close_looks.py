"""Each likely site looked at closer, by itself, knowing how the view slants."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.photo.image import Pixels, opencv
from disc.photo.marks.coarse_spots import coarse_spots
from disc.photo.marks.networks import CLOSER_PX, ask_closer
from disc.photo.marks.site_odds import UPRIGHT_MM, common_slant
from disc.photo.marks.slant import Slant
from disc.photo.marks.spots import CLOSEST_MM, PIN, Spots, thin_out
from disc.photo.marks.tint import lights, tints
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.flatten import Flat

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# The closer net is asked once more about marks between these parts of surety, of a kind no surer than this, whose root
# it puts farther than this from where it was asked, or whose tip lies farther from where an upright pin's would.
PLAIN, HOPELESS, PLAIN_KIND, MOVED_MM, PLAIN_LEAN_MM = 0.02, 0.10, 0.95, 0.06, 0.04
# What it puts this far off was seen from a bad place, such as a tall pin's top: the second look alone counts then.
FAR_MM = 0.12
STRAYED_MM = 0.05  # what the second look still puts this far off is looked at a third time
# About a tip, what a pin, its shadow and its mirror image take up; and see _crops_about_tips.
CROP_MM, FAINTEST_GREY = 0.52, 3.0
# How much rarer (or not) the kinds are on a disc than they were among the training crops, where a sixth each were stubs
# and holes: of a disc's sites a few per cent are (common practice, no source).
KIND_SHARE = np.array([1.0, 0.6, 0.3])
MOST_ROWS = 512 * CLOSER_PX  # of crops drawn at once; OpenCV takes no picture of more than 32766
# Marks that are not believed are looked at from elsewhere, where that is so far off; what comes of it must be as plain,
# near where it was looked for and not another mark's tip.
ELSEWHERE_MM, PLAIN_ELSEWHERE, NEAR_MM, OWN_TIP_MM = 0.08, 0.9, 0.1, 0.13
# A believed pin whose tip lies so far off where an upright one's would is looked at from there, if another leans as it
# does, to so much.
LEANS_MM, ALIKE_MM = 0.10, 0.06
FIRST_LOOKED, FEWEST_PINS = 60, 10  # so many of the surest marks tell the slant at first; pins that tell it at all


def find_spots(flat: Flat, plane: Plane) -> Spots:
    """All likely sites in view mm, the surest first: found at half scale, then looked at closer, each by itself.

    A first look at the surest tells how long an upright pin is drawn, and which way; knowing that, all are looked at.
    plane: that the face was flattened by.
    """
    half = flat.halved()
    coarse = coarse_spots(half)
    slant = _slant_if_told(_close(flat, coarse.pick(slice(FIRST_LOOKED)), None)[0], plane) if len(coarse) else None
    spots = look_closer(flat, coarse, slant, plane)
    return _looked_upon(half, spots)


def _looked_upon(half: Flat, spots: Spots) -> Spots:
    """With what is seen of them beside the networks."""
    return replace(spots, crop=_crops_about_tips(half, spots), tint=tints(half, spots), light=lights(half, spots))


def _slant_if_told(spots: Spots, plane: Plane) -> Slant | None:
    """The common slant, None where too few pins tell it."""
    slant = common_slant(spots, plane)
    return slant if slant.pins >= FEWEST_PINS else None


def _crops_about_tips(flat: Flat, spots: Spots) -> FloatArray:
    """Round pieces of the grey picture, each with its mean taken out and of unit length (n, k)."""
    cv2 = opencv()
    grey = cv2.cvtColor(flat.pixels, cv2.COLOR_BGR2GRAY).astype(np.float32)
    size = 2 * round(CROP_MM * flat.px_per_mm) + 1
    c = np.arange(size) - size // 2
    inside = np.hypot(*np.meshgrid(c, c)) <= size // 2
    at = flat.to_flat(spots.tip)
    rows = [cv2.getRectSubPix(grey, (size, size), (float(u), float(v)))[inside] for u, v in at]
    crops = np.array(rows, float).reshape(len(spots), int(inside.sum()))
    crops -= crops.mean(1, keepdims=True)
    # Noise alone is no likeness: what varies by less than this many grey values stays short of unit length.
    return np.asarray(crops / np.maximum(np.linalg.norm(crops, axis=1), FAINTEST_GREY * np.sqrt(inside.sum()))[:, None])


def look_closer(flat: Flat, spots: Spots, slant: Slant | None, plane: Plane) -> Spots:
    """The sites again by the closer network, from crops about them. flat: at its full scale.

    Those that it leaves in doubt are looked at once more from where it put them, in a mirror and knowing the slant
    better, until it puts them where it looks; the first answer and the last are taken together.
    """
    if not len(spots):
        return spots
    seen, moved = _close(flat, spots, slant)
    slant = _slant_if_told(seen, plane) or slant
    doubt = (np.abs(seen.heat - 0.5) < 0.5 - PLAIN) | (seen.kind.max(1) < PLAIN_KIND) | (moved > MOVED_MM)
    if slant is not None:
        doubt |= np.linalg.norm(seen.tip - seen.root - slant.at(seen.root), axis=1) > PLAIN_LEAN_MM
    far = moved > FAR_MM
    doubted = np.nonzero(doubt & (seen.heat > HOPELESS) | far)[0]
    if len(doubted):
        first = seen.pick(doubted)
        second, moved = _close(flat, first, slant, mirrored=True)
        strayed = np.nonzero(moved > STRAYED_MM)[0]
        if len(strayed):
            second = second.replaced(strayed, _close(flat, second.pick(strayed), slant)[0])
        seen = seen.replaced(doubted, _between(first, second)).replaced(np.nonzero(far)[0], second.pick(far[doubted]))
    return thin_out(seen.pick(np.argsort(-seen.heat, kind="stable")))


def look_again(flat: Flat, spots: Spots, slant: Slant, believed: npt.NDArray[np.bool_]) -> Spots:
    """Pins that are not believed (n,), or lean alike, are looked at from elsewhere.

    A shadow may have been taken for their body: from where an upright pin of that tip would stand, and from the tip, as
    it may be the foot. What is plain from there, and is none of the believed ones, takes the mark's place; of one that
    leans, what stands upright under the same tip.
    """
    pins = (spots.kind.argmax(1) == PIN) & (spots.heat > HOPELESS)
    leans = pins & believed & _lean_alike(spots, slant, pins)
    doubted = np.nonzero(pins & ~believed | leans)[0]
    if not len(doubted) or slant.pins < FEWEST_PINS:
        return spots
    marks, sure = spots.pick(doubted), spots.pick(believed & ~leans)
    foot = (marks.tip + np.asarray(slant.shift)) / (1 + slant.gain)
    places, which = np.concatenate([foot, marks.tip]), np.tile(np.arange(len(marks)), 2)
    off = np.linalg.norm(places - marks.root[which], axis=1) > ELSEWHERE_MM
    off[len(marks) :] &= np.linalg.norm(marks.tip - foot, axis=1) > ELSEWHERE_MM
    places, which = places[off], which[off]
    if not len(which):
        return spots
    seen, moved = _close(flat, replace(marks.pick(which), root=places), slant)
    plain = (seen.heat > PLAIN_ELSEWHERE) & (moved < NEAR_MM)
    plain &= _nearest(seen.root, sure.root) > CLOSEST_MM
    plain &= _nearest(seen.tip, sure.tip) > OWN_TIP_MM
    upright = np.linalg.norm(seen.tip - seen.root - slant.at(seen.root), axis=1) < UPRIGHT_MM
    same_tip = np.linalg.norm(seen.tip - marks.tip[which], axis=1) < UPRIGHT_MM
    plain &= ~leans[doubted][which] | upright & same_tip
    # The surest of a mark's places comes last, and stays.
    order = [k for k in np.argsort(seen.heat, kind="stable") if plain[k]]
    if not order:
        return spots
    half = flat.halved()
    seen = _looked_upon(half, seen)
    for k in order:
        spots = spots.replaced(doubted[which[k : k + 1]], seen.pick([k]))
    return thin_out(spots.pick(np.argsort(-spots.heat, kind="stable")))


def _lean_alike(spots: Spots, slant: Slant, pins: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Which of the pins (n,) lean as another does: all shadows fall one way, bent pins point anywhere."""
    lean = spots.tip - spots.root - slant.at(spots.root)
    far = pins & (np.hypot(*lean.T) > LEANS_MM)
    alike = np.linalg.norm(lean[:, None] - lean[None], axis=2) < ALIKE_MM
    return np.asarray(far & ((alike & far).sum(1) > 1))


def _nearest(a: FloatArray, b: FloatArray) -> FloatArray:
    """How far each of a (n, 2) is from the nearest of b (m, 2), (n,); far where there is none."""
    return np.asarray(np.linalg.norm(a[:, None] - b[None], axis=2).min(1, initial=np.inf))


def _close(flat: Flat, spots: Spots, slant: Slant | None, mirrored: bool = False) -> tuple[Spots, FloatArray]:
    """What the closer net says of each, and how far from its crop's middle it puts the root, mm."""
    at = flat.to_flat(spots.root)
    if slant is None:
        upright, angle = np.full(len(spots), np.nan), np.zeros(len(spots))
    else:
        drawn = slant.at(spots.root)
        upright, angle = np.hypot(*drawn.T), np.arctan2(-drawn[:, 1], drawn[:, 0])
    right = np.stack([np.cos(angle), np.sin(angle)], 1)
    down = np.stack([-right[:, 1], right[:, 0]], 1) * (-1 if mirrored else 1)
    turn = np.stack([right, down], 1)  # a crop's axes as rows, flat px
    said = ask_closer(_turned_crops(flat, at, turn), upright)
    back = lambda px: np.einsum("na,nab->nb", px, turn)  # noqa: E731
    root = at + back(said.root)
    near = flat.to_mm(root)
    there = 1 - said.kind[:, 3]
    kind = said.kind[:, :3] * KIND_SHARE
    kind = kind / np.maximum(kind.sum(1), 1e-9)[:, None]
    s = flat.px_per_mm
    sigmas = said.sigma_root / s, said.sigma_tip / s
    rest = spots.crop, spots.tint, spots.light
    seen = Spots(near, flat.to_mm(root + back(said.tip)), kind, there, *sigmas, spots.coarse, *rest)
    return seen, np.linalg.norm(said.root, axis=1) / s


def _turned_crops(flat: Flat, at: FloatArray, turn: FloatArray) -> Sequence[Pixels]:
    """Crops about places (n, 2) flat px, whose axes lie along the rows of turn (n, 2, 2)."""
    c = (np.arange(CLOSER_PX) - (CLOSER_PX - 1) / 2).astype(np.float32)
    middle, axes = at.astype(np.float32)[..., None, None], turn.astype(np.float32)[..., None, None]
    u, v = (middle[:, k] + axes[:, 0, k] * c + axes[:, 1, k] * c[:, None] for k in (0, 1))
    u, v = u.reshape(-1, CLOSER_PX), v.reshape(-1, CLOSER_PX)
    cv2 = opencv()
    crops: list[Pixels] = []
    for k in range(0, len(u), MOST_ROWS):
        some = slice(k, k + MOST_ROWS)
        tall = cv2.remap(flat.pixels, u[some], v[some], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101)
        crops.extend(tall.reshape(-1, CLOSER_PX, CLOSER_PX, 3))
    return crops


def _between(a: Spots, b: Spots) -> Spots:
    """Of two answers about the same sites, the middle."""
    return Spots(*((getattr(a, name) + getattr(b, name)) / 2 for name in Spots.__slots__))
