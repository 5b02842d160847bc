"""What lies on the plate: tool marks, tarnish, scratches, engraving, plugs, grime; and the ground it lies on.

Maps are square, row = y upwards, column = x. Nothing here knows the renderer; face_scene.py makes materials of maps.
"""

from __future__ import annotations

import cv2
import numpy as np

BROWN = np.array([0.30, 0.16, 0.075], np.float32)


def fuzz(rng, size: int, cell: float, octaves: int = 4, keep: float = 0.5):
    """Cloudy noise of zero mean and unit spread."""
    out = np.zeros((size, size), np.float32)
    for k in range(octaves):
        n = max(2, int(size / cell * 2**k))
        m = min(size, 4 * n)
        a = cv2.GaussianBlur(rng.standard_normal((m, m)).astype(np.float32), (0, 0), 0.45 * m / n)
        out += keep**k / a.std() * cv2.resize(a, (size, size), interpolation=cv2.INTER_CUBIC)
    return (out - out.mean()) / out.std()


def step(x, lo, hi):
    t = np.clip((x - lo) / (hi - lo), 0, 1)
    return t * t * (3 - 2 * t)


def turned(rng, x, y, px: float):
    """Radial slopes of tool marks about the centre, coarse and fine, unit spread or so."""
    around, out = 720, int(np.hypot(x, y).max() * px) + 2
    noise = np.zeros((around, out), np.float32)
    for smooth_t, smooth_r, amount in ((40, 0.0, 0.7), (90, 1.5, 0.5), (160, 6.0, 0.35)):
        f = np.fft.rfft(rng.standard_normal((around, out)).astype(np.float32), axis=0)
        f *= np.exp(-0.5 * (np.arange(f.shape[0]) * 2 * np.pi * smooth_t / around)[:, None] ** 2).astype(np.float32)
        a = np.fft.irfft(f, around, axis=0).astype(np.float32)
        if smooth_r:
            a = cv2.GaussianBlur(a, (0, 0), sigmaX=smooth_r, sigmaY=0.01)
        noise += amount * a / a.std()
    u = np.hypot(x, y) * px
    v = (np.arctan2(y, x) / (2 * np.pi) % 1) * around
    wrapped = np.concatenate([noise, noise[:2]])
    return cv2.remap(
        wrapped, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT
    )


