"""Batches: crops for the sites net and the closer, frames for the finder, from photographs and from traced crops."""

from __future__ import annotations

import math

import torch
import torch.nn.functional as F
from store import PX_PER_MM, Photo
from tracer import blur

CLOSE = 48  # px of the closer net's crop
FIELD = 192  # px of a crop that becomes the sites net's at half its scale
FRAME = 256
MOST_SITES = 24
# The site nearest the crop's middle and this near is the one meant; up to the second no opinion is asked. Wide, so
# that a mark at a pin's bright top, its foot in shadow, leads to the pin.
MEANT_MM, DOUBT_MM = 0.20, 0.27
DECOYS, DECOYS_SEEN = 150, 12
# The closer is told how long an upright pin is drawn there, and its crop is turned so that it points along +u; told as
# parts of so many px. A reader knows it to so many px, sometimes worse, sometimes not at all and rarely quite wrong.
HINT_PX, UNKNOWN = 16.8, -1.0
HINT_SHARE, HINT_OFF_PX, WORSE_PX, WORSE, WRONG, NOT_KNOWN = 0.1, 0.84, 2.5, 0.15, 0.04, 0.25


def uniform(low: float, high: float, *shape: int, device) -> torch.Tensor:
    return low + (high - low) * torch.rand(*shape, device=device)


def relit(x: torch.Tensor, scale: float = 1.0) -> torch.Tensor:
    """x (b, 3, h, w) 0-1 with other light, colour, sharpness and noise, each crop its own; -0.5 to 0.5.

    scale: of the pixels against the closer's, for the blur's width.
    """
    b, dev = len(x), x.device
    u = lambda lo, hi, *sh: uniform(lo, hi, *sh, device=dev)  # noqa: E731
    if torch.rand(()).item() < 0.35:  # blurred, or sharpened until it rings; few pixels
        soft = blur(x, scale * u(0.4, 1.7, b))
        way = torch.where(u(0, 1, b, 1, 1, 1) < 0.6, u(0.3, 1, b, 1, 1, 1), u(-1.2, 0, b, 1, 1, 1))
        x = torch.where(u(0, 1, b, 1, 1, 1) < 0.7, x + way * (soft - x), x)
    if torch.rand(()).item() < 0.15:
        s = x.shape[-1]
        few = F.interpolate(x, size=int(s * (0.45 + 0.4 * torch.rand(()).item())), mode="area")
        x = F.interpolate(few, size=s, mode="bilinear", align_corners=False)
    gain = torch.where(u(0, 1, b, 1, 1, 1) < 0.2, u(0.6, 1.3, b, 3, 1, 1), u(0.85, 1.15, b, 3, 1, 1))
    x = (x * gain).clamp(1e-4, 1) ** torch.exp(0.3 * torch.randn(b, 1, 1, 1, device=dev))
    grey = x.mean(1, keepdim=True)
    x = grey + (x - grey) * torch.where(
        u(0, 1, b, 1, 1, 1) < 0.08, torch.zeros_like(grey[..., :1, :1]), u(0.2, 1.4, b, 1, 1, 1)
    )
    if torch.rand(()).item() < 0.3:  # light falls off across it
        c = torch.linspace(-1, 1, x.shape[-1], device=dev)
        x = x * (1 + u(-0.3, 0.3, b, 1, 1, 1) * c + u(-0.3, 0.3, b, 1, 1, 1) * c[:, None])
    x = (x - 0.5) * u(0.6, 1.3, b, 1, 1, 1) + 0.5 + u(-0.12, 0.12, b, 1, 1, 1)
    noise = torch.randn_like(x)
    if torch.rand(()).item() < 0.3:  # of neighbours alike, as after a phone's own smoothing
        noise = 1.8 * F.avg_pool2d(noise, 3, 1, 1)
    x = x + noise * u(0, 0.04, b, 1, 1, 1) * (u(0, 1, b, 1, 1, 1) < 0.5)
    return x.clamp(0, 1) - 0.5


def anywhere(photo: Photo, n: int) -> torch.Tensor:
    dev = photo.image.device
    r, t = 1.02 * photo.radius * torch.rand(n, device=dev).sqrt(), 2 * math.pi * torch.rand(n, device=dev)
    return torch.stack([r * t.cos(), r * t.sin()], -1)


