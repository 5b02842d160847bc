"""The print hidden: a photo in which the disc lies on plain paper, as if the sheet had none on it.

The networks and the rim's search were not made for chequers and rings. Beyond the window the paper's own white is
painted over the print; near the window it takes on the shade of the paper just inside, so that no edge arises.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from disc.frame import FloatArray
from disc.photo.board import pattern
from disc.photo.board.camera_of_board import BoardCamera
from disc.photo.image import Photo, Pixels, opencv

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
COARSE = 8  # the ground is made on a picture so many times smaller
RINGS_MM = np.arange(11.0, 25.0, 0.25)  # from the middle: half the smallest window to beyond half the largest
AROUND = 720  # places on each ring, half a degree apart; chosen, a field is wider
# A ring of the print is seen where it is this much like the drawing (correlation); the window shows none of it.
LIKE_PRINT = 0.5
INSIDE_RING_MM = 0.35  # from the window's line to where the paper inside it is looked at
FADES_MM = 3.0  # over which a shade at the window's edge fades outwards
DARKEST_SHADE, LIGHTEST_SHADE = 0.35, 1.1  # bounds of the light on the paper against its usual, factors
LEAST_WHITES = 30  # fields of white paper, to tell the light; chosen by hand


@dataclass(frozen=True, slots=True)
class PlainPhoto:
    """photo: with the print painted over. window_mm: as found. shown: 1 where the photo is left as it was."""

    photo: Photo
    window_mm: float
    shown: Pixels

    def keeping(self, original: Photo, outline_px: FloatArray) -> Photo:
        """The same with what is inside an outline (n, 2) left as it was, where the disc reaches beyond the window."""
        inside = _filled(outline_px, original)
        if not np.any(inside > self.shown):
            return self.photo
        pixels = self.photo.pixels.copy()
        opencv().copyTo(original.pixels, inside, pixels)
        return replace(self.photo, pixels=pixels)


def find_window(pixels: Pixels, camera: BoardCamera) -> float:
    """The window's width, mm: inside it the paper does not look like the print."""
    phi = np.linspace(0, 2 * np.pi, AROUND, endpoint=False)
    r, p = np.meshgrid(RINGS_MM, phi)
    mm = np.stack([r * np.cos(p), r * np.sin(p)], -1).reshape(-1, 2) + pattern.MIDDLE_MM
    seen = _grey_at(pixels, camera.to_px(mm, 0.0)).reshape(r.shape)
    black = pattern.black_modules()
    i, j = (np.floor(mm / pattern.MODULE_MM).astype(int)).T
    drawn = np.where(black[np.clip(j, 0, black.shape[0] - 1), np.clip(i, 0, black.shape[1] - 1)], 0.0, 1.0)
    drawn = drawn.reshape(r.shape)
    like = np.array([_likeness(a, b) for a, b in zip(seen.T, drawn.T, strict=True)])
    # The print begins where most of what lies farther out is like it and most of what lies nearer is not.
    gain = np.concatenate([[0.0], np.cumsum(like - LIKE_PRINT)])
    edge = RINGS_MM[min(int(np.argmin(gain)), len(RINGS_MM) - 1)]
    steps = np.arange(pattern.SMALLEST_WINDOW_MM, pattern.LARGEST_WINDOW_MM + 1, pattern.WINDOW_STEP_MM)
    return float(steps[np.abs(steps / 2 - edge).argmin()])


def _likeness(seen: FloatArray, drawn: FloatArray) -> float:
    """Correlation of what is seen round a ring with what is drawn there; what is outside the frame does not count."""
    ok = seen >= 0
    if ok.sum() < 60 or np.ptp(drawn[ok]) == 0 or np.ptp(seen[ok]) == 0:
        return LIKE_PRINT
    return float(np.corrcoef(seen[ok], drawn[ok])[0, 1])


def _grey_at(pixels: Pixels, px: FloatArray) -> FloatArray:
    """Grey levels (n,) at photo pixels (n, 2), -1 outside the frame."""
    at = np.round(px).astype(int)
    inside = np.all((at >= 0) & (at < pixels.shape[1::-1]), axis=1)
    out = np.full(len(px), -1.0)
    out[inside] = pixels[at[inside, 1], at[inside, 0]].mean(1)
    return out


def _bows(u: FloatArray, v: FloatArray, size: tuple[int, int]) -> FloatArray:
    """Terms (..., 6) of a surface over the picture."""
    x, y = u / size[0] - 0.5, v / size[0] - 0.5
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], -1)


