"""The measuring sheet as an invented camera sees it, drawn without the reader's own geometry."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

FIELD_PX = 12


@dataclass(frozen=True)
class Shot:
    """tilt about an axis in the paper at azimuth_deg; k1 in half diagonals; sx, sy: of the print; sag_mm at 40 mm."""

    size: tuple[int, int] = (1000, 1300)
    focal_px: float = 3000.0
    distance_mm: float = 150.0
    tilt_deg: float = 12.0
    azimuth_deg: float = 30.0
    roll_deg: float = 20.0
    k1: float = 0.0
    sx: float = 1.0
    sy: float = 1.0
    sag_mm: float = 0.0
    window_mm: float = 30.0
    noise: float = 2.0


def turn_of(shot: Shot):
    """Paper axes (x right, y down, z into the table) to the camera's, (3, 3), by Rodrigues' formula."""
    a, r = np.radians(shot.azimuth_deg), np.radians(shot.roll_deg)
    tilt, _ = cv2.Rodrigues(np.radians(shot.tilt_deg) * np.array([np.cos(a), np.sin(a), 0.0]))
    roll, _ = cv2.Rodrigues(np.array([0.0, 0.0, r]))
    return tilt @ roll


def corners_seen(shot: Shot):
    """Pixels (285, 2) of all inner corners, by number: row by row, 19 in each."""
    k = np.arange(19 * 15)
    x, y = (k % 19 + 1) * 4.0 - 40.0, (k // 19 + 1) * 4.0 - 32.0
    paper = np.stack([x * shot.sx, y * shot.sy, -shot.sag_mm * (x / 40.0) ** 2])
    x, y, z = turn_of(shot) @ paper + np.array([[0.0], [0.0], [shot.distance_mm]])
    u, v = shot.focal_px * x / z, shot.focal_px * y / z
    half = np.hypot(*shot.size) / 2
    grow = 1 + shot.k1 * (u**2 + v**2) / half**2
    return np.stack([u * grow + (shot.size[0] - 1) / 2, v * grow + (shot.size[1] - 1) / 2], 1)


def photograph(shot: Shot, seed: int = 0):
    """BGR pixels of the sheet with its white window."""
    board = cv2.aruco.CharucoBoard((20, 16), 4.0, 3.0, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250))
    picture = board.generateImage((160 * FIELD_PX, 128 * FIELD_PX), marginSize=0)
    middle, radius = (80 * FIELD_PX, 64 * FIELD_PX), round(shot.window_mm * FIELD_PX)
    cv2.circle(picture, middle, radius, 0, -1)
    cv2.circle(picture, middle, radius - 4, 255, -1)
    w, h = shot.size
    u, v = np.meshgrid(np.arange(w) - (w - 1) / 2, np.arange(h) - (h - 1) / 2)
    half = np.hypot(w, h) / 2
    seen = np.hypot(u, v) / half
    straight = seen.copy()
    for _ in range(20):  # r_seen = r (1 + k1 r^2), solved for r
        straight = seen / (1 + shot.k1 * straight**2)
    share = np.where(seen > 0, straight / np.maximum(seen, 1e-9), 1.0)
    way = np.einsum("ab,bij->aij", turn_of(shot).T, np.stack([u * share, v * share, np.full_like(u, shot.focal_px)]))
    eye = -turn_of(shot).T @ np.array([0.0, 0.0, shot.distance_mm])
    rise = np.zeros_like(u)
    for _ in range(4 if shot.sag_mm else 1):
        t = (-rise - eye[2]) / way[2]
        x, y = (eye[0] + t * way[0]) / shot.sx, (eye[1] + t * way[1]) / shot.sy
        rise = shot.sag_mm * (x / 40.0) ** 2
    px = 2 * FIELD_PX
    at = [((c + o) * px - 0.5).astype(np.float32) for c, o in ((x, 40.0), (y, 32.0))]
    grey = cv2.remap(picture, *at, cv2.INTER_AREA, borderMode=cv2.BORDER_CONSTANT, borderValue=255)
    grey = cv2.GaussianBlur(grey.astype(np.float32) * 0.75 + 15, (0, 0), 0.8)
    grey += np.random.default_rng(seed).normal(0, shot.noise, grey.shape)
    return np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, 2)