def fields(photo: Photo, each: int, net=None):
    """Rows for the pool: (image uint8, root, tip, kind, decoys, slant) of `each` pieces of a face, in their px.

    Three of four lie about a site, rare conditions more often; the others anywhere. decoys (each, DECOYS_SEEN, 2): what
    a finder of blots, or a sites net, takes for sites and is none. slant (each, 3): as tracer.Crops has it.
    """
    dev = photo.image.device
    pick = torch.multinomial(photo.weight, each, replacement=True)
    near = photo.root[pick] + 0.9 * torch.randn(each, 2, device=dev)
    at = torch.where(torch.rand(each, 1, device=dev) < 0.75, near, anywhere(photo, each))
    x, m = photo.crops(at, FIELD)
    back = torch.linalg.inv(m)
    px = lambda mm: (mm[None] - at[:, None]) @ back.transpose(1, 2) + (FIELD - 1) / 2  # noqa: E731
    root, tip = px(photo.root), px(photo.tip)
    far, which = nearest(root, MOST_SITES)
    kind = torch.where(far < FIELD / 2 + 14, photo.kind[which], -1)
    pad = MOST_SITES - which.shape[1]
    take = lambda a: F.pad(a.gather(1, which[..., None].expand(-1, -1, 2)), (0, 0, 0, pad), value=-999.0)  # noqa: E731
    lure = decoys(photo, net)
    lure = px(lure) if len(lure) else torch.full((each, 1, 2), -999.0, device=dev)
    far, near_lure = nearest(lure, DECOYS_SEEN)
    lure = lure.gather(1, near_lure[..., None].expand(-1, -1, 2))
    lure = F.pad(
        torch.where((far < FIELD / 2 - 8)[..., None], lure, -999.0),
        (0, 0, 0, DECOYS_SEEN - lure.shape[1]),
        value=-999.0,
    )
    drawn = photo.slant[0] * at - photo.slant[1:]
    slant = torch.cat([(back @ drawn[..., None])[..., 0], photo.slant[:1].expand(each, 1)], 1)
    return (x * 255 + 0.5).byte(), take(root), take(tip), F.pad(kind, (0, pad), value=-1), lure, slant


def nearest(px: torch.Tensor, most: int):
    """The `most` places (each, k, 2) nearest a field's middle: how far (along the worse axis), which."""
    far = (px - (FIELD - 1) / 2).abs().amax(-1)
    return far.topk(min(most, far.shape[1]), largest=False)


def halved(x, root, tip, kind):
    """At the sites net's own scale, half of the closer net's."""
    return F.avg_pool2d(x, 2), (root + 0.5) / 2 - 0.5, (tip + 0.5) / 2 - 0.5, kind


def turned(x, root, tip):
    """Turns and mirrors of a whole batch."""
    s = x.shape[-1] - 1
    for _ in range(int(torch.randint(4, (1,)).item())):
        x = torch.rot90(x, 1, (2, 3))
        root, tip = (torch.stack([p[..., 1], s - p[..., 0]], -1) for p in (root, tip))
    if torch.rand(()).item() < 0.5:
        x = x.flip(3)
        root, tip = (torch.stack([s - p[..., 0], p[..., 1]], -1) for p in (root, tip))
    return x, root, tip


def lit(rows):
    """Rows of the pool with the image as numbers 0-1."""
    return rows[0].float() / 255, *rows[1:]


def inverse(m: torch.Tensor) -> torch.Tensor:
    """Of (n, 2, 2), without waiting for the GPU."""
    det = m[:, 0, 0] * m[:, 1, 1] - m[:, 0, 1] * m[:, 1, 0]
    rows = torch.stack([m[:, 1, 1], -m[:, 0, 1], -m[:, 1, 0], m[:, 0, 0]], -1).view(-1, 2, 2)
    return rows / det[:, None, None]


def labelled(d_mm: torch.Tensor, kind: torch.Tensor):
    label = torch.where(d_mm < MEANT_MM, kind, torch.full_like(kind, 3))
    return label, ((d_mm < MEANT_MM) | (d_mm > DOUBT_MM)).float()


