"""Photographs made worse on purpose, with what was done to them: covered, blurred, in glare, cut off.

Every case is drawn from its source's name, its kind and a seed. The true plane comes from the truth file's rim, so that
what is covered is known in the plate's own plane. The things here are drawn by other rules than those that the fit
learns from (tests/bench/fit/seen_training).
"""

from __future__ import annotations

import json
import zlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from disc.frame import to_xy_mm
from disc.photo.image import Photo, load_photo
from disc.photo.seen.seen_map import ANGLES, RINGS, cell_places
from disc.records import Plate, Side, Turns

KINDS = ("dark", "card", "cloth", "finger", "tape", "tweezers")
PART = 0.12  # of the plate's area


@dataclass(frozen=True)
class Source:
    """One photograph with its truth. to_px: 3 x 3, disc mm to photo px, good to a px or so (a lens may bend)."""

    name: str
    photo: Photo
    side: Side
    plate: Plate
    truth: dict[str, Any]
    to_px: Any

    def cells_px(self) -> Any:
        """Photo px of the raster's cells, (RINGS, ANGLES, 2)."""
        x, y = to_xy_mm(*cell_places(self.plate.radius_mm))
        return cv2.perspectiveTransform(np.stack([x, y], 2).reshape(1, -1, 2), self.to_px).reshape(RINGS, ANGLES, 2)


def sources(folder: Path, names: list[str] | None = None, longest_px: int | None = None) -> list[Source]:
    """All photographs of a folder that have a truth file; longest_px: shrunk to that, where pins do not matter."""
    found = []
    for path in sorted(folder.glob("*.json")):
        truth = json.loads(path.read_text())
        if "photos" not in truth or (names and path.stem not in names):
            continue
        disc = truth["disc"]
        plate = Plate(disc["diameter_mm"], Turns(disc["turns"]), bore_mm=disc.get("bore_mm"))
        for shot in truth["photos"]:
            rim = np.array(shot["rim_px"], float)
            theta = np.arange(0, 360, 360 / len(rim))
            x, y = to_xy_mm(np.full(len(theta), plate.radius_mm), theta)
            to_px, _ = cv2.findHomography(np.stack([x, y], 1), rim)
            photo = load_photo(folder / shot["file"])
            shrink = min(1.0, (longest_px or 10**6) / max(photo.width, photo.height))
            if shrink < 1:
                size = (round(photo.width * shrink), round(photo.height * shrink))
                small = cv2.resize(photo.pixels, size, interpolation=cv2.INTER_AREA)
                photo = replace(photo, pixels=np.asarray(small, np.uint8))
                to_px = np.diag([shrink, shrink, 1.0]) @ to_px
            found.append(Source(Path(shot["file"]).stem, photo, Side(shot["side"]), plate, truth, to_px))
    return found


def covered(source: Source, kind: str, seed: int, part: float = PART) -> tuple[Photo, Any]:
    """-> the photograph with something of this kind over it, and which cells it covers, (RINGS, ANGLES) of bool."""
    rng = np.random.default_rng([zlib.crc32(source.name.encode()), KINDS.index(kind), seed])
    mask = _mask(source, kind, rng, part)
    pixels = _paint(source.photo.pixels, mask, kind, rng)
    uv = source.cells_px()
    seen = cv2.remap(mask, uv[..., 0].astype(np.float32), uv[..., 1].astype(np.float32), cv2.INTER_LINEAR)
    return replace(source.photo, pixels=pixels), seen > 0.5


def part_of(cells: Any) -> float:
    """The share of the plate that cells (RINGS, ANGLES) of bool make."""
    weight = 2.0 * np.arange(RINGS) + 1
    return float((cells * weight[:, None]).sum() / (weight.sum() * ANGLES))


