"""Training material from rendered photographs with truth files: crops for the sites net, frames for the finder.

A folder holds NAME.json (the truth: discs, pins, pixel places) beside its pictures. Faces whose number in the name is
HELD_OUT_FROM or more are never trained on.
"""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np

PX_PER_MM, SIDE, SITES = 56.0, 160, 24
FRAME = 256
HELD_OUT_FROM = 36


def load_faces(folder: Path) -> list[dict]:
    """Each photo with its truth: pixels, sites in px and mm, plane homography (mm, y up, to px)."""
    faces = []
    for path in sorted(folder.glob("*.json")):
        truth = json.loads(path.read_text())
        pins = {p["id"]: p for p in truth["pins"]}
        radius = truth["disc"]["diameter_mm"] / 2
        for photo in truth["photos"]:
            mirror = 1 if photo["side"] == "upper" else -1
            a = np.radians(np.arange(0, 360, 15)) * mirror
            flat = np.stack([radius * np.cos(a), radius * np.sin(a)], 1)
            h, _ = cv2.findHomography(flat, np.array(photo["rim_px"]))
            mine = [(pins[q["id"]], q) for q in photo["pins_px"]]
            kind = np.array(
                [
                    2
                    if p["condition"] == "missing" or (p["condition"] == "extra" and p["height_mm"] == 0)
                    else 1
                    if p["condition"] == "stub"
                    else 0
                    for p, _ in mine
                ]
            )
            faces.append({
                "name": path.stem, "number": int("".join(c for c in path.stem if c.isdigit())), "image": cv2.imread(str(folder / photo["file"])),  # noqa: E501
                "h": h, "radius": radius, "kind": kind, "centre": photo["centre_px"], "datum": photo["datum_px"], "gear": bool(truth.get("look", {}).get("gear")),  # noqa: E501
                "root": np.array([q["root"] for _, q in mine], float), "tip": np.array([q["tip"] for _, q in mine], float),  # noqa: E501
                "thick": truth["disc"]["thickness_mm"],
            })  # fmt: skip
    return faces


def map_points(h, p):
    q = np.asarray(p, float) @ h[:, :2].T + h[:, 2]
    return q[:, :2] / q[:, 2:]


def crop(face: dict, rng: np.random.Generator):
    """One crop: image (SIDE, SIDE, 3) RGB uint8, root and tip (SITES, 2) px, kind (SITES,) or -1."""
    if rng.uniform() < 0.75 and len(face["root"]):
        middle = face["root"][rng.integers(len(face["root"]))] + rng.normal(0, 20, 2)
    else:
        r, t = face["radius"] * 1.04 * np.sqrt(rng.uniform()), rng.uniform(0, 2 * np.pi)
        middle = map_points(face["h"], [[r * np.cos(t), r * np.sin(t)]])[0]
    back = np.linalg.inv(face["h"])
    m0, mx, my = map_points(back, [middle, [*middle, 1, 0], [*middle, 0, 1]])
    jac = np.stack([mx - m0, my - m0], 1)  # px to mm, y up
    turn = rng.uniform(0, 2 * np.pi)
    rot = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    flaw = np.eye(2) + rng.normal(0, 0.035, (2, 2))  # the reader's own flattening is not exact either
    a = PX_PER_MM * flaw @ rot @ np.diag([1.0, rng.choice([-1.0, 1.0])]) @ jac
    shift = np.full(2, (SIDE - 1) / 2) - a @ middle
    m = np.concatenate([a, shift[:, None]], 1)
    image = cv2.warpAffine(
        face["image"],
        m,
        (SIDE, SIDE),
        flags=cv2.INTER_AREA if np.linalg.det(a) ** 2 < 0.5 else cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REFLECT,
    )
    root, tip = face["root"] @ a.T + shift, face["tip"] @ a.T + shift
    inside = np.all((root > -6) & (root < SIDE + 6), 1)
    r, t, k = (
        np.full((SITES, 2), -99.0, np.float32),
        np.full((SITES, 2), -99.0, np.float32),
        np.full(SITES, -1, np.int64),
    )
    n = min(SITES, inside.sum())
    r[:n], t[:n], k[:n] = root[inside][:n], tip[inside][:n], face["kind"][inside][:n]
    return image[..., ::-1], r, t, k