def hinted(slant: torch.Tensor, place: torch.Tensor, middle: float) -> tuple[torch.Tensor, torch.Tensor]:
    """What a reader would know of the slant at places (b, n, 2) px: (angle to turn the crop by, how long as told)."""
    b, n, _ = place.shape
    dev = place.device
    u = lambda lo, hi, *sh: uniform(lo, hi, *sh, device=dev)  # noqa: E731
    drawn = slant[:, None, :2] + slant[:, None, 2:] * (place - middle)
    off = torch.where(u(0, 1, b, 1, 1) < WORSE, WORSE_PX, HINT_OFF_PX) * torch.randn(b, 1, 2, device=dev)
    drawn = drawn * (1 + HINT_SHARE * torch.randn(b, 1, 1, device=dev)) + off
    way, far = u(0, 2 * math.pi, b, n), u(0, 14, b, n)
    other = torch.stack([way.cos(), way.sin()], -1) * far[..., None]
    drawn = torch.where(u(0, 1, b, 1, 1) < WRONG, other, drawn)
    known = (u(0, 1, b, 1) > NOT_KNOWN) & slant[:, :1].isfinite()
    angle = torch.where(known, torch.atan2(drawn[..., 1], drawn[..., 0]), way)
    told = torch.where(known, drawn.norm(dim=-1) / HINT_PX - 0.5, UNKNOWN)
    return angle.view(-1), told.view(-1)


def close_ups(image, root, tip, kind, lure, slant, per: int):
    """For the closer, `per` crops of each field: (x, root, tip, label, weight); root from the crop's middle, px.

    Half about sites, half beside them, at their tips, at decoys (lure, (b, n, 2) px or None), at blots or anywhere.
    Three channels of x are the picture, the fourth the length that an upright pin is drawn at.
    """
    b, _, s, _ = image.shape
    dev = image.device
    on = kind >= 0
    inside = on & (root > 8).all(-1) & (root < s - 9).all(-1)
    rare = torch.tensor([1.0, 1.8, 1.8, 0.0], device=dev)[kind]  # kind -1 is nothing
    pick = torch.multinomial(inside.float() * rare + 1e-6, per, replacement=True)
    pull = lambda a: a.gather(1, pick[..., None].expand(-1, -1, 2))  # noqa: E731
    way = torch.rand(b, per, 1, device=dev) * 2 * math.pi
    way = torch.cat([way.cos(), way.sin()], -1)
    some, far = torch.rand(b, per, 1, device=dev), torch.rand(b, per, 1, device=dev).sqrt()
    reach = torch.where(torch.rand(b, per, 1, device=dev) < 0.35, 8.0, 4.0)
    grey = image.mean(1, keepdim=True)
    dog = (F.avg_pool2d(grey, 7, 1, 3) - F.avg_pool2d(grey, 17, 1, 8)).abs()[:, 0]
    dog[:, :12], dog[:, -12:], dog[:, :, :12], dog[:, :, -12:] = 0, 0, 0, 0
    k = torch.multinomial((dog**2).flatten(1) + 1e-9, per, replacement=True)
    blot = torch.stack([k % s, torch.div(k, s, rounding_mode="floor")], -1).float()
    if lure is not None:
        lured = lure.gather(1, torch.randint(lure.shape[1], (b, per), device=dev)[..., None].expand(-1, -1, 2))
        blot = torch.where((lured > 0).all(-1, keepdim=True), lured + 1.5 * torch.randn_like(blot), blot)
    place = 10 + (s - 20) * torch.rand(b, per, 2, device=dev)
    for part, value in (
        (0.94, blot),
        (0.70, pull(tip) + 4.3 * way * far),
        (0.62, pull(root) + way * (7.5 + 15 * far)),
        (0.52, pull(root) + reach * way * far),
    ):
        place = torch.where(some < part, value, place)
    d = torch.linalg.norm(place[:, :, None] - root[:, None], dim=-1)
    near, which = torch.where(on[:, None], d, torch.full_like(d, 1e9)).min(-1)
    label, weight = labelled(near / PX_PER_MM, kind.gather(1, which))
    take = lambda a: a.gather(1, which[..., None].expand(-1, -1, 2))  # noqa: E731
    n = b * per
    a, told = hinted(slant, place, (s - 1) / 2)
    flip = torch.where(torch.rand(n, device=dev) < 0.5, -1.0, 1.0)
    m = torch.stack([torch.stack([a.cos(), -a.sin() * flip], -1), torch.stack([a.sin(), a.cos() * flip], -1)], 1)
    m = m * torch.exp(0.06 * torch.randn(n, 1, 1, device=dev))
    c = torch.arange(CLOSE, device=dev) - (CLOSE - 1) / 2
    grid = torch.stack(torch.meshgrid(c, c, indexing="xy"), -1).view(1, -1, 2)
    source = (grid @ m.transpose(1, 2) + place.view(n, 1, 2) + 0.5) / s * 2 - 1
    out = F.grid_sample(
        image, source.view(b, per * CLOSE, CLOSE, 2), mode="bilinear", padding_mode="reflection", align_corners=False
    )
    out = out.view(b, 3, per, CLOSE, CLOSE).permute(0, 2, 1, 3, 4).reshape(n, 3, CLOSE, CLOSE)
    back = inverse(m)
    px = lambda q: ((take(q) - place).view(n, 1, 2) @ back.transpose(1, 2))[:, 0]  # noqa: E731
    x = torch.cat([relit(out), told.view(n, 1, 1, 1).expand(-1, 1, CLOSE, CLOSE)], 1)
    return x, px(root), px(tip), label.view(-1), weight.view(-1)


