"""Things laid over a flattened face, and wear that is to be told from them: what the covers net learns from.

Everything is drawn in the face's own plane: a square picture in which the rim is a circle of radius `rim` px about the
middle. Wide on purpose: shapes, colours, textures, edges and shadows are drawn apart from one another.
"""

from __future__ import annotations

import cv2
import numpy as np


def log(rng, lo, hi):
    return float(np.exp(rng.uniform(np.log(lo), np.log(hi))))


def noise(rng, n, scale, channels=1):
    """Smooth noise (n, n, channels), unit spread."""
    m = max(2, int(n / scale) + 2)
    small = rng.standard_normal((m, m, channels)).astype(np.float32)
    big = cv2.resize(small, (n, n), interpolation=cv2.INTER_CUBIC).reshape(n, n, channels)
    return big / max(float(big.std()), 1e-6)


# ---- shapes


def blob(rng, n, at, size):
    """A closed, wavy outline."""
    t = np.linspace(0, 2 * np.pi, 160, endpoint=False)
    r = np.ones_like(t)
    for k in range(2, 7):
        r += rng.normal(0, 0.35 / k**1.3) * np.cos(k * t + rng.uniform(0, 6.3))
    stretch, turn = log(rng, 1, 2.5), rng.uniform(0, 6.3)
    p = size * np.clip(r, 0.3, 2)[:, None] * np.stack([np.cos(t) * np.sqrt(stretch), np.sin(t) / np.sqrt(stretch)], 1)
    return fill(n, at + p @ rotation(turn).T)


def polygon(rng, n, at, size):
    """A card, a label, a piece of paper; corners may be round."""
    if rng.uniform() < 0.6:
        a, b = size * log(rng, 0.6, 1.6), size * log(rng, 0.6, 1.6)
        p = np.array([[-a, -b], [a, -b], [a, b], [-a, b]])
    else:
        t = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(3, 8)))
        p = 1.2 * size * np.stack([np.cos(t), np.sin(t)], 1)
    mask = fill(n, at + p @ rotation(rng.uniform(0, 6.3)).T)
    if rng.uniform() < 0.4:
        k = max(1.0, size * rng.uniform(0.1, 0.5))
        mask = (cv2.GaussianBlur(mask, (0, 0), k) > 0.5).astype(np.float32)
    return mask


def bar(rng, n, at, size):
    """Tweezers, a finger, a rod, a strip: from beyond the rim, or right across; with a round, square or pointed end."""
    turn = rng.uniform(0, 6.3)
    wide = size * log(rng, 0.12, 0.9)
    narrow = wide * rng.uniform(0.2, 1.0)
    far = 2.0 * n
    tip = at + rotation(turn) @ np.array([-size * rng.uniform(0, 1), 0])
    along, across = rotation(turn) @ np.array([1.0, 0]), rotation(turn) @ np.array([0, 1.0])
    if rng.uniform() < 0.2:
        tip = at - far * along
        narrow = wide
    grow = (wide - narrow) / max(3 * size, 1)
    p = [tip + across * narrow, tip + along * far + across * (narrow + far * grow * 0.3)]
    p += [tip + along * far - across * (narrow + far * grow * 0.3), tip - across * narrow]
    mask = fill(n, np.array(p))
    if rng.uniform() < 0.6:
        cv2.circle(mask, tuple(int(v) for v in tip), max(1, int(narrow)), 1.0, -1, cv2.LINE_AA)
    if rng.uniform() < 0.25:  # the other arm of tweezers
        shift = across * size * rng.uniform(0.4, 1.2)
        mask = np.maximum(mask, np.roll(mask, tuple(int(v) for v in shift[::-1]), (0, 1)))
    return mask


def edge(rng, n, at, size):
    """Cloth or paper that comes in from one side."""
    turn = rng.uniform(0, 6.3)
    y, x = np.mgrid[0:n, 0:n]
    out = at - n / 2
    way = out / max(np.hypot(*out), 1e-6) if np.hypot(*out) > 1 else np.array([np.cos(turn), np.sin(turn)])
    d = (x - n / 2) * way[0] + (y - n / 2) * way[1] - (np.hypot(*out) - 0.3 * size)
    d = d + noise(rng, n, n / 3)[..., 0] * size * rng.uniform(0, 0.25)
    return np.clip(d + 0.5, 0, 1).astype(np.float32)


def fill(n, points):
    """A polygon (k, 2) filled, its edge smooth."""
    mask = np.zeros((n, n), np.float32)
    cv2.fillPoly(mask, [np.round(np.clip(points, -8 * n, 8 * n) * 16).astype(np.int32)], 1.0, cv2.LINE_AA, 4)
    return mask