# ---- frames for the finder


def cloud(rng, n, cells, octaves=4):
    out = np.zeros((n, n), np.float32)
    for k in range(octaves):
        m = max(2, min(n, int(cells * 2**k)))
        out += 0.55**k * cv2.resize(
            rng.standard_normal((m, m)).astype(np.float32), (n, n), interpolation=cv2.INTER_CUBIC
        )
    return out / (out.std() + 1e-6)


def background(rng, n=FRAME):
    tone = rng.uniform(5, 250, 3) if rng.uniform() < 0.6 else np.full(3, rng.uniform(5, 250)) * rng.uniform(0.9, 1.1, 3)
    img = tone * (1 + rng.uniform(0, 0.25) * cloud(rng, n, rng.choice([2, 4, 10, 40, 100])))[..., None]
    y, x = np.mgrid[0:n, 0:n].astype(np.float32)
    if rng.uniform() < 0.45:  # stripes, boards, grids
        for _ in range(rng.integers(1, 3)):
            a, pitch = rng.uniform(0, np.pi), rng.uniform(4, 70)
            s = (x * np.cos(a) + y * np.sin(a)) / pitch + rng.uniform(0, 0.4) * cloud(rng, n, 3, 3)
            line = ((s % 1) < rng.uniform(0.04, 0.6)) if rng.uniform() < 0.6 else (0.5 + 0.5 * np.sin(2 * np.pi * s))
            img = img + (np.asarray(line, np.float32) * rng.uniform(0.1, 1))[..., None] * (rng.uniform(0, 255, 3) - img)
    img = img * (1 + rng.uniform(-0.5, 0.5) * (x / n - 0.5) + rng.uniform(-0.5, 0.5) * (y / n - 0.5))[..., None]
    img = np.ascontiguousarray(np.clip(img, 0, 255).astype(np.uint8))
    for _ in range(rng.integers(0, 5)):  # things lying about
        c, col = tuple(int(v) for v in rng.integers(0, n, 2)), tuple(float(v) for v in rng.uniform(0, 255, 3))
        kind = rng.integers(4)
        if kind == 0:
            cv2.circle(img, c, int(rng.integers(5, 60)), col, int(rng.choice([-1, 1, 2, 5])), cv2.LINE_AA)
        elif kind == 1:
            box = cv2.boxPoints((c, (rng.uniform(10, 260), rng.uniform(6, 60)), rng.uniform(0, 180)))
            cv2.fillPoly(img, [np.int32(box)], col, cv2.LINE_AA)
        elif kind == 2:
            cv2.line(img, c, tuple(int(v) for v in rng.integers(0, n, 2)), col, int(rng.integers(1, 8)), cv2.LINE_AA)
        else:
            cv2.putText(
                img,
                "".join(rng.choice(list("0123456789ABC"), 4)),
                c,
                0,
                float(rng.uniform(0.4, 2)),
                col,
                2,
                cv2.LINE_AA,
            )
    return img.astype(np.float32)


def random_plane(rng, n=FRAME):
    """A homography from the unit disc (y up or mirrored) to the frame."""
    tilt = np.radians(rng.uniform(0, 35)) * (rng.uniform() < 0.9)
    a, roll = rng.uniform(0, 2 * np.pi, 2)
    dist = np.exp(rng.uniform(np.log(2.4), np.log(20)))  # in radii
    rz = lambda t: np.array([[np.cos(t), -np.sin(t), 0], [np.sin(t), np.cos(t), 0], [0, 0, 1]])  # noqa: E731
    rx = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
    r = rz(roll) @ rx @ rz(a)
    size = rng.uniform(0.24, 0.47) * n
    f = size * dist
    k = np.array([[f, 0, 0], [0, -f, 0], [0, 0, 1]])
    h = k @ np.stack([r[:, 0], r[:, 1] * rng.choice([-1, 1]), np.array([0, 0, dist])], 1)
    t = np.linspace(0, 2 * np.pi, 24)
    p = map_points(h, np.stack([np.cos(t), np.sin(t)], 1))
    lo, hi = p.min(0), p.max(0)
    room = np.maximum(n - (hi - lo), 0)
    shift = -lo + room * rng.uniform(0.02, 0.98, 2)
    return np.array([[1, 0, shift[0]], [0, 1, shift[1]], [0, 0, 1]]) @ h, r


