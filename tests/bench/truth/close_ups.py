"""Close-ups made of photographs whose pins' places are known: turned, scaled, slanted, mirrored, blurred."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from disc.frame import to_xy_mm


@dataclass(frozen=True)
class Crop:
    """pixels; matrix (3, 3): the photo's pixels to the crop's; pins: ids of those in it, their roots inside."""

    pixels: Any
    matrix: Any
    pins: tuple[int, ...]
    mirrored: bool


def cut(pixels: Any, pins_px: list[dict[str, Any]], px_per_mm: float, rng: np.random.Generator) -> Crop | None:
    """One crop of the face with five visible pins and more; None where chance put it elsewhere."""
    roots = np.array([pin["root"] for pin in pins_px if pin["visible"]], float)
    ids = [pin["id"] for pin in pins_px if pin["visible"]]
    centre = roots[rng.integers(len(roots))] + rng.normal(0, 1.5 * px_per_mm, 2)
    scale = float(np.exp(rng.uniform(np.log(90), np.log(260)))) / px_per_mm
    width = int(rng.uniform(6.0, 10.0) * scale * px_per_mm)
    size = (width, int(width * rng.choice([0.75, 1.0])))
    turn = rng.uniform(0, 2 * np.pi)
    flip = -1.0 if rng.random() < 0.4 else 1.0
    slant = np.diag([1.0, float(np.cos(rng.uniform(0, 0.3)))])
    way = rng.uniform(0, np.pi)
    r = lambda a: np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])  # noqa: E731
    linear = scale * r(turn) @ np.diag([1.0, flip]) @ r(way) @ slant @ r(-way)
    matrix = np.eye(3)
    matrix[:2, :2] = linear
    matrix[:2, 2] = np.array(size) / 2 - linear @ centre
    at = roots @ linear.T + matrix[:2, 2]
    inside = np.all((at > 0.25 * scale * px_per_mm) & (at < np.array(size) - 0.25 * scale * px_per_mm), axis=1)
    if inside.sum() < 5:
        return None
    crop = cv2.warpAffine(pixels, matrix[:2], size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT_101)
    crop = cv2.GaussianBlur(crop, (0, 0), float(rng.uniform(0.5, 2.0))).astype(np.float32)
    crop = 255 * (np.clip(crop, 0, 255) / 255) ** float(rng.uniform(0.8, 1.25)) * float(rng.uniform(0.75, 1.1))
    crop += rng.normal(0, rng.uniform(1, 5), crop.shape)
    return Crop(np.clip(crop, 0, 255).astype(np.uint8), matrix, tuple(np.array(ids)[inside].tolist()), bool(flip < 0))


def true_places(truth: dict[str, Any], ids: tuple[int, ...]) -> Any:
    """Roots (n, 2) of pins by number, disc axes, mm."""
    by_id = {pin["id"]: pin for pin in truth["pins"]}
    return np.array([to_xy_mm(by_id[k]["r_mm"], by_id[k]["theta_deg"]) for k in ids]).reshape(-1, 2)
