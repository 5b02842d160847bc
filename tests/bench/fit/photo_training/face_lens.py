"""Camera geometry, and what lens, sensor and a phone's own processing do to a picture.

Only the lens's distortion moves points, and `Camera.pixel` knows it; its colour fringes are centred on green.
"""

from __future__ import annotations

import cv2
import numpy as np


class Camera:
    """A pinhole with one term of radial distortion; the renderer's thin lens blurs around the same rays.

    pixel = middle + (1 + k1 r2) (pinhole pixel - middle), r in half diagonals; (0, 0) is the top-left pixel's centre.
    """

    def __init__(self, p: dict, diameter: float, k1: float) -> None:
        self.width, self.height = p["size"]
        frame = diameter / p["fill"]
        tilt, azim, roll = np.radians([p["tilt"], p["azim"], p["roll"]])
        look = np.array([np.sin(tilt) * np.cos(azim), np.sin(tilt) * np.sin(azim), np.cos(tilt)])
        side = np.array([-np.sin(azim), np.cos(azim), 0.0])
        self.up = np.cos(roll) * np.cross(look, side) + np.sin(roll) * side
        self.forward = -look
        self.right = np.cross(self.forward, self.up)
        off = np.array(p["offset"]) * frame
        flat = off[0] * self.right + off[1] * self.up
        target = flat - look * flat[2] / look[2]
        self.eye = target + p["distance"] * look
        self.focus = p["distance"] + p["defocus"]
        self.f_px = self.height * p["distance"] / frame
        self.fov = float(np.degrees(2 * np.arctan(self.width / 2 / self.f_px)))
        self.aperture = p["aperture"]
        self.k1 = k1
        self.middle = np.array([self.width / 2 - 0.5, self.height / 2 - 0.5])
        self.half = float(np.hypot(self.width, self.height) / 2)

    def straight(self, points):
        """Face frame (n, 3) to pixels without distortion."""
        d = np.atleast_2d(points) - self.eye
        z = d @ self.forward
        return self.middle + self.f_px * np.stack([d @ self.right / z, -(d @ self.up) / z], -1)

    def pixel(self, points):
        """Face frame (n, 3) to pixels (u, v)."""
        q = (self.straight(points) - self.middle) / self.half
        return self.middle + self.half * q * (1 + self.k1 * np.sum(q**2, -1, keepdims=True))

    def homography(self):
        """Of the plane z = 0 to undistorted pixels, 3 x 3."""
        k = np.array([[self.f_px, 0, self.middle[0]], [0, self.f_px, self.middle[1]], [0, 0, 1.0]])
        r = np.stack([self.right, -self.up, self.forward])
        return k @ np.stack([r[:, 0], r[:, 1], -r @ self.eye], 1)

    def on_face(self, points):
        """Where a point of space (n, 3) is seen on the plane z = 0: (n, 2)."""
        p = np.atleast_2d(points)
        return p[:, :2] + (p[:, :2] - self.eye[:2]) * (p[:, 2:] / (self.eye[2] - p[:, 2:]))

    def bend(self, img):
        """The straight picture distorted, colours a little apart if asked. img: (h, w, 3)."""
        h, w = img.shape[:2]
        v, u = np.mgrid[0:h, 0:w].astype(np.float32)
        q = np.stack([u - self.middle[0], v - self.middle[1]], -1) / self.half
        far = np.hypot(q[..., 0], q[..., 1])
        inner = far.copy()
        for _ in range(4):  # the radius before distortion
            inner = far / (1 + self.k1 * inner**2)
        scale = np.where(far > 1e-6, inner / np.maximum(far, 1e-6), 1.0)[..., None]
        at = (q * scale * self.half + self.middle).astype(np.float32)
        return cv2.remap(img, at[..., 0], at[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)


def fringed(img, amount: float):
    """Red and blue drawn a little larger and smaller than green, about the middle."""
    h, w = img.shape[:2]
    out = [img[..., k] for k in range(3)]
    for k, s in ((0, 1 + amount), (2, 1 - amount)):
        m = np.array([[s, 0, (1 - s) * (w - 1) / 2], [0, s, (1 - s) * (h - 1) / 2]])
        out[k] = cv2.warpAffine(
            np.ascontiguousarray(img[..., k]), m, (w, h), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
    return np.stack(out, -1)


def shaken(img, size: float, way_deg: float):
    """Blurred along a slightly bowed line of `size` px."""
    n = int(np.ceil(size)) * 2 + 5
    t = np.linspace(-0.5, 0.5, 200) * size
    a = np.radians(way_deg)
    bow = 0.06 * (t**2 - np.mean(t**2))
    px, py = t * np.cos(a) - bow * np.sin(a), t * np.sin(a) + bow * np.cos(a)
    k = np.zeros((n, n), np.float32)
    for u, v in zip(px - px.mean() + n // 2, py - py.mean() + n // 2, strict=True):
        i, j = int(v), int(u)
        fv, fu = v - i, u - j
        k[i, j] += (1 - fv) * (1 - fu)
        k[i, j + 1] += (1 - fv) * fu
        k[i + 1, j] += fv * (1 - fu)
        k[i + 1, j + 1] += fv * fu
    return cv2.filter2D(img, -1, (k / k.sum())[::-1, ::-1].copy(), borderType=cv2.BORDER_REFLECT)


def develop(linear, lens: dict, camera: Camera, rng, mask):
    """Linear light to an 8-bit picture, RGB. mask: the face in the straight picture, for the exposure."""
    img = np.maximum(linear.astype(np.float32), 0)
    med = np.stack([cv2.medianBlur(np.ascontiguousarray(img[..., k]), 3) for k in range(3)], -1)
    hot = img.max(-1) > 4 * med.max(-1) + 0.05  # lone fireflies of the path tracer
    img[hot] = med[hot]
    img = np.exp(cv2.bilateralFilter(np.log(img + 1e-3), 5, 0.15, 1.3)) - 1e-3  # and thin out its noise
    h, w = img.shape[:2]
    if camera.k1:
        img = np.maximum(camera.bend(img), 0)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    rr = ((x - (w - 1) / 2) ** 2 + (y - (h - 1) / 2) ** 2) / (w * w + h * h) * 4
    img *= (1 - lens["vignette"] * rr)[..., None]
    mid = np.median(img[mask].mean(-1)) if mask.any() else np.median(img)
    img *= lens["exposure"] / max(mid, 1e-4)
    img = cv2.GaussianBlur(img, (0, 0), lens["lens_px"])
    if lens["fringe"]:
        img = fringed(img, lens["fringe"])
    if lens["glow"]:
        small = cv2.resize(np.minimum(img, 8), None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
        halo = cv2.resize(cv2.GaussianBlur(small, (0, 0), 0.006 * w), (w, h), interpolation=cv2.INTER_LINEAR)
        img = (1 - lens["glow"]) * img + lens["glow"] * halo
    if lens["shake_px"]:
        img = shaken(img, lens["shake_px"], lens["shake_deg"])
    noise = lens["noise"]
    grain = cv2.GaussianBlur(rng.standard_normal(img.shape).astype(np.float32), (0, 0), 0.6)
    img = img + grain / grain.std() * np.sqrt(noise**2 * np.maximum(img, 0) + (0.25 * noise) ** 2)
    if lens["blotch"]:  # coarse noise of the colours, as small sensors have it
        coarse = rng.standard_normal((h // 4 + 1, w // 4 + 1, 3)).astype(np.float32)
        img = img + lens["blotch"] * np.sqrt(np.maximum(img, 0)) * cv2.resize(coarse, (w, h))
    img = np.maximum(img * np.array(lens["balance"], np.float32), 0)
    if lens["tone"] == "shoulder":
        knee = lens["knee"]
        over = np.maximum(img - knee, 0)
        img = np.where(img > knee, knee + (1 - knee) * (1 - np.exp(-over / (1 - knee) * 0.8)), img)
    elif lens["tone"] == "film":
        x = 0.8 * img
        img = x * (2.51 * x + 0.03) / (x * (2.43 * x + 0.59) + 0.14)
    img = img.clip(0, 1.2)
    srgb = np.where(img <= 0.0031308, 12.92 * img, 1.055 * np.maximum(img, 1e-6) ** (1 / 2.4) - 0.055)
    srgb = srgb + 0.06 * lens["contrast"] * np.sin(2 * np.pi * (srgb.clip(0, 1) - 0.5)) / np.pi
    if lens["denoise"]:  # as phones do: smooth where it is smooth, then sharpen
        srgb = cv2.bilateralFilter(srgb.astype(np.float32), 7, 0.06 + 2 * noise, 2.0)
    if lens["sharpen"]:
        srgb += lens["sharpen"] * (srgb - cv2.GaussianBlur(srgb, (0, 0), lens["sharpen_px"]))
    if lens["zoom"] < 1:  # fewer pixels drawn larger
        small = cv2.resize(srgb, None, fx=lens["zoom"], fy=lens["zoom"], interpolation=cv2.INTER_AREA)
        srgb = cv2.resize(small, (w, h), interpolation=cv2.INTER_CUBIC)
    if lens["grey"]:
        srgb = np.repeat(srgb.mean(-1, keepdims=True), 3, -1)
    return (srgb.clip(0, 1) * 255 + 0.5).astype(np.uint8)


def squeezed(picture, lens: dict) -> bytes:
    """The picture (RGB) as JPEG."""
    how = [cv2.IMWRITE_JPEG_QUALITY, lens["jpeg"]]
    if lens["colour_full"]:
        how += [cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444]
    return cv2.imencode(".jpg", np.ascontiguousarray(picture[..., ::-1]), how)[1].tobytes()