def frame(faces: list[dict], rng: np.random.Generator):
    """One frame: image (FRAME, FRAME, 3) RGB uint8, mask (128, 128) 0-255, centre and datum (2,) in frame px."""
    face = faces[rng.integers(len(faces))]
    if rng.uniform() < 0.35:
        img, mask, centre, datum = whole(face, rng)
    else:
        img, mask, centre, datum = pasted(face, rng)
    gain, gamma = rng.uniform(0.7, 1.3, 3) if rng.uniform() < 0.5 else np.ones(3), np.exp(rng.normal(0, 0.3))
    x = 255 * np.clip(np.clip(img, 0, 255) / 255 * gain, 0, 1) ** gamma
    if rng.uniform() < 0.25:
        x = np.repeat(x.mean(-1, keepdims=True), 3, -1)
    if rng.uniform() < 0.4:
        x = cv2.GaussianBlur(x.astype(np.float32), (0, 0), rng.uniform(0.3, 1.6))
    x = x + rng.normal(0, rng.uniform(0, 12), x.shape)
    small = cv2.resize(mask, (FRAME // 2, FRAME // 2), interpolation=cv2.INTER_AREA)
    return np.clip(x, 0, 255).astype(np.uint8)[..., ::-1], small, np.float32(centre), np.float32(datum)


def poly_mask(points, n=FRAME):
    mask = np.zeros((n * 2, n * 2), np.uint8)
    cv2.fillPoly(mask, [np.round((points * 2 + 0.5) * 16).astype(np.int32)], 255, cv2.LINE_8, 4)
    return cv2.resize(mask, (n, n), interpolation=cv2.INTER_AREA)


def ring(n=180):
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return np.stack([np.cos(t), np.sin(t)], 1)


def whole(face, rng):
    src = face["image"]
    c = map_points(face["h"], ring() * face["radius"])
    lo, hi = c.min(0), c.max(0)
    scale = FRAME / (np.max(hi - lo) * rng.uniform(1.04, 2.6))
    a, flip = rng.uniform(0, 2 * np.pi), rng.choice([-1.0, 1.0])
    m = scale * np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]) @ np.diag([flip, 1.0])
    m = np.concatenate([m, np.zeros((2, 1))], 1)
    p = c @ m[:, :2].T
    room = np.maximum(FRAME - (p.max(0) - p.min(0)), 0)
    m[:, 2] = -p.min(0) + room * rng.uniform(0.0, 1.0, 2)
    img = cv2.warpAffine(src, m, (FRAME, FRAME), flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE).astype(
        np.float32
    )
    f = lambda q: np.asarray(q, float) @ m[:, :2].T + m[:, 2]  # noqa: E731
    return img, poly_mask(f(c)), f(face["centre"]), f(face["datum"])