def _mask(source: Source, kind: str, rng: Any, part: float) -> Any:
    """(height, width), 1 where the thing lies: grown until it covers its part of the plate."""
    h, w = source.photo.pixels.shape[:2]
    radius = source.plate.radius_mm
    t, r = rng.uniform(0, 360), radius * rng.uniform(0.3, 0.9)
    turn, bend = rng.uniform(0, 2 * np.pi), rng.uniform(0.6, 1.6)
    shape = rng.normal(0, 0.12, 6)
    at = np.array(to_xy_mm(r, t))
    way = at / np.hypot(*at)
    uv = source.cells_px().astype(np.float32)
    low, high = 0.05 * radius, 2.5 * radius
    mask = np.zeros((h, w), np.float32)
    for _ in range(14):
        size = (low + high) / 2
        mask = _draw(source, kind, at, way, size, turn, bend, shape, (h, w))
        share = part_of(cv2.remap(mask, uv[..., 0], uv[..., 1], cv2.INTER_LINEAR) > 0.5)
        if abs(share - part) < 0.002:
            break
        low, high = (size, high) if share < part else (low, size)
    return mask


def _draw(
    source: Source, kind: str, at: Any, way: Any, size: float, turn: float, bend: float, shape: Any, hw: Any
) -> Any:
    across = np.array([-way[1], way[0]])
    if kind == "finger" or kind == "tweezers":
        far = 3 * source.plate.radius_mm
        wide = 0.42 * size if kind == "finger" else 0.16 * size
        grow = 0.05 if kind == "finger" else 0.12
        tip = way * source.plate.radius_mm - way * (0.9 * size if kind == "finger" else 1.6 * size)
        a = np.linspace(-np.pi / 2, np.pi / 2, 24)
        cap = [tip + across * wide * np.sin(v) - way * wide * (np.cos(v) - 1) * 0.9 for v in a]
        points = [*cap, tip + way * far + across * (wide + grow * far), tip + way * far - across * (wide + grow * far)]
        if kind == "tweezers":
            points = [tip + across * wide * 0.5, tip - across * wide * 0.5, *points[-1:], *points[-2:-1]]
    elif kind in ("card", "tape"):
        c, s = np.cos(turn), np.sin(turn)
        box = np.array([[-1, -bend], [1, -bend], [1, bend], [-1, bend]]) * size * 0.5
        points = list(at + box @ np.array([[c, -s], [s, c]]))
    else:
        a = np.linspace(0, 2 * np.pi, 90, endpoint=False)
        r = 1 + sum(shape[k] * np.cos((k + 2) * a + turn * (k + 1)) for k in range(5))
        points = list(at + 0.6 * size * (r[:, None] * np.stack([np.cos(a) * bend, np.sin(a) / bend], 1)))
    px = cv2.perspectiveTransform(np.array(points, float)[None], source.to_px)[0]
    mask = np.zeros(hw, np.uint8)
    cv2.fillPoly(mask, [np.round(np.clip(px, -30000, 30000) * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
    return mask.astype(np.float32) / 255


def _paint(pixels: Any, mask: Any, kind: str, rng: Any) -> Any:
    h, w = mask.shape
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    out = pixels.astype(np.float32)
    if kind == "dark":
        skin = np.full((h, w, 3), rng.uniform(15, 45), np.float32) * rng.uniform(0.9, 1.1, 3).astype(np.float32)
    elif kind == "card":
        skin = np.full((h, w, 3), rng.uniform(215, 245), np.float32) * rng.uniform(0.94, 1.0, 3).astype(np.float32)
    elif kind == "cloth":
        base, a, p = rng.uniform(40, 190, 3), rng.uniform(0, 3.1), rng.uniform(14, 30) * max(w, h) / 2400
        u, v = x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a)
        wave = np.sin(6.28 * u / p) * np.sin(6.28 * v / p)
        skin = base.astype(np.float32) + (wave * rng.uniform(15, 35))[..., None]
    elif kind == "finger":
        depth = cv2.distanceTransform((mask > 0.5).astype(np.uint8), cv2.DIST_L2, 3)
        body = np.sqrt(np.clip(depth / max(float(depth.max()), 1), 0, 1))
        skin = np.array([120, 150, 205], np.float32) * rng.uniform(0.5, 1.1) * (0.55 + 0.5 * body[..., None])
    elif kind == "tape":
        milky = np.array([205, 225, 232], np.float32)
        skin = cv2.GaussianBlur(out, (0, 0), 6.0) * 0.4 + 0.6 * milky * rng.uniform(0.75, 1.0)
    else:
        depth = cv2.distanceTransform((mask > 0.5).astype(np.uint8), cv2.DIST_L2, 3)
        skin = (
            np.full((h, w, 3), rng.uniform(25, 90), np.float32) + (depth / max(float(depth.max()), 1) * 110)[..., None]
        )
    skin = skin + rng.normal(0, 3, (h, w, 1)).astype(np.float32)
    soft = cv2.GaussianBlur(mask, (0, 0), 1.5)[..., None]
    if kind in ("finger", "tweezers", "dark") and rng.uniform() < 0.5:  # its shadow beside it
        shade = cv2.GaussianBlur(np.roll(mask, (25, 18), (0, 1)), (0, 0), 15)[..., None]
        out = out * (1 - 0.45 * shade)
    return np.clip(out + soft * (skin - out), 0, 255).astype(np.uint8)


def blurred(source: Source, sigma_px: float, part: bool = False, seed: int = 0) -> Photo:
    """The photograph blurred, whole or on one side of a line through the disc."""
    soft = np.asarray(cv2.GaussianBlur(source.photo.pixels, (0, 0), sigma_px), np.uint8)
    if not part:
        return replace(source.photo, pixels=soft)
    rng = np.random.default_rng([zlib.crc32(source.name.encode()), seed, 7])
    a = rng.uniform(0, 2 * np.pi)
    middle = cv2.perspectiveTransform(np.zeros((1, 1, 2)), source.to_px)[0, 0]
    y, x = np.mgrid[0 : soft.shape[0], 0 : soft.shape[1]].astype(np.float32)
    d = (x - middle[0]) * np.cos(a) + (y - middle[1]) * np.sin(a)
    share = (1 / (1 + np.exp(-np.clip(d / 60, -30, 30))))[..., None]
    mixed = source.photo.pixels + share * (soft.astype(np.float32) - source.photo.pixels)
    return replace(source.photo, pixels=np.clip(mixed, 0, 255).astype(np.uint8))


def glared(source: Source, seed: int = 0) -> tuple[Photo, Any]:
    """A lamp's mirror image, blown out: -> photograph, and the cells it whites out (RINGS, ANGLES)."""
    rng = np.random.default_rng([zlib.crc32(source.name.encode()), seed, 9])
    radius = source.plate.radius_mm
    at = cv2.perspectiveTransform(
        np.array([[to_xy_mm(radius * rng.uniform(0.3, 0.8), rng.uniform(0, 360))]]), source.to_px
    )[0, 0]
    edge = cv2.perspectiveTransform(np.array([[[radius, 0.0], [0.0, 0.0]]]), source.to_px)[0]
    wide = float(np.hypot(*(edge[0] - edge[1]))) * rng.uniform(0.12, 0.25)
    y, x = np.mgrid[0 : source.photo.height, 0 : source.photo.width].astype(np.float32)
    spot = 900 * np.exp(-0.5 * ((x - at[0]) ** 2 + (y - at[1]) ** 2) / (0.6 * wide) ** 2)
    pixels = np.clip(source.photo.pixels + spot[..., None], 0, 255).astype(np.uint8)
    uv = source.cells_px().astype(np.float32)
    white = cv2.remap((spot > 250).astype(np.float32), uv[..., 0], uv[..., 1], cv2.INTER_LINEAR)
    return replace(source.photo, pixels=pixels), white > 0.5


def cropped(source: Source, out: float, seed: int = 0) -> tuple[Photo, Any]:
    """Part of the disc cut off at the frame, `out` of its diameter: -> photograph, and the cells that are gone."""
    rng = np.random.default_rng([zlib.crc32(source.name.encode()), seed, 11])
    uv = source.cells_px()
    rim = uv[-1]
    (left, top), (right, low) = rim.min(0), rim.max(0)
    h, w = source.photo.pixels.shape[:2]
    box = [0, 0, w, h]
    way = int(rng.integers(4))
    cut = [left + out * (right - left), top + out * (low - top), right - out * (right - left), low - out * (low - top)]
    box[way] = round(float(cut[way]))
    gone = (uv[..., 0] < box[0]) | (uv[..., 1] < box[1]) | (uv[..., 0] > box[2]) | (uv[..., 1] > box[3])
    pixels = np.ascontiguousarray(source.photo.pixels[box[1] : box[3], box[0] : box[2]])
    return replace(source.photo, pixels=pixels), gone