def rotation(turn):
    return np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])


SHAPES = (blob, polygon, bar, bar, edge)
TAPE = 0.35  # of the things; of the kinds that were missed this was missed oftest


# ---- what it looks like


SKINS = np.array([[140, 165, 215], [100, 130, 190], [70, 95, 150], [50, 65, 105], [160, 180, 235], [35, 45, 75]])


def colour(rng):
    """BGR. Dark, bright, grey, skin, or anything."""
    kind = rng.choice(["dark", "bright", "grey", "skin", "any"], p=[0.28, 0.2, 0.12, 0.15, 0.25])
    if kind == "dark":
        return rng.uniform(3, 55) * rng.uniform(0.7, 1.2, 3)
    if kind == "bright":
        return np.clip(rng.uniform(190, 255) * rng.uniform(0.88, 1.05, 3), 0, 255)
    if kind == "grey":
        return rng.uniform(50, 200) * rng.uniform(0.95, 1.05, 3)
    if kind == "skin":
        return np.clip(SKINS[rng.integers(len(SKINS))] * rng.uniform(0.7, 1.2) * rng.uniform(0.9, 1.1, 3), 0, 255)
    return rng.uniform(10, 245, 3)


def surface(rng, n, mask, textures):
    """The thing's picture (n, n, 3)."""
    if len(textures) and rng.uniform() < 0.22:  # a piece of another picture
        t = textures[rng.integers(len(textures))]
        side = int(min(t.shape[:2]) * rng.uniform(0.3, 1.0))
        j, i = (int(rng.integers(0, s - side + 1)) for s in t.shape[:2])
        out = cv2.resize(t[j : j + side, i : i + side], (n, n), interpolation=cv2.INTER_AREA).astype(np.float32)
        return np.clip(out * rng.uniform(0.4, 1.3) * rng.uniform(0.85, 1.15, 3), 0, 255)
    out = np.ones((n, n, 3), np.float32) * colour(rng).astype(np.float32)
    y, x = np.mgrid[0:n, 0:n].astype(np.float32)
    look = rng.choice(["flat", "noise", "weave", "stripes", "round", "print"], p=[0.25, 0.22, 0.16, 0.09, 0.2, 0.08])
    if look == "noise":
        for scale in (1.5, 4, 15):
            out += noise(rng, n, scale, 1) * rng.uniform(0, 22)
    elif look in ("weave", "stripes"):
        a, p = rng.uniform(0, 3.14), log(rng, 2.0, 14)
        u, v = x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a)
        wave = np.sin(6.28 * u / p + 0.4 * noise(rng, n, 20)[..., 0])
        if look == "weave":
            wave = wave * np.sin(6.28 * v / p)
        out += wave[..., None] * rng.uniform(5, 50) * rng.uniform(0.5, 1.2, 3)
        out += noise(rng, n, 1.5, 1) * rng.uniform(0, 14)
    elif look == "print":
        out += (noise(rng, n, log(rng, 2, 6))[..., :1] > rng.uniform(0.5, 1.5)) * (colour(rng) - out) * 0.9
    if look == "round" or rng.uniform() < 0.3:  # shaded as a body: bright along its middle, dark at its edges
        depth = cv2.distanceTransform((mask > 0.5).astype(np.uint8), cv2.DIST_L2, 3)
        shape = np.clip(depth / max(float(depth.max()), 1.0), 0, 1) ** rng.uniform(0.3, 1.0)
        out *= (1 + rng.uniform(-0.2, 0.8) * (shape - 0.5))[..., None]
        if rng.uniform() < 0.4:
            out += (np.clip(shape - 0.6, 0, 1) * rng.uniform(0, 200))[..., None]
    a = rng.uniform(0, 6.3)
    slope = ((x - n / 2) * np.cos(a) + (y - n / 2) * np.sin(a)) / n
    return np.clip(out * (1 + rng.uniform(0, 0.5) * slope)[..., None], 0, 255)


def cover(rng, picture, rim, textures=()):
    """-> the picture with something laid over it, and how much of each place it hides (n, n)."""
    n = picture.shape[0]
    r, t = rim * np.sqrt(rng.uniform(0, 1.1)), rng.uniform(0, 6.3)
    at = n / 2 + r * np.array([np.cos(t), np.sin(t)])
    size = rim * log(rng, 0.1, 0.75)
    if rng.uniform() < TAPE:
        return tape(rng, picture, at, max(size, 0.15 * rim))
    mask = SHAPES[rng.integers(len(SHAPES))](rng, n, at, size)
    if rng.uniform() < 0.35:
        mask = cv2.GaussianBlur(mask, (0, 0), log(rng, 0.4, 2.0))
    skin = surface(rng, n, mask, textures)
    out = picture.astype(np.float32)
    if rng.uniform() < 0.5:  # its shadow
        shift = rng.uniform(-0.12, 0.12, 2) * rim
        move = np.array([[1, 0, shift[0]], [0, 1, shift[1]]], np.float32)
        shade = cv2.GaussianBlur(cv2.warpAffine(mask, move, (n, n)), (0, 0), log(rng, 1, 0.15 * rim))
        out *= (1 - rng.uniform(0.1, 0.8) * shade)[..., None]
    alpha = rng.uniform(0.45, 0.85) if rng.uniform() < 0.15 else 1.0  # tape lets something through
    out = out + (alpha * mask)[..., None] * (skin - out)
    return np.clip(out, 0, 255).astype(np.uint8), mask


