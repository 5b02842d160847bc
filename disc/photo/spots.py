"""Pin sites on a flattened face: where something stands, stood or is missing, and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from disc.frame import FloatArray
from disc.photo.flatten import Flat
from disc.photo.image import Pixels, opencv
from disc.photo.networks import CLOSER_PX, SITES_STRIDE, SiteAnswer, ask_closer, ask_sites
from disc.photo.plane import Plane
from disc.photo.slant import Slant, fit_slant

PIN, STUB, HOLE = 0, 1, 2
# Lowest heat at which a place is looked at further; what is kept is decided in judge.py.
LOWEST_HEAT = 0.30
# The closer net is asked once more about marks between these parts of surety, of a kind no surer than this, whose root
# it puts farther than this from where it was asked, or whose tip lies farther from where an upright pin's would.
PLAIN, HOPELESS, PLAIN_KIND, MOVED_MM, PLAIN_LEAN_MM = 0.02, 0.10, 0.95, 0.06, 0.04
# What it puts this far off was seen from a bad place, such as a tall pin's top: the second look alone counts then.
FAR_MM = 0.12
# About a tip, what a pin, its shadow and its mirror image take up; and see _crops_about_tips.
CROP_MM, FAINTEST_GREY = 0.52, 3.0
# How much rarer (or not) the kinds are on a disc than they were among the training crops, where a sixth each were stubs
# and holes: of a disc's sites a few per cent are (common practice, no source).
KIND_SHARE = np.array([1.0, 0.6, 0.3])
MOST_ROWS = 512 * CLOSER_PX  # of crops drawn at once; OpenCV takes no picture of more than 32766
# So many of the surest marks, and of these pins with at least such odds, at least so many, tell the slant at first.
FIRST_LOOKED, FIRST_PINS, FEWEST_FIRST = 60, 0.3, 10
# Two sites cannot be closer than a pin's thickness (0.15 mm is the thinnest wire).
CLOSEST_MM = 0.16


@dataclass(frozen=True, slots=True)
class Spots:
    """n sites. root, tip: (n, 2) px of the photo or view mm, as said where they are made. kind: (n, 3) probabilities.

    sigma_root, sigma_tip: (n,) per axis, in the network's own opinion. heat: (n,) 0-1. crop: (n, k) the picture about
    each tip, every row of zero mean and unit length; k is 0 where none was cut.
    """

    root: FloatArray
    tip: FloatArray
    kind: FloatArray
    heat: FloatArray
    sigma_root: FloatArray
    sigma_tip: FloatArray
    coarse: FloatArray
    crop: FloatArray

    def __len__(self) -> int:
        return len(self.heat)

    def pick(self, which: Any) -> Spots:
        """Some of the sites, by index or mask."""
        return Spots(*(getattr(self, name)[which] for name in self.__slots__))

    def replaced(self, which: Any, new: Spots) -> Spots:
        """The same with some sites, by index, put in the places of old ones."""
        columns = {name: getattr(self, name).copy() for name in self.__slots__}
        for name, column in columns.items():
            column[which] = getattr(new, name)
        return Spots(**columns)


def find_spots(flat: Flat, plane: Plane) -> Spots:
    """All likely sites in view mm, the surest first: found at half scale, then looked at closer, each by itself.

    A first look at the surest tells how long an upright pin is drawn, and which way; knowing that, all are looked at.
    plane: that the face was flattened by.
    """
    half = flat.halved()
    coarse = coarse_spots(half)
    slant = first_slant(_close(flat, coarse.pick(slice(FIRST_LOOKED)), None)[0], plane) if len(coarse) else None
    spots = look_closer(flat, coarse, slant, plane)
    return replace(spots, crop=_crops_about_tips(half, spots))


def first_slant(spots: Spots, plane: Plane) -> Slant | None:
    """The common slant of likely pins, None where too few tell it."""
    pin = (spots.kind.argmax(1) == PIN) & (spots.heat > FIRST_PINS)
    sigma = np.hypot(spots.sigma_root, spots.sigma_tip)[pin]
    slant = fit_slant(spots.root[pin], spots.tip[pin], sigma, spots.heat[pin], plane)
    return slant if slant.pins >= FEWEST_FIRST else None


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
    better, and the two answers taken together.
    """
    if not len(spots):
        return spots
    seen, moved = _close(flat, spots, slant)
    slant = first_slant(seen, plane) or slant
    doubt = (np.abs(seen.heat - 0.5) < 0.5 - PLAIN) | (seen.kind.max(1) < PLAIN_KIND) | (moved > MOVED_MM)
    if slant is not None:
        doubt |= np.linalg.norm(seen.tip - seen.root - slant.at(seen.root), axis=1) > PLAIN_LEAN_MM
    far = moved > FAR_MM
    doubted = np.nonzero(doubt & (seen.heat > HOPELESS) | far)[0]
    if len(doubted):
        first = seen.pick(doubted)
        second = _close(flat, first, slant, mirrored=True)[0]
        seen = seen.replaced(doubted, _between(first, second)).replaced(np.nonzero(far)[0], second.pick(far[doubted]))
    return thin_out(seen.pick(np.argsort(-seen.heat, kind="stable")))


