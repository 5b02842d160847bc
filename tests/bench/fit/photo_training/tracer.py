"""A small path tracer for crops of a pinned plate, in torch: endless training pictures with exact truth.

Each crop is a piece of the face in the reader's own flattened view (px, y down): cylinders (pins, stubs, screw heads,
the hub) on a metal plate with holes, plugs, spun marks, scribed circles, scratches, engraving, tarnish, dirt and lint,
under a room with windows, lamps and a dark photographer. A sight line meets a cylinder or the plate; from there one
ray is mirrored about a rough metal's normal (so pins mirror in the plate and shade it), one goes out at random for dull
parts, and one goes to each lamp. Everything is drawn anew for each crop: plate, pins, light, camera, wear, lens.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import torch
import torch.nn.functional as F

PX_PER_MM = 42.0
SIDE = 160  # px of a crop, 3.8 mm
CYLINDERS = 12
HOLES = 6
LAMPS = 2
WINDOWS = 3
PIN, STUB, HOLE = 0, 1, 2


@dataclass
class Crops:
    """image: (B, 3, SIDE, SIDE) 0-1 sRGB. root, tip: (B, K, 2) px. kind: (B, K), -1 where there is nothing.

    slant: (B, 3), how long an upright pin is drawn at the crop's middle (px u, v), and the gain away from there.
    """

    image: torch.Tensor
    root: torch.Tensor
    tip: torch.Tensor
    kind: torch.Tensor
    slant: torch.Tensor


class Draw:
    """Random tensors of one generator on one device."""

    def __init__(self, device: str, seed: int) -> None:
        self.device = device
        self.g = torch.Generator(device=device).manual_seed(seed)

    def u(self, low: float, high: float, *shape: int) -> torch.Tensor:
        return low + (high - low) * torch.rand(*shape, generator=self.g, device=self.device)

    def n(self, *shape: int) -> torch.Tensor:
        return torch.randn(*shape, generator=self.g, device=self.device)

    def chance(self, p: float, *shape: int) -> torch.Tensor:
        return torch.rand(*shape, generator=self.g, device=self.device) < p

    def log(self, low: float, high: float, *shape: int) -> torch.Tensor:
        return torch.exp(self.u(math.log(low), math.log(high), *shape))


def noise(d: Draw, b: int, cells: int, octaves: int = 4, keep: float = 0.55) -> torch.Tensor:
    """Cloudy noise, (B, SIDE, SIDE), zero mean, unit spread."""
    total = torch.zeros(b, SIDE, SIDE, device=d.device)
    for k in range(octaves):
        n = max(2, min(SIDE, cells * 2**k))
        small = d.n(b, 1, n, n)
        total += keep**k * F.interpolate(small, (SIDE, SIDE), mode="bicubic", align_corners=False)[:, 0]
    return (total - total.mean((1, 2), keepdim=True)) / (total.std((1, 2), keepdim=True) + 1e-6)


METALS = torch.tensor(
    [[0.93, 0.65, 0.29], [0.90, 0.72, 0.38], [0.88, 0.78, 0.50], [0.78, 0.77, 0.74], [0.92, 0.60, 0.42],
     [0.55, 0.40, 0.22], [0.93, 0.92, 0.88], [0.60, 0.60, 0.60], [0.98, 0.80, 0.36], [0.40, 0.30, 0.20]]
)  # fmt: skip
PINS = torch.tensor(
    [[0.56, 0.55, 0.53], [0.34, 0.33, 0.31], [0.06, 0.08, 0.17], [0.80, 0.79, 0.77], [0.88, 0.66, 0.32],
     [0.05, 0.05, 0.05], [0.28, 0.18, 0.11], [0.60, 0.52, 0.38], [0.45, 0.44, 0.45], [0.70, 0.70, 0.70]]
)  # fmt: skip


def smooth(x: torch.Tensor, low: float, high: float) -> torch.Tensor:
    t = ((x - low) / (high - low)).clamp(0, 1)
    return t * t * (3 - 2 * t)


class Scene:
    """One batch of crops: where things stand and what they are made of. Lengths in mm, origin at the crop's middle."""

    def __init__(self, d: Draw, b: int) -> None:
        self.d, self.b = d, b
        self.half = SIDE / PX_PER_MM / 2
        self.centre()
        self.sites()
        self.camera()
        self.light()
        self.paint()

    def centre(self) -> None:
        d, b = self.d, self.b
        far, way = d.u(2.5, 18.0, b), d.u(0, 2 * math.pi, b)
        self.cx, self.cy = far * way.cos(), far * way.sin()
        self.radius = far + d.u(-0.3, 1.6, b)  # the rim, for those crops that show it
        self.rim = d.chance(0.22, b)
        self.gear = d.chance(0.45, b)

    def sites(self) -> None:
        d, b, k = self.d, self.b, CYLINDERS
        wire, tall = d.u(0.075, 0.18, b), d.u(0.22, 0.85, b)
        self.tall = tall
        xy = d.u(-self.half - 0.4, self.half + 0.4, b, k, 2)
        # Some stand in close rows, as on a track: the next one about a pin and a half on.
        row = d.chance(0.3, b, k)
        way = d.u(0, 2 * math.pi, b, k)
        gap = (2.4 * wire[:, None] + 0.05) * d.u(1.0, 1.8, b, k)
        for i in range(1, k):
            step = torch.stack([gap[:, i] * way[:, i].cos(), gap[:, i] * way[:, i].sin()], -1)
            xy[:, i] = torch.where(row[:, i, None], xy[:, i - 1] + step, xy[:, i])
        count = d.u(0, k - 1, b)
        on = torch.arange(k, device=d.device)[None] < count[:, None]
        kind = torch.where(d.chance(0.16, b, k), STUB, PIN)
        hole = d.chance(0.16, b, k)
        kind = torch.where(hole, HOLE, kind)
        rad = wire[:, None] * (1 + 0.03 * d.n(b, k))
        # Nothing stands on another site, nor over the rim.
        for i in range(1, k):
            dist = torch.linalg.norm(xy[:, :i] - xy[:, i : i + 1], dim=-1)
            clash = ((dist < 2.3 * wire[:, None] + 0.03) & on[:, :i]).any(1)
            on[:, i] &= ~clash
        out = torch.hypot(xy[..., 0] - self.cx[:, None], xy[..., 1] - self.cy[:, None])
        on &= ~(self.rim[:, None] & (out > self.radius[:, None] - 0.6))
        self.xy, self.on, self.kind, self.rad = xy, on, kind, rad
        height = tall[:, None] * (1 + 0.03 * d.n(b, k))
        stub_h = d.u(0.0, 0.13, b, k) * (d.chance(0.75, b, k)) + 0.006
        self.length = torch.where(kind == STUB, stub_h, height)
        lean = 0.012 * d.n(b, k, 2)
        bent = d.chance(0.14, b, k) & (kind == PIN)
        off, turn = d.u(0.08, 0.45, b, k).minimum(0.75 * height), d.u(0, 2 * math.pi, b, k)
        lean = torch.where(bent[..., None], torch.stack([off * turn.cos(), off * turn.sin()], -1), lean)
        lean = torch.where((kind == PIN)[..., None], lean, torch.zeros_like(lean))
        up = torch.sqrt((self.length**2 - (lean**2).sum(-1)).clamp_min(0.0036e-2))
        self.tip3 = torch.cat([xy + lean, up[..., None]], -1)
        self.axis = torch.cat([lean, up[..., None]], -1)
        self.axis = self.axis / torch.linalg.norm(self.axis, dim=-1, keepdim=True)
        self.cyl_on = on & (kind != HOLE)
        # Big round things: hub, boss, screw head; they take the place of a cylinder and push sites away.
        big = d.chance(0.13, b)
        size = torch.where(d.chance(0.5, b), d.u(0.3, 0.65, b), d.u(1.2, 2.6, b))
        place = d.u(-1.3, 1.3, b, 2) * (self.half + 0.5 * size[:, None])
        near = torch.linalg.norm(xy - place[:, None], dim=-1) < size[:, None] + 0.25
        self.on = self.on & ~(big[:, None] & near)
        self.cyl_on = self.cyl_on & self.on
        last = k - 1
        self.on[:, last] &= ~big
        self.cyl_on[:, last] = torch.where(big, True, self.cyl_on[:, last] & self.on[:, last])
        self.xy[:, last] = torch.where(big[:, None], place, self.xy[:, last])
        self.rad[:, last] = torch.where(big, size, self.rad[:, last])
        self.length[:, last] = torch.where(big, d.u(0.08, 0.7, b), self.length[:, last])
        up3 = torch.tensor([0.0, 0.0, 1.0], device=d.device)
        self.axis[:, last] = torch.where(big[:, None], up3, self.axis[:, last])
        self.big = big
        # Materials: mostly one or two kinds of wire a plate.
        table = PINS.to(d.device)
        pick = torch.randint(len(table), (b, 2), generator=d.g, device=d.device)
        which = torch.where(d.chance(0.7, b, k), pick[:, :1], pick[:, 1:])
        colour = table[which] * d.u(0.8, 1.15, b, k, 1)
        stub_dark = d.chance(0.5, b, k) & (kind == STUB)
        self.pin_colour = torch.where(stub_dark[..., None], colour * 0.6, colour).clamp(0.02, 0.97)
        metal = METALS.to(d.device)[torch.randint(len(METALS), (b,), generator=d.g, device=d.device)]
        self.pin_colour[:, last] = torch.where(big[:, None], metal, self.pin_colour[:, last])
        self.pin_rough = d.log(0.06, 0.5, b, 1) * d.u(0.8, 1.25, b, k)
        self.pin_dull = torch.where(
            d.chance(0.3, b, 1), d.u(0.2, 1.0, b, 1), torch.zeros(b, 1, device=d.device)
        ) * torch.ones(b, k, device=d.device)
        self.dome = torch.where(
            d.chance(0.4, b, 1), d.u(0.2, 1.0, b, 1), torch.zeros(b, 1, device=d.device)
        ) * torch.ones(b, k, device=d.device)
        self.cap_tilt = d.n(b, k, 2) * torch.where(kind == STUB, 0.15, 0.05)[..., None] * (~big)[:, None, None]

    def camera(self) -> None:
        d, b = self.d, self.b
        tilt = torch.where(d.chance(0.75, b), d.u(0, 0.5, b), d.u(0.3, 0.85, b)) * d.chance(0.95, b)
        way = d.u(0, 2 * math.pi, b)
        dist = d.log(35.0, 400.0, b)
        self.eye = torch.stack([dist * tilt * way.cos(), dist * tilt * way.sin(), dist], -1)

    def light(self) -> None:
        d, b = self.d, self.b
        self.fill = d.log(0.03, 0.6, b)[:, None] * d.u(0.8, 1.1, b, 3)
        self.slope = d.n(b, 2) * 0.35
        w = WINDOWS
        self.win_on = d.chance(0.5, b, w)
        self.win_az, self.win_el = d.u(-math.pi, math.pi, b, w), d.u(0.35, 1.35, b, w)
        self.win_w, self.win_h = d.u(0.12, 1.0, b, w), d.u(0.1, 0.45, b, w)
        self.win_soft = d.u(0.05, 0.6, b, w)
        self.win_l = d.u(0.6, 9.0, b, w)[..., None] * d.u(0.85, 1.1, b, w, 3)
        self.shade = torch.where(d.chance(0.6, b), d.u(0.08, 0.4, b), torch.zeros(b, device=d.device))
        self.lamp_on = d.chance(0.45, b, LAMPS)
        az, el = d.u(-math.pi, math.pi, b, LAMPS), d.u(0.35, 1.4, b, LAMPS)
        lamp = torch.stack([el.cos() * az.cos(), el.cos() * az.sin(), el.sin()], -1)
        # Half of them near where the plate mirrors them to the lens: glare, and pin shadows as hard as they come.
        glare = self.eye[:, None] * torch.tensor([-1.0, -1.0, 1.0], device=d.device)
        glare = glare / torch.linalg.norm(glare, dim=-1, keepdim=True) + d.u(0.05, 0.6, b, LAMPS, 1) * d.n(b, LAMPS, 3)
        glare[..., 2] = glare[..., 2].abs().clamp_min(0.25)
        lamp = torch.where(d.chance(0.5, b, LAMPS)[..., None], glare, lamp)
        self.lamp = lamp / torch.linalg.norm(lamp, dim=-1, keepdim=True)
        self.lamp_size = d.log(0.01, 0.12, b, LAMPS)
        self.lamp_l = d.log(0.4, 9.0, b, LAMPS)[..., None] * d.u(0.7, 1.1, b, LAMPS, 3)

    def room(self, l: torch.Tensor, to_eye: torch.Tensor) -> torch.Tensor:  # noqa: E741
        """Radiance from directions l (B, ..., 3) without the lamps."""
        b = self.b
        s = (b,) + (1,) * (l.dim() - 2)
        z = l[..., 2].clamp(-1, 1)
        el, az = torch.asin(z), torch.atan2(l[..., 1], l[..., 0])
        up = (
            0.5
            + 0.5 * smooth(el, 0.05, 0.9)
            + self.slope[:, 0].view(s) * l[..., 0]
            + self.slope[:, 1].view(s) * l[..., 1]
        )
        out = self.fill.view(*s, 3) * up.clamp_min(0.08)[..., None]
        for k in range(WINDOWS):
            da = torch.remainder(az - self.win_az[:, k].view(s) + math.pi, 2 * math.pi) - math.pi
            ax = (da * el.cos()).abs() / self.win_w[:, k].view(s)
            ay = (el - self.win_el[:, k].view(s)).abs() / self.win_h[:, k].view(s)
            soft = self.win_soft[:, k].view(s)
            m = (
                ((1 + soft - ax) / (2 * soft)).clamp(0, 1)
                * ((1 + soft - ay) / (2 * soft)).clamp(0, 1)
                * self.win_on[:, k].view(s)
            )
            out = out + m[..., None] * self.win_l[:, k].view(*s, 3)
        dark = (
            1 - (torch.acos((l * to_eye).sum(-1).clamp(-1, 1)) / self.shade.view(s).clamp_min(1e-3)).clamp(0, 1)
        ) * (self.shade.view(s) > 0)
        return out * (1 - 0.9 * smooth(dark, 0.0, 0.35))[..., None]

    # ---- the face's own maps, (B, SIDE, SIDE)

    def paint(self) -> None:
        d, b = self.d, self.b
        c = (torch.arange(SIDE, device=d.device) + 0.5) / PX_PER_MM - self.half
        y, x = torch.meshgrid(-c, c, indexing="ij")
        self.x, self.y = x, y
        rx, ry = x[None] - self.cx[:, None, None], y[None] - self.cy[:, None, None]
        r = torch.hypot(rx, ry)
        self.r = r
        metal = METALS.to(d.device)[torch.randint(len(METALS), (b,), generator=d.g, device=d.device)]
        metal = (metal * d.u(0.75, 1.1, b, 1) * d.u(0.93, 1.07, b, 3)).clamp(0.03, 0.98)
        colour = metal.view(b, 1, 1, 3) * (1 + 0.04 * noise(d, b, 3))[..., None]
        alpha = d.log(0.07, 0.5, b).view(b, 1, 1) * torch.ones_like(r)
        dull = torch.zeros_like(r)
        plain = d.chance(0.12, b).view(b, 1, 1)  # some plates are as dull as paint
        dull = torch.where(plain, d.u(0.4, 1.0, b).view(b, 1, 1), dull)
        # spun marks: a row of slopes along the radius
        marks = d.n(b, 1, 1024)
        wide = d.u(0.3, 3.0, b)
        marks = marks + 1.5 * F.interpolate(d.n(b, 1, 200), 1024, mode="linear", align_corners=False)
        i = ((r - r.amin((1, 2), keepdim=True)) * PX_PER_MM * wide.view(b, 1, 1)).clamp(0, 1022)
        j = i.long()
        flat = marks[:, 0].gather(1, j.view(b, -1)).view_as(r) * (1 - (i - j)) + marks[:, 0].gather(
            1, (j + 1).view(b, -1)
        ).view_as(r) * (i - j)
        g = flat * (d.log(0.004, 0.11, b) * d.chance(0.85, b)).view(b, 1, 1) * (1 + 0.3 * noise(d, b, 2, 2))
        sx, sy = g * rx / r, g * ry / r
        grain = d.log(0.002, 0.05, b).view(b, 1, 1)
        sx = sx + grain * noise(d, b, SIDE // 2, 2) + 0.02 * noise(d, b, 2, 2)
        sy = sy + grain * noise(d, b, SIDE // 2, 2) + 0.02 * noise(d, b, 2, 2)
        # tarnish
        amount = d.u(0.0, 1.0, b).view(b, 1, 1) * d.chance(0.6, b).view(b, 1, 1)
        cloud = smooth(noise(d, b, 2, 6, 0.7), 0.2, 1.6) * amount
        brown = torch.tensor([0.30, 0.16, 0.075], device=d.device) * d.u(0.4, 1.6, b, 1, 1, 3)
        colour = colour + (cloud * 0.85)[..., None] * (brown - colour)
        alpha = alpha + 0.2 * cloud
        cut = torch.zeros_like(r)
        # scribed circles, some through a pin
        for n in range(4):  # noqa: B007
            p = torch.randint(CYLINDERS, (b,), generator=d.g, device=d.device)
            at = torch.hypot(
                self.xy[torch.arange(b), p, 0] - self.cx, self.xy[torch.arange(b), p, 1] - self.cy
            ) + 0.02 * d.n(b)
            line = smooth(1 - (r - at.view(b, 1, 1)).abs() / d.u(0.012, 0.03, b, 1, 1), 0, 1)
            cut = torch.maximum(cut, line * (d.u(0.2, 1.0, b) * d.chance(0.3, b)).view(b, 1, 1))
        # scratches and lint
        lint = torch.zeros_like(r)
        for n in range(6):
            x0, y0, w = (
                d.u(-self.half, self.half, b, 1, 1),
                d.u(-self.half, self.half, b, 1, 1),
                d.u(0, math.pi, b, 1, 1),
            )
            s = (x - x0) * w.cos() + (y - y0) * w.sin()
            q = -(x - x0) * w.sin() + (y - y0) * w.cos() + d.n(b, 1, 1) * (0.06 if n < 4 else 0.5) * s**2
            line = smooth(1 - q.abs() / d.u(0.008, 0.03, b, 1, 1), 0, 1) * (s.abs() < d.log(0.1, 2.5, b, 1, 1))
            if n < 4:
                cut = torch.maximum(cut, line * (d.u(0.1, 0.9, b) * d.chance(0.45, b)).view(b, 1, 1))
            else:
                lint = torch.maximum(lint, line * d.chance(0.12, b).view(b, 1, 1))
        # engraving: a few thick strokes close together
        write = d.chance(0.12, b)
        ex, ey = d.u(-1.0, 1.0, b, 1, 1), d.u(-1.0, 1.0, b, 1, 1)
        ink = torch.zeros_like(r)
        for n in range(6):
            x0, y0 = ex + d.u(-0.7, 0.7, b, 1, 1), ey + d.u(-0.7, 0.7, b, 1, 1)
            if n % 2:
                q = (torch.hypot(x - x0, y - y0) - d.u(0.12, 0.5, b, 1, 1)).abs()
                gate = torch.atan2(y - y0, x - x0) * d.n(b, 1, 1) > -1.0
            else:
                w = d.u(0, math.pi, b, 1, 1)
                q = (-(x - x0) * w.sin() + (y - y0) * w.cos()).abs()
                gate = ((x - x0) * w.cos() + (y - y0) * w.sin()).abs() < d.u(0.15, 0.7, b, 1, 1)
            ink = torch.maximum(ink, smooth(1 - q / d.u(0.04, 0.11, b, 1, 1), 0, 0.6) * gate)
        ink = ink * write.view(b, 1, 1)
        cut = torch.maximum(cut, ink)
        pad = F.pad(cut[:, None], (1, 1, 1, 1), mode="replicate")[:, 0]
        deep = d.u(0.0, 0.8, b, 1, 1)
        sx = sx - deep * 0.5 * (pad[:, 1:-1, 2:] - pad[:, 1:-1, :-2])
        sy = sy + deep * 0.5 * (pad[:, 2:, 1:-1] - pad[:, :-2, 1:-1])
        colour = colour * (1 - cut * d.u(0.0, 0.75, b, 1, 1))[..., None]

        # round blots: corrosion, drops, plugs, grime at a pin's foot
        def blot(bx, by, br, tone, strength, soft):
            nonlocal colour, alpha
            q = torch.hypot(x - bx.view(b, 1, 1), y - by.view(b, 1, 1)) / br.view(b, 1, 1)
            m = (1 - smooth(q * (1 + wob), 1 - soft, 1 + soft)) * strength.view(b, 1, 1)
            colour = colour + m[..., None] * (tone.view(b, 1, 1, 3) - colour)
            alpha = alpha + 0.2 * m

        wob = 0.12 * noise(d, b, 5, 2)
        for _ in range(9):
            tone = torch.where(
                d.chance(0.8, b, 1),
                torch.tensor([0.16, 0.09, 0.05], device=d.device) * d.u(0.3, 2.0, b, 1),
                d.u(0.02, 0.9, b, 3),
            )
            blot(
                d.u(-1.5, 1.5, b),
                d.u(-1.5, 1.5, b),
                d.log(0.04, 0.22, b),
                tone,
                d.u(0.2, 0.95, b) * d.chance(0.4, b),
                0.45,
            )
        foot = d.u(0.0, 0.9, b) * d.chance(0.75, b)
        for k in range(CYLINDERS):
            blot(
                self.xy[:, k, 0] + 0.015 * d.n(b),
                self.xy[:, k, 1] + 0.015 * d.n(b),
                self.rad[:, k].clamp(max=0.3) * d.u(1.1, 1.7, b),
                torch.tensor([0.13, 0.08, 0.045], device=d.device).expand(b, 3),
                foot * d.u(0.4, 1.3, b).clamp(max=0.95) * self.on[:, k],
                0.3,
            )
        wob = 0.02 * noise(d, b, 5, 2)
        for _ in range(2):  # plugs: flush, of another tone, perhaps with a fine dark ring
            px, py, pr = d.u(-1.6, 1.6, b), d.u(-1.6, 1.6, b), d.u(0.08, 0.35, b)
            far = (torch.hypot(self.xy[..., 0] - px[:, None], self.xy[..., 1] - py[:, None]) > pr[:, None] + 0.25).all(
                1
            )
            on = d.chance(0.15, b) & far
            blot(px, py, pr, (metal * d.u(0.55, 1.3, b, 1)).clamp(0, 0.98), d.u(0.2, 0.9, b) * on, 0.05)
            q = torch.hypot(x - px.view(b, 1, 1), y - py.view(b, 1, 1))
            ring = smooth(1 - (q - pr.view(b, 1, 1)).abs() / 0.018, 0, 1) * (d.u(0, 0.7, b) * on).view(b, 1, 1)
            colour = colour * (1 - ring)[..., None]
        # dull dirt and dust
        dirt = smooth(noise(d, b, 3, 6, 0.75), 0.3, 2.6) * (d.u(0, 1, b) * d.chance(0.4, b)).view(b, 1, 1)
        for _ in range(5):
            px, py, w = d.u(-1.6, 1.6, b, 1, 1), d.u(-1.6, 1.6, b, 1, 1), d.u(0, math.pi, b, 1, 1)
            s, q = (x - px) * w.cos() + (y - py) * w.sin(), -(x - px) * w.sin() + (y - py) * w.cos()
            m = 1 - smooth((s / d.log(0.015, 0.09, b, 1, 1)) ** 2 + (q / d.log(0.015, 0.07, b, 1, 1)) ** 2, 0.6, 1.4)
            dirt = torch.maximum(dirt, m * (d.u(0.3, 0.9, b) * d.chance(0.4, b)).view(b, 1, 1))
        dirt = torch.maximum(dirt, lint * 0.8)
        self.dirt_colour = d.u(0.04, 0.55, b, 1) * d.u(0.8, 1.1, b, 3)
        # holes
        pit = torch.zeros_like(r)
        lipx, lipy = torch.zeros_like(r), torch.zeros_like(r)
        lip = d.u(0.0, 0.05, b, 1, 1)
        for k in range(CYLINDERS):
            hole = (self.on[:, k] & (self.kind[:, k] == HOLE)).view(b, 1, 1)
            hx, hy, hr = (v.view(b, 1, 1) for v in (self.xy[:, k, 0], self.xy[:, k, 1], self.rad[:, k]))
            q = torch.hypot(x - hx, y - hy)
            pit = torch.maximum(pit, smooth((hr - q) * PX_PER_MM, -0.7, 0.7) * hole)
            on_lip = ((q > hr) & (q < hr + lip) & hole).float()
            lipx = lipx + on_lip * (x - hx) / q.clamp_min(1e-3)
            lipy = lipy + on_lip * (y - hy) / q.clamp_min(1e-3)
        self.pit = pit
        # Lip slopes fall inwards: the surface rises outwards along the radius.
        steep = d.u(0.3, 1.0, b, 1, 1)
        sx, sy = sx + steep * lipx, sy + steep * lipy
        self.pit_colour = (d.log(0.002, 0.05, b, 1) * d.u(0.5, 1.2, b, 3)).view(b, 1, 1, 3)
        # rim: outside it lies the table, dull and some way below
        wave = r - self.radius.view(b, 1, 1)
        tooth = torch.remainder(torch.atan2(ry, rx) * d.u(9, 24, b, 1, 1) * 1.0, 1.0)
        wave = wave + torch.where(
            self.gear.view(b, 1, 1), 0.34 * smooth((tooth - 0.5).abs(), 0.12, 0.3), torch.zeros_like(r)
        )
        self.outside = smooth(wave * PX_PER_MM, -0.6, 0.6) * self.rim.view(b, 1, 1)
        bevel = ((wave > -0.035) & (wave < 0)).float() * self.rim.view(b, 1, 1)
        sx, sy = sx - bevel * rx / r, sy - bevel * ry / r
        table = d.log(0.02, 0.85, b, 1, 1, 1) * d.u(0.6, 1.2, b, 1, 1, 3)
        self.table = (table * (1 + d.u(0.0, 0.25, b, 1, 1, 1) * noise(d, b, 8, 4)[..., None])).clamp(0.005, 0.95)
        self.sx, self.sy = sx.clamp(-1.2, 1.2), sy.clamp(-1.2, 1.2)
        self.colour, self.alpha = colour.clamp(0.01, 0.98), alpha.clamp(0.05, 0.7)
        self.dull = torch.maximum(dull, dirt).clamp(0, 0.97)
        self.dull_colour = torch.where(
            plain[..., None], self.colour, self.dirt_colour.view(b, 1, 1, 3).expand_as(self.colour)
        )

    # ---- rays

    def hit(self, p: torch.Tensor, v: torch.Tensor, first_from_far: bool) -> tuple[torch.Tensor, torch.Tensor]:
        """(t, which) of rays p + t v, (B, n, 3), with the cylinders; which is -1 where none is met.

        first_from_far: the largest t wins (seen from the eye), else the smallest t above a hair (a ray that leaves).
        """
        base = torch.cat([self.xy, torch.full_like(self.xy[..., :1], -0.02)], -1)[:, None]  # (B, 1, K, 3)
        a = self.axis[:, None]
        length = (self.length + 0.02)[:, None]
        rad2 = (self.rad**2)[:, None]
        w = p[:, :, None] - base
        va, wa = (v[:, :, None] * a).sum(-1), (w * a).sum(-1)
        vv, vw = (v * v).sum(-1)[..., None], (v[:, :, None] * w).sum(-1)
        A = (vv - va**2).clamp_min(1e-9)
        Bq = vw - va * wa
        C = (w * w).sum(-1) - wa**2 - rad2
        disc = Bq**2 - A * C
        root = torch.sqrt(disc.clamp_min(0))
        on = self.cyl_on[:, None]
        best_t = torch.full(p.shape[:2], -1.0 if first_from_far else 1e9, device=p.device)
        which = torch.full(p.shape[:2], -1, dtype=torch.long, device=p.device)
        for t, good in (
            ((-Bq + root) / A if first_from_far else (-Bq - root) / A, disc > 0),
            ((length - wa) / torch.where(va.abs() < 1e-6, 1e-6, va), None),
        ):
            h = wa + t * va
            if good is None:
                ok = (A * t**2 + 2 * Bq * t + C) <= 0
            else:
                ok = good & (h > 0) & (h < length)
            ok = ok & on & (t > 1e-4)
            key = torch.where(ok, t, -1.0 if first_from_far else 1e9)
            value, index = key.max(-1) if first_from_far else key.min(-1)
            better = value > best_t if first_from_far else value < best_t
            better = better & ok.gather(-1, index[..., None])[..., 0]
            best_t = torch.where(better, value, best_t)
            which = torch.where(better, index, which)
        return best_t, which

    def normal_at(self, q: torch.Tensor, which: torch.Tensor) -> torch.Tensor:
        """Normals of the cylinders `which` (B, n) at points q (B, n, 3)."""
        i = which.clamp_min(0)
        take = lambda t: t.gather(1, i[..., None].expand(-1, -1, t.shape[-1]))  # noqa: E731
        axis, xy = take(self.axis), take(self.xy)
        base = torch.cat([xy, torch.full_like(xy[..., :1], -0.02)], -1)
        w = q - base
        s = (w * axis).sum(-1, keepdim=True)
        side = w - s * axis
        length = self.length.gather(1, i)[..., None] + 0.02
        rad = self.rad.gather(1, i)[..., None]
        on_cap = s > length - 1e-3
        tilt = torch.cat([take(self.cap_tilt), torch.zeros_like(s)], -1)
        dome = self.dome.gather(1, i)[..., None]
        edge = smooth(torch.linalg.norm(side, dim=-1, keepdim=True) / rad, 0.75, 1.0)  # broken edge of the cap
        cap = axis + tilt + side / rad * torch.maximum(dome * 0.8, 0.8 * edge * (rad < 0.25))
        n = torch.where(on_cap, cap, side)
        return n / torch.linalg.norm(n, dim=-1, keepdim=True).clamp_min(1e-6)

    def render(self, samples: int) -> torch.Tensor:
        """Linear radiance, (B, 3, SIDE, SIDE)."""
        total = 0
        for _ in range(samples):
            total = total + self.sample().clamp(0, 3.0)  # no fireflies
        return (total / samples).view(self.b, SIDE, SIDE, 3).permute(0, 3, 1, 2)

    def sample(self) -> torch.Tensor:
        d, b, n = self.d, self.b, SIDE * SIDE
        jitter = d.u(-0.5, 0.5, b, 2, SIDE, SIDE) / PX_PER_MM
        p = torch.stack(
            [self.x + jitter[:, 0], self.y + jitter[:, 1], torch.zeros(b, SIDE, SIDE, device=d.device)], -1
        ).view(b, n, 3)
        v = self.eye[:, None] - p
        v = v / torch.linalg.norm(v, dim=-1, keepdim=True)
        t, which = self.hit(p, v, True)
        pin = which >= 0
        q = torch.where(pin[..., None], p + t[..., None] * v, p)
        flat = lambda a: a.reshape(b, n, -1)  # noqa: E731
        plate_n = torch.stack([-self.sx, -self.sy, torch.ones_like(self.sx)], -1).view(b, n, 3)
        plate_n = plate_n / torch.linalg.norm(plate_n, dim=-1, keepdim=True)
        i = which.clamp_min(0)
        nrm = torch.where(pin[..., None], self.normal_at(q, which), plate_n)
        colour = torch.where(
            pin[..., None], self.pin_colour.gather(1, i[..., None].expand(-1, -1, 3)), flat(self.colour)
        )
        alpha = torch.where(pin, self.pin_rough.gather(1, i), flat(self.alpha)[..., 0])
        dull = torch.where(pin, self.pin_dull.gather(1, i), flat(self.dull)[..., 0])
        dull_colour = torch.where(pin[..., None], colour, flat(self.dull_colour))
        out = self.shade_at(q, v, nrm, colour, alpha, dull, dull_colour, pin)
        # pits and the table outside the rim, where no pin stands before them
        pit, away = flat(self.pit) * (~pin)[..., None], flat(self.outside) * (~pin)[..., None]
        ambient = self.fill[:, None] * 1.2
        out = out * (1 - pit) + pit * self.pit_colour.expand(b, SIDE, SIDE, 3).reshape(b, n, 3) * ambient * 3
        return out * (1 - away) + away * flat(self.table) * (
            ambient + 0.5 * (self.win_l * self.win_on[..., None]).mean(1)[:, None] * 0.4
        )

    def shade_at(self, q, v, nrm, colour, alpha, dull, dull_colour, pin):
        d, b, n = self.d, self.b, q.shape[1]
        micro = nrm + alpha[..., None] * 0.8 * d.n(b, n, 3)
        micro = micro / torch.linalg.norm(micro, dim=-1, keepdim=True)
        micro = torch.where(((micro * v).sum(-1) < 0.02)[..., None], nrm, micro)
        l = 2 * (micro * v).sum(-1, keepdim=True) * micro - v  # noqa: E741
        spec = self.incoming(q + 1e-4 * nrm, l, v, pin) * colour
        r = d.n(b, n, 3)
        r = nrm + r / torch.linalg.norm(r, dim=-1, keepdim=True).clamp_min(1e-6)
        r = r / torch.linalg.norm(r, dim=-1, keepdim=True).clamp_min(1e-6)
        diff = self.incoming(q + 1e-4 * nrm, r, v, pin) * dull_colour
        for k in range(LAMPS):
            ld = self.lamp[:, None, k] + self.lamp_size[:, None, k, None] * d.n(b, n, 3)
            ld = ld / torch.linalg.norm(ld, dim=-1, keepdim=True)
            _, block = self.hit(q + 1e-4 * nrm, ld, False)
            seen = (block < 0).float() * self.lamp_on[:, None, k]
            nl = (nrm * ld).sum(-1).clamp_min(0) * (ld[..., 2] > 0)
            h = ld + v
            h = h / torch.linalg.norm(h, dim=-1, keepdim=True).clamp_min(1e-6)
            a2 = (alpha**2 + self.lamp_size[:, None, k] ** 2).clamp_min(1e-3)
            a2 = a2**1.0
            nh = (nrm * h).sum(-1).clamp(0, 1)
            lobe = a2 / (math.pi * (nh**2 * (a2 - 1) + 1) ** 2).clamp_min(1e-6)
            lobe = (lobe / (4 * (nrm * v).sum(-1).clamp_min(0.15))).clamp(max=25.0)
            power = self.lamp_l[:, None, k] * seen[..., None]
            spec = spec + power * (lobe * (nl > 0) * 0.5)[..., None] * colour
            diff = diff + power * nl[..., None] * dull_colour
        return spec * (1 - dull)[..., None] + diff * dull[..., None]

    def incoming(self, q, l, v, from_pin):  # noqa: E741
        """Radiance arriving along l at q: the room, a pin in the way, or (from a pin, downwards) the plate."""
        t, which = self.hit(q, l, False)
        met = which >= 0
        m = q + t.clamp(max=50.0)[..., None] * l
        nn = self.normal_at(m, which)
        l2 = l - 2 * (l * nn).sum(-1, keepdim=True) * nn
        i = which.clamp_min(0)
        pin_colour = self.pin_colour.gather(1, i[..., None].expand(-1, -1, 3))
        up = l.clone()
        up[..., 2] = up[..., 2].abs()
        plain = self.room(up, v)
        base = self.colour.mean((1, 2))[:, None]
        sky = torch.where((l[..., 2] < 0)[..., None], plain * base, plain)
        up2 = l2.clone()
        up2[..., 2] = up2[..., 2].abs()
        second = (
            self.room(up2, v) * torch.where((l2[..., 2] < 0)[..., None], base, torch.ones_like(base)) * pin_colour * 0.8
        )
        return torch.where(met[..., None], second, sky)


def develop(d: Draw, linear: torch.Tensor) -> torch.Tensor:
    """Exposure, lens, shake, sensor noise, tone curve, sharpening, colour cast and JPEG, all drawn per crop."""
    b = linear.shape[0]
    one = lambda t: t.view(b, 1, 1, 1)  # noqa: E731
    img = linear.clamp(0, 12)
    mid = img.mean(1).flatten(1).quantile(0.5, dim=1).clamp_min(1e-3)
    img = img * one(d.log(0.10, 0.62, b) / mid)
    img = blur(img, d.log(0.6, 2.8, b))
    if b > 1:
        img = shake(d, img)
    noise_ = d.log(0.002, 0.05, b)
    grain = d.n(*img.shape)
    soft = F.avg_pool2d(F.pad(grain, (1, 1, 1, 1), mode="reflect"), 3, 1) * 2.2
    grain = torch.where(one(d.chance(0.6, b)), soft, grain)
    img = img + grain * torch.sqrt(one(noise_) ** 2 * img.clamp_min(0) + (0.25 * one(noise_)) ** 2)
    img = img.clamp_min(0) * d.u(0.8, 1.2, b, 3, 1, 1)
    knee = one(d.u(0.55, 0.95, b))
    over = (img - knee).clamp_min(0)
    img = torch.where(img > knee, knee + (1 - knee) * (1 - torch.exp(-over / (1 - knee) * 0.8)), img)
    img = torch.where(img <= 0.0031308, 12.92 * img, 1.055 * img.clamp_min(1e-6) ** (1 / 2.4) - 0.055)
    img = img + 0.02 * one(d.u(-1, 3, b)) * torch.sin(2 * math.pi * (img.clamp(0, 1) - 0.5))
    soft = blur(img, d.u(0.8, 2.0, b))
    img = img + one(d.u(0, 1.0, b) * d.chance(0.8, b)) * (img - soft)
    grey = img.mean(1, keepdim=True)
    img = grey + (img - grey) * one(d.u(0.0, 1.4, b))
    img = jpeg(d, img.clamp(0, 1))
    return img.clamp(0, 1)


def blur(img: torch.Tensor, sigma: torch.Tensor) -> torch.Tensor:
    b, c, h, w = img.shape
    k = 11
    x = torch.arange(k, device=img.device) - k // 2
    g = torch.exp(-0.5 * (x[None] / sigma[:, None]) ** 2)
    g = (g / g.sum(1, keepdim=True)).repeat_interleave(c, 0)
    flat = F.pad(img.reshape(1, b * c, h, w), (5, 5, 5, 5), mode="reflect")
    flat = F.conv2d(flat, g.view(b * c, 1, k, 1), groups=b * c)
    flat = F.conv2d(flat, g.view(b * c, 1, 1, k), groups=b * c)
    return flat.view(b, c, h, w)


def shake(d: Draw, img: torch.Tensor) -> torch.Tensor:
    b, c, h, w = img.shape
    k = 9
    size = d.u(0.0, 5.0, b) * d.chance(0.25, b)
    way = d.u(0, math.pi, b)
    t = torch.linspace(-0.5, 0.5, 25, device=img.device)
    px, py = t[None] * (size * way.cos())[:, None] + 4, t[None] * (size * way.sin())[:, None] + 4
    g = torch.arange(k, device=img.device).float()
    kx, ky = (1 - (px[..., None] - g).abs()).clamp_min(0), (1 - (py[..., None] - g).abs()).clamp_min(0)
    kernel = (ky[..., :, None] * kx[..., None, :]).mean(1)
    kernel = kernel.repeat_interleave(c, 0).view(b * c, 1, k, k)
    flat = F.pad(img.reshape(1, b * c, h, w), (4, 4, 4, 4), mode="reflect")
    return F.conv2d(flat, kernel, groups=b * c).view(b, c, h, w)


_Q = torch.tensor(
    [16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55, 14, 13, 16, 24, 40, 57, 69, 56, 14, 17, 22, 29, 51, 87, 80, 62,  # noqa: E501
     18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92, 49, 64, 78, 87, 103, 121, 120, 101, 72, 92, 95, 98, 112, 100, 103, 99]  # noqa: E501
).view(8, 8).float()  # ITU-T T.81, annex K, table K.1  # fmt: skip


def jpeg(d: Draw, img: torch.Tensor) -> torch.Tensor:
    """Luminance and colour quantised in 8 x 8 blocks, as JPEG does (the same table for all three, T.81 annex K)."""
    b = img.shape[0]
    k = torch.arange(8, device=img.device).float()
    m = torch.cos((2 * k[None] + 1) * k[:, None] * math.pi / 16) * 0.5
    m[0] /= math.sqrt(2)
    quality = d.u(50, 98, b)
    scale = torch.where(quality < 50, 5000 / quality, 200 - 2 * quality) / 100
    q = (_Q.to(img.device)[None] * scale.view(b, 1, 1)).clamp_min(1).view(b, 1, 1, 1, 8, 8) / 255
    y = img[:, :1] * 0.299 + img[:, 1:2] * 0.587 + img[:, 2:] * 0.114
    cb, cr = img[:, 2:] - y, img[:, :1] - y
    ycc = torch.cat([y, cb, cr], 1)
    blocks = ycc.view(b, 3, SIDE // 8, 8, SIDE // 8, 8).permute(0, 1, 2, 4, 3, 5)
    f = m @ blocks @ m.T
    f = torch.round(f / q) * q
    ycc = (m.T @ f @ m).permute(0, 1, 2, 4, 3, 5).reshape(b, 3, SIDE, SIDE)
    y, cb, cr = ycc[:, :1], ycc[:, 1:2], ycc[:, 2:]
    red, blue = y + cr, y + cb
    out = torch.cat([red, (y - 0.299 * red - 0.114 * blue) / 0.587, blue], 1)
    return torch.where(d.chance(0.7, b).view(b, 1, 1, 1), out, img)


@torch.no_grad()
def make_crops(d: Draw, b: int, samples: int) -> Crops:
    """A batch of crops with their truth."""
    s = Scene(d, b)
    image = develop(d, s.render(samples))
    tip = s.tip3.clone()
    sight = s.eye[:, None] - tip
    flat_tip = tip[..., :2] - sight[..., :2] * (tip[..., 2:] / sight[..., 2:])
    flat_tip = torch.where((s.kind == HOLE)[..., None], s.xy, flat_tip)

    def px(xy: torch.Tensor) -> torch.Tensor:
        return torch.stack([(xy[..., 0] + s.half) * PX_PER_MM - 0.5, (s.half - xy[..., 1]) * PX_PER_MM - 0.5], -1)

    kind = torch.where(s.on, s.kind, -1)
    kind[:, -1] = torch.where(s.big, -1, kind[:, -1])
    gain = s.tall / (s.eye[:, 2] - s.tall)
    slant = torch.stack([-gain * s.eye[:, 0] * PX_PER_MM, gain * s.eye[:, 1] * PX_PER_MM, gain], -1)
    return Crops(image, px(s.xy), px(flat_tip), kind, slant)