def tape(rng, picture, at, size):
    """Something that lets the plate shimmer through: the same colours, milky, softened, with an edge."""
    n = picture.shape[0]
    mask = (bar if rng.uniform() < 0.25 else polygon)(rng, n, at, size)
    out = picture.astype(np.float32)
    milky = np.clip(rng.uniform(120, 250) * rng.uniform(0.85, 1.1, 3), 0, 255)
    part = rng.uniform(0.3, 0.8)
    skin = cv2.GaussianBlur(out, (0, 0), log(rng, 0.4, 4.0)) * (1 - part) + part * milky
    if rng.uniform() < 0.4:  # its rim catches the light
        rim_line = mask - cv2.erode(mask, np.ones((3, 3), np.uint8))
        skin = skin + (rim_line * rng.uniform(-40, 60))[..., None]
    return np.clip(out + mask[..., None] * (skin - out), 0, 255).astype(np.uint8), mask


# ---- what is no cover


def wear(rng, picture, rim):
    """Stains, engraving, rings, windows, screws, shade: marks of age and make that hide nothing."""
    n = picture.shape[0]
    y, x = np.mgrid[0:n, 0:n].astype(np.float32)
    far = np.hypot(x - n / 2 + 0.5, y - n / 2 + 0.5) / rim
    inside = (far < 1)[..., None]
    out = picture.astype(np.float32)
    if rng.uniform() < 0.35:  # tarnish and verdigris, soft
        stain = np.array([[30, 60, 85], [90, 120, 70], [20, 30, 45], [60, 70, 80], [110, 130, 100]])[rng.integers(5)]
        field = noise(rng, n, rim * log(rng, 0.12, 0.6))[..., 0] + 0.4 * noise(rng, n, rim * 0.08)[..., 0]
        soft = 1 / (1 + np.exp(-(field - rng.uniform(0, 1.5)) * log(rng, 2, 9)))
        out += inside * (soft * rng.uniform(0.2, 0.85))[..., None] * (stain * rng.uniform(0.5, 1.3) - out)
    for _ in range(int(rng.choice([0, 0, 2, 6]))):  # drops that dried: rings
        at = n / 2 + rim * rng.uniform(-0.8, 0.8, 2)
        d = np.hypot(x - at[0], y - at[1]) + 0.6 * noise(rng, n, 0.2 * rim)[..., 0]
        ring = np.exp(-0.5 * ((d - rim * rng.uniform(0.03, 0.14)) / log(rng, 0.6, 2.0)) ** 2)
        disc = d < rim * 0.1
        out *= (1 - inside[..., 0] * (rng.uniform(0.1, 0.5) * ring + rng.uniform(0, 0.25) * disc))[..., None]
    if rng.uniform() < 0.3:  # engraving, numbers
        out = engraved(rng, out, rim)
    if rng.uniform() < 0.2:
        out = windows(rng, out, rim, far, x, y)
    if rng.uniform() < 0.25:  # hub screws, plugs
        for k in range(int(rng.integers(1, 5))):
            t, r = rng.uniform(0, 6.3), rim * rng.uniform(0.12, 0.5 if k else 0.95)
            at = (int(n / 2 + r * np.cos(t)), int(n / 2 + r * np.sin(t)))
            cv2.circle(out, at, max(1, int(rim * rng.uniform(0.015, 0.05))), colour(rng).tolist(), -1, cv2.LINE_AA)
    if rng.uniform() < 0.3:  # a soft shade over part of everything
        a, off = rng.uniform(0, 6.3), rng.uniform(-0.8, 0.8) * rim
        d = (x - n / 2) * np.cos(a) + (y - n / 2) * np.sin(a) - off + noise(rng, n, rim * 0.7)[..., 0] * 0.1 * rim
        out *= (1 - rng.uniform(0.1, 0.6) / (1 + np.exp(-d / (rim * log(rng, 0.06, 0.5)))))[..., None]
    if rng.uniform() < 0.25:  # gloss of a lamp, soft
        at = n / 2 + rim * rng.uniform(-0.9, 0.9, 2)
        wide = rim * np.array([log(rng, 0.08, 0.6), log(rng, 0.08, 0.6)])
        q = rotation(rng.uniform(0, 6.3)) @ np.stack([(x - at[0]).ravel(), (y - at[1]).ravel()])
        spot = np.exp(-0.5 * ((q / wide[:, None]) ** 2).sum(0)).reshape(n, n)
        out += inside * (spot * rng.uniform(20, 160))[..., None]
    if rng.uniform() < 0.3:
        out = bow_tie(rng, out, far, x - n / 2, y - n / 2)
    return np.clip(out, 0, 255).astype(np.uint8)