def _close(flat: Flat, spots: Spots, slant: Slant | None, mirrored: bool = False) -> tuple[Spots, FloatArray]:
    """What the closer net says of each, and how far from its crop's middle it puts the root, mm."""
    at = flat.to_flat(spots.root)
    if slant is None:
        upright, angle = np.full(len(spots), np.nan), np.zeros(len(spots))
    else:
        drawn = slant.at(spots.root)
        upright, angle = np.hypot(*drawn.T), np.arctan2(-drawn[:, 1], drawn[:, 0])
    right = np.stack([np.cos(angle), np.sin(angle)], 1)
    turn = np.stack(
        [right, np.stack([-right[:, 1], right[:, 0]], 1) * (-1 if mirrored else 1)], 1
    )  # a crop's axes as rows, flat px
    said = ask_closer(_turned_crops(flat, at, turn), upright)
    back = lambda px: np.einsum("na,nab->nb", px, turn)  # noqa: E731
    root = at + back(said.root)
    near = flat.to_mm(root)
    there = 1 - said.kind[:, 3]
    kind = said.kind[:, :3] * KIND_SHARE
    kind = kind / np.maximum(kind.sum(1), 1e-9)[:, None]
    s = flat.px_per_mm
    sigmas = said.sigma_root / s, said.sigma_tip / s
    seen = Spots(near, flat.to_mm(root + back(said.tip)), kind, there, *sigmas, spots.coarse, spots.crop)
    return seen, np.linalg.norm(said.root, axis=1) / s


def _turned_crops(flat: Flat, at: FloatArray, turn: FloatArray) -> Sequence[Pixels]:
    """Crops about places (n, 2) flat px, whose axes lie along the rows of turn (n, 2, 2)."""
    c = np.arange(CLOSER_PX) - (CLOSER_PX - 1) / 2
    grid = np.stack(np.meshgrid(c, c), -1).reshape(-1, 2)
    source = (grid @ turn + at[:, None]).astype(np.float32).reshape(-1, CLOSER_PX, 2)
    cv2, edge = opencv(), opencv().BORDER_REFLECT_101
    crops: list[Pixels] = []
    for k in range(0, len(source), MOST_ROWS):
        u, v = np.moveaxis(source[k : k + MOST_ROWS], -1, 0)
        tall = cv2.remap(flat.pixels, u, v, cv2.INTER_LINEAR, borderMode=edge)
        crops.extend(tall.reshape(-1, CLOSER_PX, CLOSER_PX, 3))
    return crops


def _between(a: Spots, b: Spots) -> Spots:
    """Of two answers about the same sites, the middle."""
    return Spots(*((getattr(a, name) + getattr(b, name)) / 2 for name in Spots.__slots__))


def coarse_spots(flat: Flat) -> Spots:
    """All likely sites in view mm, the surest first, from the sites network alone. flat: at its scale."""
    answer = ask_sites(flat.pixels)
    i, j, heat = _peaks(answer.heat)
    spots = _read_cells(answer, i, j, heat)
    mm = Spots(
        flat.to_mm(spots.root),
        flat.to_mm(spots.tip),
        spots.kind,
        spots.heat,
        spots.sigma_root / flat.px_per_mm,
        spots.sigma_tip / flat.px_per_mm,
        spots.coarse,
        spots.crop,
    )
    return thin_out(mm)


def _peaks(heat: FloatArray) -> tuple[Any, Any, FloatArray]:
    """Local maxima of the heat, column, row and height, highest first."""
    cv2 = opencv()
    top = cv2.dilate(heat.astype(np.float32), np.ones((3, 3), np.uint8))
    j, i = np.nonzero((heat >= top) & (heat > LOWEST_HEAT))
    order = np.argsort(-heat[j, i], kind="stable")
    return i[order], j[order], heat[j, i][order]


def _read_cells(answer: SiteAnswer, i: Any, j: Any, heat: FloatArray) -> Spots:
    """The answer at each peak's cell and the neighbours that speak of the same place, weighted by their sureness."""
    h, w = answer.kind.shape[:2]
    ci, cj = i // 2, j // 2
    at = np.stack([i * 2 + 0.5, j * 2 + 0.5], 1)  # the peak, flat px
    total = np.zeros(len(i))
    root, tip = np.zeros((len(i), 2)), np.zeros((len(i), 2))
    kind, s_root, s_tip = np.zeros((len(i), 3)), np.zeros(len(i)), np.zeros(len(i))
    for dj in (-1, 0, 1):
        for di in (-1, 0, 1):
            x, y = np.clip(ci + di, 0, w - 1), np.clip(cj + dj, 0, h - 1)
            middle = np.stack([x * SITES_STRIDE + 1.5, y * SITES_STRIDE + 1.5], 1)
            said = middle + answer.root[y, x]
            # A neighbour counts if it means this place, and less the farther its own middle is from it.
            agrees = np.hypot(*(said - at).T) < 3.0
            near = np.exp(-np.sum((middle - said) ** 2, 1) / (2 * 3.0**2))
            weight = agrees * near / answer.sigma_root[y, x] ** 2 + (1e-9 if di == dj == 0 else 0.0)
            total += weight
            root += weight[:, None] * said
            tip += weight[:, None] * (said + answer.tip[y, x])
            kind += weight[:, None] * answer.kind[y, x]
            s_root += weight * answer.sigma_root[y, x]
            s_tip += weight * answer.sigma_tip[y, x]
    kind = np.exp(kind / total[:, None])
    return Spots(
        root / total[:, None],
        tip / total[:, None],
        kind / kind.sum(1, keepdims=True),
        heat,
        s_root / total,
        s_tip / total,
        heat,
        np.zeros((len(i), 0)),
    )


def thin_out(spots: Spots) -> Spots:
    """Of two sites closer than a pin's thickness the surer (the earlier) stays."""
    near = np.hypot(*(spots.root[:, None] - spots.root[None]).transpose(2, 0, 1)) < CLOSEST_MM
    keep = np.ones(len(spots), bool)
    for k in np.nonzero(np.tril(near, -1).any(1))[0]:
        keep[k] = not (near[k, :k] & keep[:k]).any()
    return spots.pick(np.nonzero(keep)[0])