def _paper_white(pixels: Pixels, camera: BoardCamera, window_mm: float) -> FloatArray | None:
    """The paper's log colour over the picture, by the white fields that lie away from black ones; None: too few."""
    black = pattern.black_modules()
    near = opencv().dilate(black.astype(np.uint8), np.ones((3, 3), np.uint8))
    # Between a square's edge and its mark runs a line of white half a millimetre wide: its fields touch black ones.
    some = np.argwhere((near == 0) | (~black & (np.add.outer(*map(np.arange, black.shape)) % 5 == 0)))
    mm = (some[:, ::-1] + 0.5) * pattern.MODULE_MM
    mm = mm[np.hypot(*(mm - pattern.MIDDLE_MM).T) > window_mm / 2 + 1.0]
    at = np.round(camera.to_px(mm, 0.0)).astype(int)
    at = at[np.all((at >= 0) & (at < pixels.shape[1::-1]), axis=1)]
    if len(at) < LEAST_WHITES:
        return None
    level = np.log(np.maximum(pixels[at[:, 1], at[:, 0]].astype(float), 1.0))
    rows = _bows(at[:, 0].astype(float), at[:, 1].astype(float), camera.size)
    weight = np.ones(len(at))
    found = np.zeros((6, 3))
    for _ in range(6):
        found = np.linalg.lstsq(rows * weight[:, None], level * weight[:, None], rcond=None)[0]
        left = (level - rows @ found).mean(1)
        scale = 1.4826 * float(np.median(np.abs(left))) + 0.01
        weight = 1 / (1 + (left / (2 * scale)) ** 2)  # a hand, a shadow or a mark missed by a hair
    return found


def hide_print(photo: Photo, camera: BoardCamera) -> PlainPhoto | None:
    """The photo on plain ground; None where too little paper is seen."""
    cv2 = opencv()
    window = find_window(photo.pixels, camera)
    white = _paper_white(photo.pixels, camera, window)
    if white is None:
        return None
    field = _ground(photo.pixels, camera, window, white)
    ground = cv2.resize(field, (photo.width, photo.height), interpolation=cv2.INTER_LINEAR)
    shown = _filled(window_outline(camera, window, -INSIDE_RING_MM), photo)
    opencv().copyTo(photo.pixels, shown, ground)
    return PlainPhoto(replace(photo, pixels=ground), window, shown)


def _filled(outline_px: FloatArray, photo: Photo) -> Pixels:
    """1 inside the outline (n, 2), 0 elsewhere."""
    inside = np.zeros((photo.height, photo.width), np.uint8)
    return np.asarray(opencv().fillPoly(inside, [np.round(outline_px * 16).astype(np.int32)], 1, shift=4))


def window_outline(camera: BoardCamera, window_mm: float, beyond_mm: float = 0.0) -> FloatArray:
    """Seen pixels (n, 2) along a circle that much outside the window's line."""
    t = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    ways = np.stack([np.cos(t), np.sin(t)], 1)
    return camera.to_px((window_mm / 2 + beyond_mm) * ways + pattern.MIDDLE_MM, 0.0)


def _ground(pixels: Pixels, camera: BoardCamera, window_mm: float, white: FloatArray) -> Pixels:
    """The plain paper on a small picture."""
    cv2 = opencv()
    height, width = (-(-size // COARSE) for size in pixels.shape[:2])
    u, v = (c.astype(float) for c in np.meshgrid(np.arange(width), np.arange(height)))
    u, v = (u + 0.5) * COARSE - 0.5, (v + 0.5) * COARSE - 0.5
    level = _bows(u, v, camera.size) @ white
    shade = _shade_about_window(pixels, camera, window_mm, white)
    r, phi = _about_middle(camera, u, v)
    k = (phi / (2 * np.pi) * len(shade)).astype(int) % len(shade)
    level += shade[k][..., None] * np.exp(-np.maximum(r - window_mm / 2, 0) / FADES_MM)[..., None]
    field = np.clip(np.exp(np.minimum(level, 5.54)) + 0.5, 0, 255).astype(np.uint8)
    return np.asarray(cv2.GaussianBlur(field, (0, 0), 1.0))


def _about_middle(camera: BoardCamera, u: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where pixels lie about the window's middle on the paper: (r mm, angle 0 to 2 pi). Distortion is left out."""
    x, y, w = np.einsum("ab,b...->a...", np.linalg.inv(camera.plane_to_px(0.0)), np.stack([u, v, np.ones_like(u)]))
    w = np.where(np.abs(w) < 1e-12, 1e-12, w)
    x, y = x / w - pattern.MIDDLE_MM[0], y / w - pattern.MIDDLE_MM[1]
    return np.hypot(x, y), np.arctan2(y, x) % (2 * np.pi)


def _shade_about_window(pixels: Pixels, camera: BoardCamera, window_mm: float, white: FloatArray) -> FloatArray:
    """How much darker (log) the paper just inside the window is than white paper, round it (n,)."""
    from scipy.ndimage import median_filter, uniform_filter1d

    outline = window_outline(camera, window_mm, -INSIDE_RING_MM)
    at = np.round(outline).astype(int)
    inside = np.all((at >= 0) & (at < pixels.shape[1::-1]), axis=1)
    level = np.log(np.maximum(_grey_at(pixels, outline), 1.0))
    paper = (_bows(outline[:, 0], outline[:, 1], camera.size) @ white).mean(1)
    shade = np.where(inside, level - paper, 0.0)
    shade = np.clip(shade, np.log(DARKEST_SHADE), np.log(LIGHTEST_SHADE))
    smooth = median_filter(shade, size=31, mode="wrap")
    return np.asarray(uniform_filter1d(smooth, size=15, mode="wrap"))