def bow_tie(rng, out, far, x, y):
    """What a lamp makes of a turned or spun face: two bright fans opposite each other, at times blown out, and a rim
    that shines on one side.
    """
    angle = np.arctan2(y, x) - rng.uniform(0, 6.3)
    along = np.cos(angle) if rng.uniform() < 0.3 else np.abs(np.cos(angle))  # one fan, or two
    fans = np.clip(along, 0, 1) ** log(rng, 2, 30) * np.clip(far, 0, 1) ** rng.uniform(0, 0.8)
    shine = np.exp(-0.5 * ((far - 0.97) / rng.uniform(0.01, 0.05)) ** 2) * np.clip(
        np.cos(angle - rng.normal(0, 1)), 0, 1
    )
    light = rng.uniform(0.3, 3.0) * fans + rng.uniform(0, 2.0) * shine
    out = out * np.where(far < 1, 1 + light, 1)[..., None]
    over = np.clip(out - 255, 0, None).mean(2, keepdims=True)  # what is too bright for one colour whitens
    return out + 0.5 * over


def engraved(rng, out, rim):
    n = out.shape[0]
    layer = np.zeros((n, n), np.uint8)
    words = "".join(rng.choice(list("0123456789ABGNRSeneva XVI"), rng.integers(1, 7)))
    at = (int(n / 2 + rim * rng.uniform(-0.6, 0.3)), int(n / 2 + rim * rng.uniform(-0.6, 0.6)))
    font = int(rng.choice([cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_COMPLEX, cv2.FONT_HERSHEY_SCRIPT_SIMPLEX]))
    cv2.putText(layer, words, at, font, rim / 60 * rng.uniform(0.15, 0.6), 255, 1, cv2.LINE_AA)
    turn = cv2.getRotationMatrix2D((n / 2, n / 2), rng.uniform(0, 360), 1.0)
    layer = cv2.warpAffine(layer, turn, (n, n)).astype(np.float32) / 255
    return out * (1 - rng.uniform(0.3, 0.9) * layer[..., None])


def windows(rng, out, rim, far, x, y):
    """Crossings: the ground is seen between the arms."""
    n = out.shape[0]
    low = rng.uniform(0.1, 0.25)
    high = low + rng.uniform(0.08, 0.35)
    arms = int(rng.integers(3, 7))
    angle = (np.arctan2(y - n / 2, x - n / 2) + rng.uniform(0, 6.3)) % (2 * np.pi / arms)
    arm = rng.uniform(0.05, 0.14) / np.maximum(far, 0.05)
    hole = ((far > low) & (far < high) & (angle > arm)).astype(np.float32)
    hole = cv2.GaussianBlur(hole, (0, 0), 0.6)
    ground = out[far > 1.03].reshape(-1, 3)
    if not len(ground):
        return out
    there = ground[rng.integers(0, len(ground), (n, n))]
    there = cv2.GaussianBlur(there.astype(np.float32), (0, 0), 1.0) * rng.uniform(0.3, 1.0)
    return out + hole[..., None] * (there - out)


def glare(rng, picture, rim):
    """-> the picture with a blown-out spot, and the spot (n, n): neither cover nor clear plate to learn from."""
    n = picture.shape[0]
    y, x = np.mgrid[0:n, 0:n].astype(np.float32)
    at = n / 2 + rim * rng.uniform(-0.8, 0.8, 2)
    wide = rim * np.array([log(rng, 0.05, 0.4), log(rng, 0.05, 0.4)])
    q = rotation(rng.uniform(0, 6.3)) @ np.stack([(x - at[0]).ravel(), (y - at[1]).ravel()])
    spot = np.exp(-0.5 * ((q / wide[:, None]) ** 2).sum(0)).reshape(n, n)
    out = picture.astype(np.float32) + (spot * rng.uniform(250, 600))[..., None]
    return np.clip(out, 0, 255).astype(np.uint8), (spot > 0.15).astype(np.float32)