def pasted(face, rng):
    img = background(rng)
    h, r = random_plane(rng)
    outline = map_points(h, ring())
    mask = poly_mask(outline)
    size = np.sqrt(mask.sum() / 255 / np.pi)
    # shadow, then the plate's wall, then the face
    shadow = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), size * rng.uniform(0.03, 0.25))
    shadow = np.roll(shadow, tuple(int(v) for v in rng.normal(0, 0.06 * size, 2)), (0, 1)) / 255
    img = img * (1 - shadow * rng.uniform(0, 0.8))[..., None]
    down = r @ np.array([0, 0, -1.0])
    thick = rng.uniform(0.03, 0.1)
    tone = np.array([90, 150, 180]) * rng.uniform(0.2, 1.3) if rng.uniform() < 0.6 else rng.uniform(10, 200, 3)
    for k in np.linspace(1, 0, 6):
        wall = poly_mask(outline + k * thick * size * np.array([down[0], -down[1]]))
        img += (wall / 255.0)[..., None] * (tone - img)
    grey = rng.uniform() < 0.25
    if grey:
        metal = rng.uniform(60, 240, 3) if rng.uniform() < 0.3 else np.array([120, 170, 200]) * rng.uniform(0.5, 1.2)
        y, x = np.mgrid[0:FRAME, 0:FRAME] / FRAME - 0.5
        plate = (
            metal
            * (1 + 0.12 * cloud(rng, FRAME, 4) + rng.uniform(-0.8, 0.8) * x + rng.uniform(-0.8, 0.8) * y)[..., None]
        )
        plate = plate.astype(np.float32)
        for _ in range(rng.integers(0, 5)):
            rr = rng.uniform(0.08, 0.9)
            cv2.polylines(
                plate,
                [np.round(map_points(h, ring() * rr) * 16).astype(np.int32)],
                True,
                tuple(float(v) for v in metal * rng.uniform(0.4, 1.4)),
                1,
                cv2.LINE_AA,
                4,
            )
        if rng.uniform() < 0.8:
            cv2.fillPoly(
                plate,
                [np.round(map_points(h, ring() * rng.uniform(0.08, 0.25)) * 16).astype(np.int32)],
                tuple(float(v) for v in rng.uniform(0, 255, 3)),
                cv2.LINE_AA,
                4,
            )
        for _ in range(rng.integers(10, 80)):
            q = map_points(h, [rng.uniform(-0.8, 0.8, 2)])[0]
            cv2.circle(plate, tuple(int(v) for v in q), 1, tuple(float(v) for v in rng.uniform(0, 255, 3)), -1)
        datum_mm = np.array([1.0, 0.0])
        w, depth = rng.uniform(0.025, 0.05), rng.uniform(0.04, 0.075)
        alpha = mask.astype(np.float32) / 255
        notch = (
            poly_mask(map_points(h, [[1 - depth, -w], [1.05, -w], [1.05, w], [1 - depth, w]])).astype(np.float32) / 255
        )
        alpha *= 1 - notch
        datum = map_points(h, [datum_mm - [depth / 2, 0]])[0]
        centre = map_points(h, [[0, 0]])[0]
        full = mask
    else:
        rad = face["radius"]
        m = h @ np.diag([1 / rad, 1 / rad, 1]) @ np.linalg.inv(face["h"])
        plate = cv2.warpPerspective(
            face["image"], m, (FRAME, FRAME), flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE
        ).astype(np.float32)
        if rng.uniform() < 0.5:  # another metal
            plate = np.clip(plate @ (np.eye(3) + rng.normal(0, 0.15, (3, 3))), 0, 255)
        alpha = mask.astype(np.float32) / 255
        centre, datum = map_points(m, [face["centre"], face["datum"]])
        full = mask
    img = img + alpha[..., None] * (plate - img)
    if rng.uniform() < 0.15:  # a finger, a clamp, a sheet over the edge
        t = rng.uniform(0, 2 * np.pi)
        p = map_points(h, [[1.05 * np.cos(t), 1.05 * np.sin(t)]])[0]
        box = cv2.boxPoints(
            (
                tuple(float(v) for v in p),
                (rng.uniform(0.15, 0.6) * size, rng.uniform(0.1, 0.5) * size),
                rng.uniform(0, 180),
            )
        )
        cover = np.zeros((FRAME, FRAME), np.uint8)
        cv2.fillPoly(cover, [np.int32(box)], 255)
        img = img + (cover / 255.0)[..., None] * (rng.uniform(10, 240, 3) - img)
        full = np.where(cover > 0, 0, full).astype(np.uint8)
        if cover[int(np.clip(datum[1], 0, 255)), int(np.clip(datum[0], 0, 255))]:
            datum = np.array([-99.0, -99.0])
    return img, full, centre, datum