class FacePaint:
    """Slopes sx, sy, colour, roughness alpha and dull dirt of one face."""

    def __init__(self, look: dict, radius: float, sites, tracks, rng, size: int) -> None:
        """sites: (n, 3) x, y, wire radius of pins and holes. tracks: radii."""
        self.rng, self.look, self.size, self.radius, self.tracks = rng, look, size, radius, list(tracks)
        self.sites = np.asarray(sites, float).reshape(-1, 3)
        self.extent = 2.04 * radius
        self.px = size / self.extent
        c = (((np.arange(size) + 0.5) / size - 0.5) * self.extent).astype(np.float32)
        self.x, self.y = np.meshgrid(c, c)
        self.r = np.hypot(self.x, self.y)
        zero = lambda: np.zeros((size, size), np.float32)  # noqa: E731
        self.cut, self.relief, self.sx, self.sy, self.dirt = zero(), zero(), zero(), zero(), zero()
        self.colour = np.ones((size, size, 3), np.float32) * np.array(look["metal"], np.float32)
        self.alpha = np.full((size, size), look["alpha"], np.float32)
        self.finish()
        self.tarnish()
        self.scratches()
        for r in tracks if look["scribed"] else ():
            self.circle_cut(r + rng.normal(0, 0.012), look["scribe_mm"], look["scribe_depth"])
        if look["engraved"]:
            self.engrave(look["engraved"])
        self.grime()
        cut = cv2.GaussianBlur(self.cut - self.relief, (0, 0), 1.0)
        self.sx = np.clip(self.sx - cv2.Sobel(cut, cv2.CV_32F, 1, 0) / 8 * self.px, -0.9, 0.9)
        self.sy = np.clip(self.sy - cv2.Sobel(cut, cv2.CV_32F, 0, 1) / 8 * self.px, -0.9, 0.9)

    def texel(self, x, y):
        return (x / self.extent + 0.5) * self.size - 0.5, (y / self.extent + 0.5) * self.size - 0.5

    def finish(self) -> None:
        """Turned, brushed or grained metal; a plate that is not quite flat."""
        rng, look, n = self.rng, self.look, self.size
        inv = 1 / np.maximum(self.r, 0.05)
        if look["spun"]:
            g = turned(rng, self.x, self.y, self.px) * look["spun"] * (1 + 0.25 * fuzz(rng, n, n / 6, 3))
            self.sx += g * self.x * inv
            self.sy += g * self.y * inv
        if look["brushed"]:
            a = rng.uniform(0, np.pi)
            line = rng.standard_normal((n, 24)).astype(np.float32)
            streak = cv2.resize(line, (n, n), interpolation=cv2.INTER_LINEAR)
            turn = cv2.getRotationMatrix2D((n / 2, n / 2), np.degrees(a), 1.45)
            streak = cv2.warpAffine(streak, turn, (n, n), borderMode=cv2.BORDER_REFLECT) * look["brushed"]
            self.sx += streak * np.sin(a)
            self.sy += streak * np.cos(a)
        for s in (self.sx, self.sy):
            grain = cv2.GaussianBlur(rng.standard_normal((n, n)).astype(np.float32), (0, 0), look["grain_px"])
            s += look["grain"] * grain / grain.std()
        wave = fuzz(rng, n, n / 3, 3, 0.35)
        self.sy += look["wave"] * cv2.Sobel(wave, cv2.CV_32F, 0, 1) / 8 * n / 3
        self.sx += look["wave"] * cv2.Sobel(wave, cv2.CV_32F, 1, 0) / 8 * n / 3

    def tarnish(self) -> None:
        rng, look, n = self.rng, self.look, self.size
        self.colour *= (1 + 0.03 * fuzz(rng, n, n / 5, 4))[..., None]
        amount = look["tarnish"]
        cloud = fuzz(rng, n, n / rng.uniform(2, 9), 7, 0.62)
        lo, hi = np.quantile(cloud[::16, ::16], [1 - amount, 1 - 0.12 * amount])
        patch = step(cloud, lo, hi + 0.4) * (0.85 + 0.15 * fuzz(rng, n, n / 16, 5, 0.7))
        edge = step(self.r / self.radius + 0.03 * fuzz(rng, n, n / 8, 4), 1.0 - 0.35 * amount, 1.03) * amount
        dark = np.clip(patch * look["tarnish_depth"] + edge, 0, 0.9)
        self.colour += dark[..., None] * (np.array(look["tarnish_colour"], np.float32) - self.colour)
        self.alpha += 0.22 * dark + 0.02 * fuzz(rng, n, n / 7, 4)
        worn = step(fuzz(rng, n, n / 5, 5), 1.2, 2.2) * look["worn"]  # gilding rubbed through
        self.colour += worn[..., None] * (np.array(look["under"], np.float32) - self.colour)
        for _ in range(look["spots"]):  # small corrosion spots
            c = self.anywhere()
            tone = (0.16, 0.09, 0.05) if rng.uniform() < 0.75 else rng.uniform(0.02, 0.6, 3)
            if (
                rng.uniform() < look["spots_crisp"]
            ):  # round and sharp: as a hole or a stub is, but neither black nor steel
                size = np.exp(rng.uniform(np.log(0.035), np.log(0.26)))
                tone = np.array([0.16, 0.10, 0.06]) * rng.uniform(0.3, 2.5) * rng.uniform(0.8, 1.2, 3)
                self.blot(*c, size, tone, rng.uniform(0.25, 0.95), rng.uniform(0.03, 0.2), rng.uniform(0.02, 0.2))
            else:
                size = rng.uniform(0.03, 0.16)
                self.blot(*c, size, tone, rng.uniform(0.3, 0.9), rng.choice([0.45, 0.2]))
        self.pits(look["pits"], look["punches"])
        self.verdigris(look["verdigris"])
        for _ in range(look["stains"]):  # rings that dried drops leave
            c, r, wide = self.anywhere(), rng.uniform(0.3, 2.2), rng.uniform(0.04, 0.25)
            d = np.hypot(self.x - c[0], self.y - c[1]) / r + 0.04 * fuzz(rng, n, n / 12, 3)
            m = rng.uniform(0.1, 0.6) * np.exp(-0.5 * ((d - 1) / wide) ** 2) + rng.uniform(0, 0.3) * (d < 1)
            self.colour += m[..., None] * (
                np.array([0.24, 0.15, 0.09], np.float32) * rng.uniform(0.4, 1.4) - self.colour
            )
        for _ in range(look["plugs"]):  # flush plugs of other metal, on a track or not, perhaps with a fine dark ring
            c, r = self.anywhere(0.3), rng.uniform(0.11, 0.24) if rng.uniform() < 0.7 else rng.uniform(0.2, 0.45)
            if len(self.tracks) and rng.uniform() < 0.5:
                c = c * rng.choice(self.tracks) / max(np.hypot(*c), 1e-6)
            if self.crowded(c, r + 0.2):
                continue
            tone = np.array(look["metal"]) * rng.uniform(0.5, 1.3) * rng.uniform(0.9, 1.1, 3)
            if rng.uniform() < 0.3:
                tone = np.array((0.92, 0.60, 0.42)) * rng.uniform(0.6, 1.0)
            self.blot(*c, r, np.clip(tone, 0, 0.97), rng.uniform(0.3, 0.95), 0.04, 0.04)
            t = np.linspace(0, 6.3, 60)
            ring = np.stack([c[0] + r * np.cos(t), c[1] + r * np.sin(t)], 1)
            self.stroke(ring, 0.015, rng.uniform(0.0, 0.006))

    def anywhere(self, low: float = 0.0):
        """A place on the face, (2,) mm."""
        r, t = self.radius * np.sqrt(self.rng.uniform(low**2, 0.97)), self.rng.uniform(0, 6.28)
        return np.array([r * np.cos(t), r * np.sin(t)])

    def crowded(self, c, room: float) -> bool:
        """Whether a site lies nearer than this."""
        return len(self.sites) > 0 and np.min(np.hypot(*(self.sites[:, :2] - c).T)) < room

    def pits(self, count: int, punches: int) -> None:
        """Corrosion's small dark bowls, and punch marks: cones with a raised, bright lip; none is a hole through."""
        rng = self.rng
        for k in range(count + punches):
            punch = k >= count
            c = self.anywhere()
            r = rng.uniform(0.035, 0.11) if punch else np.exp(rng.uniform(np.log(0.025), np.log(0.17)))
            if self.crowded(c, r + 0.18):
                continue
            deep = r * (rng.uniform(0.5, 1.0) if punch else rng.uniform(0.1, 0.6))
            s, d = self.around(c, 1.6 * r)
            if s is None:
                continue
            d = d / r
            bowl = np.maximum(1 - d, 0) if punch else np.maximum(1 - d**2, 0)
            lip = 0.15 * np.exp(-0.5 * ((d - 1.15) / 0.15) ** 2) if punch else 0.0
            self.relief[s] -= deep * (bowl - lip)
            dark = (1 - step(d, 0.75, 1.05)) * (rng.uniform(0, 0.5) if punch else rng.uniform(0.3, 0.95))
            tone = np.array([0.13, 0.085, 0.05], np.float32) * rng.uniform(0.3, 1.8)
            self.colour[s] += dark[..., None] * (tone - self.colour[s])
            self.alpha[s] += 0.2 * dark

    def around(self, c, reach: float):
        """(slices of the maps about a place, distances from it in mm); None where it is too near the edge."""
        u, v = self.texel(*c)
        h = int(np.ceil(reach * self.px)) + 2
        j, i = round(u), round(v)
        if not (h < i < self.size - h and h < j < self.size - h):
            return None, None
        s = np.s_[i - h : i + h + 1, j - h : j + h + 1]
        return s, np.hypot(self.x[s] - c[0], self.y[s] - c[1])

    def verdigris(self, count: int) -> None:
        """Green salts in patches, some about a pin's foot."""
        rng = self.rng
        for _ in range(count):
            at_foot = len(self.sites) and rng.uniform() < 0.4
            c = self.sites[rng.integers(len(self.sites)), :2] if at_foot else self.anywhere()
            tone = np.array([0.22, 0.42, 0.34]) * rng.uniform(0.5, 1.4) * rng.uniform(0.9, 1.1, 3)
            for _ in range(int(rng.integers(1, 12))):
                self.blot(*(c + rng.normal(0, 0.25, 2)), rng.uniform(0.06, 0.4), tone, rng.uniform(0.2, 0.8), 0.5, 0.25)

    def blot(self, x, y, r, colour, strength, soft=0.45, wobble=0.22) -> None:
        u, v = self.texel(x, y)
        h = int(np.ceil(2.2 * r * self.px)) + 2
        j, i = round(u), round(v)
        if not (h < i < self.size - h and h < j < self.size - h):
            return
        s = np.s_[i - h : i + h + 1, j - h : j + h + 1]
        d = np.hypot(self.x[s] - x, self.y[s] - y) / r
        wob = self.rng.standard_normal((5, 5)).astype(np.float32)
        wob = cv2.resize(wob, d.shape[::-1], interpolation=cv2.INTER_CUBIC)
        m = strength * (1 - step(d * (1 + wobble * wob), 1 - soft, 1 + soft))
        self.colour[s] += m[..., None] * (np.asarray(colour, np.float32) - self.colour[s])
        self.alpha[s] += 0.2 * m

    def stroke(self, points, width_mm: float, depth_mm: float) -> None:
        """A cut along a line: into the groove map."""
        p = np.array([self.texel(*q) for q in points])
        x0, y0 = np.maximum(np.floor(p.min(0)).astype(int) - 8, 0)
        x1, y1 = np.ceil(p.max(0)).astype(int) + 9
        area = self.cut[y0:y1, x0:x1]
        if not area.size:
            return
        mask = np.zeros(area.shape, np.uint8)
        width = max(1, round(width_mm * self.px))
        line = np.round((p - [x0, y0]) * 16).astype(np.int32)
        cv2.polylines(mask, [line], False, 255, width, cv2.LINE_AA, 4)
        np.maximum(area, mask.astype(np.float32) / 255 * depth_mm, out=area)

    def scratches(self) -> None:
        rng = self.rng
        for _ in range(self.look["scratches"]):
            a = rng.uniform(0, 6.28)
            rr, t = self.radius * np.sqrt(rng.uniform()) * 0.97, rng.uniform(0, 6.28)
            s = np.linspace(-0.5, 0.5, 12) * rng.gamma(1.6, 1.6)
            bow = rng.normal(0, 0.03) * s**2
            x = rr * np.cos(t) + s * np.cos(a) - bow * np.sin(a)
            y = rr * np.sin(t) + s * np.sin(a) + bow * np.cos(a)
            self.stroke(np.stack([x, y], 1), rng.uniform(0.008, 0.03), rng.uniform(0.0015, 0.006))

    def circle_cut(self, r: float, width: float, depth: float) -> None:
        t = np.linspace(0, 2 * np.pi, 721)
        self.stroke(np.stack([r * np.cos(t), r * np.sin(t)], 1), width, depth)

    def engrave(self, text: str) -> None:
        """Letters where there is room between the sites."""
        rng = self.rng
        font = int(rng.choice([cv2.FONT_HERSHEY_COMPLEX, cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_SCRIPT_COMPLEX]))
        (tw, th), _ = cv2.getTextSize(text, font, 2.0, 2)
        tile = np.zeros((th + 40, tw + 40), np.uint8)
        cv2.putText(tile, text, (20, th + 20), font, 2.0, 255, int(rng.integers(1, 4)), cv2.LINE_AA)
        scale = rng.uniform(0.8, 2.2) * self.px / th
        tile = cv2.resize(tile[::-1], None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        best = None
        for _ in range(200):
            r, t = rng.uniform(0.3, 0.84) * self.radius, rng.uniform(0, 6.28)
            c = np.array([r * np.cos(t), r * np.sin(t)])
            d = np.min(np.hypot(*(self.sites[:, :2] - c).T)) if len(self.sites) else 9.0
            if best is None or d > best[0]:
                best = (d, c, t)
        u, v = self.texel(*best[1])
        turn = np.degrees(best[2]) - 90 + rng.normal(0, 8)
        m = cv2.getRotationMatrix2D((tile.shape[1] / 2, tile.shape[0] / 2), -turn, 1.0)
        m[:, 2] += np.array([u - tile.shape[1] / 2, v - tile.shape[0] / 2])
        put = cv2.warpAffine(tile, m, (self.size, self.size)).astype(np.float32) / 255
        self.cut = np.maximum(self.cut, rng.uniform(0.004, 0.014) * cv2.GaussianBlur(put, (0, 0), 1.2))
        self.colour *= 1 - rng.uniform(0.1, 0.8) * put[..., None]

    def grime(self) -> None:
        """Old oil at the pins' feet and in the cuts, dust and dull dirt over the face."""
        rng, look, n = self.rng, self.look, self.size
        for x, y, rad in self.sites:
            place = np.array([x, y]) + rng.normal(0, 0.015, 2)
            strength = np.clip(look["foot"] * rng.uniform(0.2, 1.6), 0, 0.92)
            self.blot(*place, rad * rng.uniform(1.1, look["foot_wide"]), (0.13, 0.08, 0.045), strength, 0.3)
        self.colour *= (1 - np.clip(self.cut / 0.006, 0, 1) * look["cut_dark"])[..., None]
        if look["dirt"]:
            self.dirt += look["dirt"] * step(fuzz(rng, n, n / 5, 7, 0.72), 0.9 - 0.6 * look["dirt"], 2.6)
            self.dirt += 0.35 * look["dirt"] * step(fuzz(rng, n, n / 60, 3), 1.4, 2.6)
        self.dirt += look["film"]  # a film of lacquer or oxide over all of it
        for _ in range(look["dust"]):
            rr, t = self.radius * np.sqrt(rng.uniform()), rng.uniform(0, 6.28)
            u, v = self.texel(rr * np.cos(t), rr * np.sin(t))
            s = self.px / 60 * 16
            axes = (int(s * rng.gamma(1.5, 1.5)) + 8, int(s * rng.gamma(1.5, 1.0)) + 8)
            tone = float(rng.uniform(0.3, 0.9))
            cv2.ellipse(
                self.dirt, (int(u * 16), int(v * 16)), axes, rng.uniform(0, 180), 0, 360, tone, -1, cv2.LINE_8, 4
            )
        self.dirt = np.clip(cv2.GaussianBlur(self.dirt, (0, 0), 0.8), 0, 0.97)

    def normals(self):
        return slopes_to_normals(self.sx, self.sy)


def slopes_to_normals(sx, sy):
    """A normal map (0-1) of slopes of height."""
    inv = 1 / np.sqrt(sx**2 + sy**2 + 1)
    return np.stack([-sx * inv, -sy * inv, inv], -1) * 0.5 + 0.5


def ground(kind: str, rng, size: int, extent: float):
    """Colour (size, size, 3), bump and gloss of the ground: mat, paper, cloth, wood, board, felt or print."""
    c = (((np.arange(size) + 0.5) / size - 0.5) * extent).astype(np.float32)
    x, y = np.meshgrid(c, c)
    tone = rng.uniform(0.02, 0.85) * rng.uniform(0.6, 1.1, 3).astype(np.float32)
    flat = lambda amount, cell: (1 + amount * fuzz(rng, size, cell, 4))[..., None]  # noqa: E731
    if kind == "mat":  # a grid of lines
        base = np.array([0.035, 0.16, 0.115]) if rng.uniform() < 0.4 else tone
        col = base.astype(np.float32) * flat(0.06, size / 5)
        for along in (x, y):
            for pitch, width, strength in ((10, 0.09, 1.0), (5, 0.05, 0.35)):
                d = np.abs((along + 3.1) % pitch - pitch / 2)
                line = strength * (1 - step(d, width - 0.02, width + 0.02))
                col += line[..., None] * (np.array([0.5, 0.5, 0.3], np.float32) - col)
        return col, 0.10 * fuzz(rng, size, 7, 3), 0.12
    if kind == "cloth":
        pitch = rng.uniform(0.3, 0.9)
        wob = lambda: 0.03 * fuzz(rng, size, 300, 3)  # noqa: E731
        wave = np.sin(2 * np.pi * (x + wob()) / pitch) * np.sin(2 * np.pi * (y + wob()) / pitch)
        thread = np.clip(0.5 + 0.35 * wave + 0.16 * fuzz(rng, size, 6, 2), 0.08, 1.4)
        return thread[..., None] * tone, 0.35 * wave, 0.0
    if kind == "wood":
        warp = 1.6 * fuzz(rng, size, size / 2.2, 2) + 0.12 * fuzz(rng, size, size / 14, 2)
        rings = 0.5 + 0.5 * np.sin(2 * np.pi * (0.16 * y + 0.02 * x + warp))
        fine = rng.standard_normal((size, size // 24)).astype(np.float32)
        fine = cv2.resize(fine, (size, size), interpolation=cv2.INTER_CUBIC)
        mix = np.clip(0.5 * rings**2 + 0.2 * fine + 0.3, 0, 1.2)[..., None]
        light = np.array([0.34, 0.18, 0.085], np.float32) * rng.uniform(0.5, 2.0)
        pore = step(fine, 1.5, 2.4)
        return (light * (1 - mix) + 0.38 * light * mix) * (1 - 0.55 * pore[..., None]), -0.25 * pore, 0.25
    if kind == "board":
        pitch = rng.uniform(2, 14)
        checks = ((np.floor(x / pitch) + np.floor(y / pitch)) % 2).astype(np.float32)[..., None]
        other = rng.uniform(0.02, 0.8) * rng.uniform(0.7, 1.1, 3).astype(np.float32)
        return (
            (tone * checks + other * (1 - checks)) * flat(0.05, 40),
            0.02 * fuzz(rng, size, 12, 2),
            rng.choice([0, 0.3]),
        )
    if kind == "print":  # newsprint: rows of marks
        page = np.full((size, size), 235, np.uint8)
        for row in range(20, size, 26):
            text = "".join(rng.choice(list("abcdefghilmnoprstu  "), size // 14))
            cv2.putText(page, text, (5, row), cv2.FONT_HERSHEY_SIMPLEX, 0.7, 40, 1, cv2.LINE_AA)
        return (
            (page[::-1].astype(np.float32) / 255 * 0.8)[..., None] * np.ones(3, np.float32),
            0.05 * fuzz(rng, size, 14, 3),
            0.0,
        )
    if kind == "felt":
        return tone * 0.5 * flat(0.25, 4), 0.3 * fuzz(rng, size, 4, 2), 0.0
    return (
        np.array([0.78, 0.77, 0.74], np.float32) * rng.uniform(0.5, 1.1) * flat(0.012, 30),
        0.05 * fuzz(rng, size, 14, 3),
        0.0,
    )
