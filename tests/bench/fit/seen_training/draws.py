"""Flattened faces with things laid over them, drawn anew for every sample; see cover_draw.py for the things."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from disc.photo.seen.cover_features import far_radii
from disc.photo.seen.small_face import AROUND, SIDE_PX
from tests.bench.fit.seen_training.cover_draw import cover, glare, wear

RIM_PX = SIDE_PX / 2 / AROUND


def load(folders: str) -> list[np.ndarray]:
    """Faces as draw_clear.py and flatten_photos.py wrote them."""
    return [cv2.imread(str(p)) for folder in folders.split(",") for p in sorted(Path(folder).glob("*.png"))]


def moved(rng, face):
    """The face turned, mirrored, and a little off, as a reader's plane may be."""
    n = face.shape[0]
    if rng.uniform() < 0.5:
        face = face[:, ::-1]
    m = cv2.getRotationMatrix2D(
        ((n - 1) / 2, (n - 1) / 2), rng.uniform(0, 360), SIDE_PX / n * rng.uniform(0.985, 1.015)
    )
    m[:, 2] += (SIDE_PX - n) / 2 + rng.normal(0, 0.4, 2)
    soft = cv2.GaussianBlur(face, (0, 0), max(0.4 * n / SIDE_PX, 0.4))
    return cv2.warpAffine(np.ascontiguousarray(soft), m, (SIDE_PX, SIDE_PX), borderMode=cv2.BORDER_REPLICATE)


def toned(rng, face):
    """Light, colour, sharpness and noise of some camera."""
    out = np.clip(face.astype(np.float32) / 255, 0, 1)
    out = out ** np.exp(rng.normal(0, 0.2)) * np.exp(rng.normal(0, 0.15))
    out = out * np.exp(rng.normal(0, 0.06, 3))
    if rng.uniform() < 0.4:
        grey = out.mean(2, keepdims=True)
        out = grey + (out - grey) * rng.uniform(0.3, 1.5)
    if rng.uniform() < 0.3:
        out = cv2.GaussianBlur(out, (0, 0), rng.uniform(0.3, 1.2))
    out = out + rng.standard_normal(out.shape) * rng.choice([0, 0.004, 0.015])
    return (np.clip(out, 0, 1) * 255).astype(np.uint8)


def sample(rng, faces, textures, plain: float = 0.35):
    """-> picture (SIDE_PX, SIDE_PX, 3), how much each place is covered, and what each place counts."""
    face = moved(rng, faces[rng.integers(len(faces))])
    if rng.uniform() < 0.5:
        face = wear(rng, face, RIM_PX)
    mask, weight = np.zeros((SIDE_PX, SIDE_PX), np.float32), (far_radii() < 0.975).astype(np.float32)
    if rng.uniform() > plain:
        for _ in range(int(rng.choice([1, 2], p=[0.8, 0.2]))):
            face, one = cover(rng, face, RIM_PX, [*textures, face])
            mask = np.maximum(mask, one)
    if rng.uniform() < 0.1:
        face, spot = glare(rng, face, RIM_PX)
        weight = weight * (1 - spot * (mask < 0.5))
    return toned(rng, face), mask, weight * np.where((mask > 0.2) & (mask < 0.8), 0.0, 1.0)