@torch.no_grad()
def decoys(photo: Photo, net=None) -> torch.Tensor:
    """Places (n, 2) mm that a finder of pins might take for sites: blots, or what a sites net says."""
    dev = photo.image.device
    n = int(2 * (photo.radius + 0.35) * PX_PER_MM / 16) * 16
    c = (torch.arange(n, device=dev) - (n - 1) / 2) / PX_PER_MM
    mm = torch.stack(torch.meshgrid(c, -c, indexing="xy"), -1)
    uv = photo.px(mm)
    hh, ww = photo.image.shape[1:]
    norm = (uv + 0.5) / torch.tensor([ww, hh], device=dev) * 2 - 1
    flat = F.grid_sample(photo.image[None].float() / 255, norm[None], padding_mode="border", align_corners=False)
    flat = F.avg_pool2d(flat, 2)
    if net is None:
        grey = flat.mean(1, keepdim=True)
        heat = F.avg_pool2d((F.avg_pool2d(grey, 5, 1, 2) - F.avg_pool2d(grey, 11, 1, 5)).abs(), 2)
    else:
        heat = torch.sigmoid(F.pixel_shuffle(net(flat - 0.5)[:, :4].float(), 2))
    heat = torch.where(heat >= F.max_pool2d(heat, 3, 1, 1), heat, torch.zeros_like(heat))[0, 0]
    top, k = heat.flatten().topk(2 * DECOYS)
    k = k[top > 0.02]
    w = heat.shape[1]
    ij = torch.stack([k % w, torch.div(k, w, rounding_mode="floor")], -1).float() * 4 + 1.5
    at = (ij - (n - 1) / 2) / PX_PER_MM * torch.tensor([1.0, -1.0], device=dev)
    if len(photo.root):
        at = at[torch.cdist(at, photo.root).amin(1) > DOUBT_MM]
    return at[:DECOYS]


def frames(photo: Photo, each: int):
    """Rows for the finder's pool: image uint8 FRAME px, mask uint8 half of it, centre and slot in frame px."""
    x, mask, centre, slot = (torch.stack(t) for t in zip(*(frame(photo) for _ in range(each)), strict=True))
    return (x.clamp(0, 1) * 255 + 0.5).byte(), (mask * 255 + 0.5).byte(), centre, slot


def turned_frames(image, mask, centre, slot):
    """A batch from the pool, mirrored and turned as a whole."""
    x, m, n = image.float() / 255, mask.float() / 255, image.shape[-1] - 1
    if torch.rand(()).item() < 0.5:
        x, m = x.flip(3), m.flip(2)
        centre, slot = (torch.stack([n - p[:, 0], p[:, 1]], -1) for p in (centre, slot))
    if torch.rand(()).item() < 0.5:
        x, m = x.transpose(2, 3), m.transpose(1, 2)
        centre, slot = centre.flip(1), slot.flip(1)
    return relit(x), m, centre, slot


def frame(p: Photo):
    """The whole photo turned, mirrored and scaled; sometimes on another ground, sometimes partly covered."""
    dev = p.image.device
    t = torch.linspace(0, 2 * math.pi, 181, device=dev)[:-1]
    ring = p.px(p.radius * torch.stack([t.cos(), t.sin()], -1))
    lo, hi = ring.amin(0), ring.amax(0)
    size = float((hi - lo).amax())
    scale = FRAME / (size * (1.04 + 1.3 * torch.rand(()).item() ** 2))
    a, flip = 2 * math.pi * torch.rand(()).item(), 1.0 if torch.rand(()).item() < 0.5 else -1.0
    m = scale * torch.tensor([[math.cos(a) * flip, -math.sin(a)], [math.sin(a) * flip, math.cos(a)]], device=dev)
    there = ring @ m.T
    room = (FRAME - (there.amax(0) - there.amin(0))).clamp_min(0)
    shift = -there.amin(0) + room * torch.rand(2, device=dev)
    f = lambda q: q @ m.T + shift  # noqa: E731
    c = torch.arange(2 * FRAME, device=dev) * 0.5 - 0.25  # two samples a px each way
    grid = torch.stack(torch.meshgrid(c, c, indexing="xy"), -1)
    source = (grid - shift) @ torch.linalg.inv(m).T
    hh, ww = p.image.shape[1:]
    small = max(1, int(0.5 / scale))  # photo px for half a frame px
    image = F.avg_pool2d(p.image[None].float(), small) / 255 if small > 1 else p.image[None].float() / 255
    norm = (source + 0.5) / torch.tensor([ww // small * small, hh // small * small], device=dev) * 2 - 1
    x = F.avg_pool2d(F.grid_sample(image, norm[None], padding_mode="border", align_corners=False), 2)[0]
    edge = f(ring)
    mask = inside(edge, FRAME, dev)
    if torch.rand(()).item() < 0.35:  # another ground, with a soft shadow about the disc
        back = (
            torch.rand(3, 1, 1, device=dev)
            + 0.25 * F.interpolate(torch.randn(1, 3, 9, 9, device=dev), (FRAME, FRAME), mode="bicubic")[0]
        )
        fine = F.interpolate(torch.randn(1, 1, 90, 90, device=dev), (FRAME, FRAME), mode="bilinear")[0]
        back = back + 0.15 * torch.rand(()).item() * fine
        shade = F.avg_pool2d(F.avg_pool2d(mask[None, None], 25, 1, 12), 25, 1, 12)[0]
        back = back * (1 - 0.6 * torch.rand(()).item() * torch.roll(shade, int(torch.randint(-6, 7, ()).item()), 1))
        x = x * mask + back.clamp(0, 1) * (1 - mask)
    centre, slot = f(p.px(torch.zeros(1, 2, device=dev)))[0], f(p.px(p.slot[None]))[0]
    if torch.rand(()).item() < 0.12:  # a finger, a clamp, a sheet over the edge
        k = int(torch.randint(180, ()).item())
        u, v = edge[k].tolist()
        w, h = 15 + 40 * torch.rand(2).numpy()
        x0, x1, y0, y1 = (int(min(max(q, 0), FRAME)) for q in (u - w, u + w, v - h, v + h))
        x[:, y0:y1, x0:x1] = torch.rand(3, 1, 1, device=dev)
        mask[y0:y1, x0:x1] = 0
        if x0 - 4 < slot[0] < x1 + 4 and y0 - 4 < slot[1] < y1 + 4:
            slot = torch.full_like(slot, -99.0)
    return x, F.avg_pool2d(mask[None], 2)[0], centre, slot


def inside(ring: torch.Tensor, n: int, dev) -> torch.Tensor:
    """A convex outline (k, 2) as a soft mask (n, n)."""
    step = torch.roll(ring, -1, 0) - ring
    area = (ring[:, 0] * torch.roll(ring[:, 1], -1) - ring[:, 1] * torch.roll(ring[:, 0], -1)).sum()
    normal = torch.stack([-step[:, 1], step[:, 0]], -1) * torch.sign(area)
    normal = normal / normal.norm(dim=-1, keepdim=True)
    c = torch.arange(n, device=dev).float()
    grid = torch.stack(torch.meshgrid(c, c, indexing="xy"), -1).view(-1, 2)
    depth = (grid @ normal.T - (ring * normal).sum(-1)).amin(-1)
    return (depth + 0.5).clamp(0, 1).view(n, n)
