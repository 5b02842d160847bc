"""Trains the networks on a machine with two GPUs and many cores, in about eight minutes.

    python train.py FOLDER OUT SECONDS_MAKING SECONDS_TRAINING [sites closer finder]

FOLDER: rendered photographs with truth files (see rendered.py). Writes OUT/NAME.onnx for each.
The recipe is this file: material is made first (crops by tracer.py on both GPUs, frames and rendered crops on the
cores), then each network is trained on its own GPU for the time given. Seeds are fixed; GPU sums are not bit-exact.
"""

from __future__ import annotations

import math
import multiprocessing as mp
import sys
import time
from pathlib import Path

import nets
import numpy as np
import rendered
import torch
import torch.nn.functional as F
import tracer

POOL = Path("/dev/shm/photo_training")


def make_traced(gpu: int, seconds: float) -> None:
    torch.backends.cuda.matmul.allow_tf32 = True
    d = tracer.Draw(f"cuda:{gpu}", 100 + gpu)
    t0, out = time.time(), []
    while time.time() - t0 < seconds:
        c = tracer.make_crops(d, 40, 10)
        out.append(((c.image * 255 + 0.5).byte().cpu(), c.root.cpu(), c.tip.cpu(), c.kind.cpu()))
    torch.save([torch.cat(p) for p in zip(*out, strict=False)], POOL / f"traced{gpu}.pt")
    print("traced", gpu, sum(len(p[0]) for p in out), "crops", flush=True)


def make_rendered(worker: int, folder: str, seconds: float, with_frames: bool) -> None:
    import cv2

    cv2.setNumThreads(1)
    faces = [f for f in rendered.load_faces(Path(folder)) if f["number"] < rendered.HELD_OUT_FROM]
    rng = np.random.default_rng([7, worker])
    t0, crops, frames = time.time(), [], []
    while time.time() - t0 < seconds and len(crops) < 2200:
        for _ in range(4):
            crops.append(rendered.crop(faces[rng.integers(len(faces))], rng))
        if with_frames:
            frames.append(rendered.frame(faces, rng))
    np.savez(
        POOL / f"rendered{worker}.npz",
        **{f"c{i}": np.stack(p) for i, p in enumerate(zip(*crops, strict=False))},
        **{f"f{i}": np.stack(p) for i, p in enumerate(zip(*frames, strict=False))},
    )


def augment(image, root, tip, gpu_rng):
    """Turns and mirrors of a whole batch, and a change of light per crop."""
    s = image.shape[-1] - 1
    k, flip = int(torch.randint(4, (1,)).item()), bool(torch.randint(2, (1,)).item())
    for _ in range(k):
        image = torch.rot90(image, 1, (2, 3))
        root, tip = (torch.stack([p[..., 1], s - p[..., 0]], -1) for p in (root, tip))
    if flip:
        image = image.flip(3)
        root, tip = (torch.stack([s - p[..., 0], p[..., 1]], -1) for p in (root, tip))
    b = len(image)
    u = lambda lo, hi, *sh: lo + (hi - lo) * torch.rand(*sh, device=image.device)  # noqa: E731
    x = image.float() / 255
    x = (x * u(0.85, 1.15, b, 3, 1, 1)).clamp(1e-4, 1) ** torch.exp(0.3 * torch.randn(b, 1, 1, 1, device=x.device))
    grey = x.mean(1, keepdim=True)
    x = grey + (x - grey) * u(0.3, 1.3, b, 1, 1, 1)
    x = (x - 0.5) * u(0.7, 1.25, b, 1, 1, 1) + 0.5 + u(-0.1, 0.1, b, 1, 1, 1)
    x = x + torch.randn_like(x) * u(0, 0.03, b, 1, 1, 1) * (torch.rand(b, 1, 1, 1, device=x.device) < 0.5)
    return x.clamp(0, 1) - 0.5, root, tip


def halved(x, root, tip):
    """The crop at the sites net's own scale, half of the closer net's."""
    return F.avg_pool2d(x, 2), (root + 0.5) / 2 - 0.5, (tip + 0.5) / 2 - 0.5


def sites_loss(y, root, tip, kind):
    """Heat by focal loss, kind by cross entropy, root and tip by a Gaussian likelihood with its own sigma."""
    b, _, h, w = y.shape
    heat = F.pixel_shuffle(y[:, :4], 2)
    c2 = (torch.arange(2 * h, device=y.device) + 0.5) * 2 - 0.5
    on = (kind >= 0)[..., None, None]
    d2 = (root[..., 0, None, None] - c2[None, None, None, :]) ** 2 + (
        root[..., 1, None, None] - c2[None, None, :, None]
    ) ** 2
    g = torch.where(on, torch.exp(-d2 / (2 * 1.9**2)), torch.zeros_like(d2)).amax(1)
    p = torch.sigmoid(heat[:, 0].float()).clamp(1e-5, 1 - 1e-5)
    peak = torch.where(on, d2, torch.full_like(d2, 1e9)).amin(1) < 1.5**2
    pos = peak & (g > 0.6)
    count = (kind >= 0).sum().clamp_min(1)
    heat_loss = -(torch.where(pos, (1 - p) ** 2 * torch.log(p), (1 - g) ** 4 * p**2 * torch.log(1 - p))).sum() / count
    c4 = (torch.arange(h, device=y.device) + 0.5) * 4 - 0.5
    e2 = (root[..., 0, None, None] - c4[None, None, None, :]) ** 2 + (
        root[..., 1, None, None] - c4[None, None, :, None]
    ) ** 2
    e2 = torch.where(on, e2, torch.full_like(e2, 1e9))
    near, which = e2.min(1)
    use = near < 4.5**2
    pick = lambda p: p.gather(1, which.view(b, -1)[..., None].expand(-1, -1, 2)).view(b, h, w, 2)  # noqa: E731
    r, t = pick(root), pick(tip)
    k = kind.gather(1, which.view(b, -1)).view(b, h, w)[use]
    cell = torch.stack(torch.meshgrid(c4, c4, indexing="xy"), -1)[None]
    out = y.permute(0, 2, 3, 1).float()
    kind_loss = F.cross_entropy(out[..., 4:7][use], k, weight=torch.tensor([1.0, 2.0, 2.0], device=y.device))
    er = (out[..., 7:9] * 4 + cell - r)[use]
    et = (out[..., 9:11] * 8 - (t - r))[use]
    nll = 0
    for e, s in ((er, out[..., 11][use]), (et, out[..., 12][use])):
        s = s.clamp(-4, 3)[:, None]
        z = e / torch.exp(s)
        nll = nll + (2.5 * torch.log1p(z**2 / 4) + s).mean() * 2 + 0.3 * e.abs().mean()
    return heat_loss + kind_loss + 0.5 * nll, (
        heat_loss.detach(),
        kind_loss.detach(),
        er.detach().pow(2).mean().sqrt(),
        et.detach().pow(2).mean().sqrt(),
    )


def started(net, folder: Path, name: str):
    """The network, going on from FOLDER/../start/NAME.pt where there is one."""
    path = folder.parent / "start" / f"{name}.pt"
    if path.exists():
        net.load_state_dict(torch.load(path, map_location="cpu"))
        print(name, "goes on from", path, flush=True)
    return net


def schedule(t: float, peak: float) -> float:
    return peak * min(1.0, t / 0.05) * (0.5 * (1 + math.cos(math.pi * min(t, 1.0))) + 0.002)


def train_sites(out: Path, folder: Path, seconds: float, device: str) -> None:
    torch.manual_seed(1)
    pool, pair = load_pool(device)
    print("sites: traced", len(pool[0]), "rendered", len(pair[0]), flush=True)
    half = seconds
    net = started(nets.Sites(16, 40), folder, "sites").to(device, memory_format=torch.channels_last)
    ema = {k: v.detach().clone() for k, v in net.state_dict().items()}
    opt = torch.optim.AdamW(net.parameters(), lr=1e-3, weight_decay=1e-2)
    t0, step, logs = time.time(), 0, []
    while (t := (time.time() - t0) / half) < 1:
        for g in opt.param_groups:
            g["lr"] = schedule(t, 1.5e-3)
        losses = 0
        opt.zero_grad(set_to_none=True)
        for source, n in ((pool, 192), (pair, 160)):
            i = torch.randint(len(source[0]), (n,), device=device)
            x, root, tip = augment(source[0][i], source[1][i].float(), source[2][i].float(), None)
            x, root, tip = halved(x, root, tip)
            with torch.autocast("cuda", torch.bfloat16):
                y = net(x.to(memory_format=torch.channels_last))
            loss, log = sites_loss(y.float(), root, tip, source[3][i])
            losses = losses + loss
            logs.append(torch.stack(log))
        losses.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        opt.step()
        step += 1
        with torch.no_grad():
            for k, v in net.state_dict().items():
                ema[k].copy_(v) if not v.is_floating_point() or step < 200 else ema[k].lerp_(v, 0.005)
        if step % 500 == 0:
            m = torch.stack(logs[-400:]).view(-1, 2, 4).mean(0)
            print("sites", step, round(time.time() - t0), [[round(float(v), 3) for v in r] for r in m], flush=True)
    net.load_state_dict(ema)
    net.eval()
    held_out_sites(net, folder, device)
    export(net, out / "sites.onnx", 256)
    torch.save(net.state_dict(), out / "sites.pt")


@torch.no_grad()
def held_out_sites(net, folder: Path, device: str) -> None:
    faces = [f for f in rendered.load_faces(folder) if f["number"] >= rendered.HELD_OUT_FROM]
    rng = np.random.default_rng(5)
    got = [rendered.crop(f, rng) for f in faces for _ in range(120)]
    x = torch.from_numpy(np.stack([g[0] for g in got]).copy()).permute(0, 3, 1, 2).to(device).float() / 255 - 0.5
    root, tip, kind = (torch.from_numpy(np.stack([g[i] for g in got])).to(device) for i in (1, 2, 3))
    x, root, tip = halved(x, root.float(), tip.float())
    y = torch.cat([net(x[i : i + 256]).float() for i in range(0, len(x), 256)])
    _, log = sites_loss(y, root, tip, kind)
    print("held out: heat, kind, root rms px, tip rms px", [round(float(v), 3) for v in log], flush=True)


CLOSE = 64  # px of the closer net's crop
MEANT_PX = 5.5  # a site this near the crop's middle is the one meant
DOUBT_PX = 9.0  # up to here it may or may not be: no opinion is asked


def close_ups(image, root, tip, kind, per: int):
    """`per` crops of each source crop, turned, scaled and mirrored at random: half about sites, half elsewhere.

    Elsewhere: at spots that stand out (where a finder of blobs would be fooled), beside sites (shadows, tips)
    or anywhere.
    """
    b, _, s, _ = image.shape
    dev = image.device
    on = kind >= 0
    inside = on & (root > 8).all(-1) & (root < s - 9).all(-1)
    # places about sites
    pick = torch.multinomial(inside.float() + 1e-6, per, replacement=True)
    at = root.gather(1, pick[..., None].expand(-1, -1, 2))
    away = torch.rand(b, per, 1, device=dev) * 2 * math.pi
    way = torch.cat([away.cos(), away.sin()], -1)
    some = torch.rand(b, per, 1, device=dev)
    jitter = way * 5.0 * torch.rand(b, per, 1, device=dev).sqrt()
    beside = way * (9.0 + 20.0 * torch.rand(b, per, 1, device=dev))
    t_at = tip.gather(1, pick[..., None].expand(-1, -1, 2))
    # places that stand out
    grey = image.mean(1, keepdim=True)
    dog = (F.avg_pool2d(grey, 7, 1, 3) - F.avg_pool2d(grey, 17, 1, 8)).abs()[:, 0]
    dog[:, :12], dog[:, -12:], dog[:, :, :12], dog[:, :, -12:] = 0, 0, 0, 0
    flat = (dog**2).flatten(1) + 1e-9
    k = torch.multinomial(flat, per, replacement=True)
    blob = torch.stack([k % s, torch.div(k, s, rounding_mode="floor")], -1).float()
    anywhere = 10 + (s - 20) * torch.rand(b, per, 2, device=dev)
    place = torch.where(
        some < 0.55,
        at + jitter,
        torch.where(
            some < 0.66, at + beside, torch.where(some < 0.72, t_at + jitter, torch.where(some < 0.93, blob, anywhere))
        ),
    )
    # which site, if any, is meant
    d = torch.linalg.norm(place[:, :, None] - root[:, None], dim=-1)
    d = torch.where(on[:, None], d, torch.full_like(d, 1e9))
    near, which = d.min(-1)
    label = torch.where(near < MEANT_PX, kind.gather(1, which), torch.full_like(which, 3))
    weight = ((near < MEANT_PX) | (near > DOUBT_PX)).float()
    r = root.gather(1, which[..., None].expand(-1, -1, 2))
    t = tip.gather(1, which[..., None].expand(-1, -1, 2))
    n = b * per
    a = torch.rand(n, device=dev) * 2 * math.pi
    size = torch.exp(0.06 * torch.randn(n, device=dev))
    flip = torch.where(torch.rand(n, device=dev) < 0.5, -1.0, 1.0)
    m = (
        torch.stack([torch.stack([a.cos() * flip, -a.sin()], -1), torch.stack([a.sin() * flip, a.cos()], -1)], 1)
        * size[:, None, None]
    )
    c = torch.arange(CLOSE, device=dev) - (CLOSE - 1) / 2
    grid = torch.stack(torch.meshgrid(c, c, indexing="xy"), -1).view(1, -1, 2)  # crop px from its middle
    source = grid @ m.transpose(1, 2) + place.view(n, 1, 2)  # source px = M crop px + place
    norm = (source + 0.5) / s * 2 - 1
    norm = norm.view(b, per * CLOSE, CLOSE, 2)
    out = F.grid_sample(image, norm, mode="bilinear", padding_mode="reflection", align_corners=False)
    out = out.view(b, 3, per, CLOSE, CLOSE).permute(0, 2, 1, 3, 4).reshape(n, 3, CLOSE, CLOSE)
    back = torch.linalg.inv(m)
    r = ((r - place).view(n, 1, 2) @ back.transpose(1, 2))[:, 0]
    t = ((t - place).view(n, 1, 2) @ back.transpose(1, 2))[:, 0]
    return out, r, t, label.view(-1), weight.view(-1)


def closer_loss(y, root, tip, label, weight):
    ce = F.cross_entropy(y[:, :4], label, reduction="none", label_smoothing=0.01)
    kind = (ce * weight).sum() / weight.sum().clamp_min(1)
    on = (label < 3) & (weight > 0)
    er = (y[:, 4:6] * 4 - root)[on]
    et = (y[:, 6:8] * 8 - (tip - root))[on]
    nll = 0
    for e, s in ((er, y[:, 8][on]), (et, y[:, 9][on])):
        s = s.clamp(-4, 3)[:, None]
        z = e / torch.exp(s)
        nll = nll + (2.5 * torch.log1p(z**2 / 4) + s).mean() * 2 + 0.3 * e.abs().mean()
    right = ((y[:, :4].argmax(1) == label).float() * weight).sum() / weight.sum()
    return 2.0 * kind + nll, torch.stack(
        [kind.detach(), right, er.detach().pow(2).mean().sqrt(), et.detach().pow(2).mean().sqrt()]
    )


def load_pool(device: str):
    parts = [torch.load(POOL / f"traced{g}.pt") for g in (0, 1)]
    pool = [torch.cat([p[i] for p in parts]) for i in range(4)]
    more = [np.load(f) for f in sorted(POOL.glob("rendered*.npz"))]
    pair = [torch.from_numpy(np.concatenate([m[f"c{i}"] for m in more])) for i in range(4)]
    pair[0] = pair[0].permute(0, 3, 1, 2).contiguous()
    return [p.to(device) for p in pool], [p.to(device) for p in pair]


def train_closer(out: Path, folder: Path, seconds: float, device: str) -> None:
    torch.manual_seed(3)
    pool, pair = load_pool(device)
    net = started(nets.Closer(), folder, "closer").to(device, memory_format=torch.channels_last)
    ema = {k: v.detach().clone() for k, v in net.state_dict().items()}
    opt = torch.optim.AdamW(net.parameters(), lr=1e-3, weight_decay=2e-2)
    t0, step, logs = time.time(), 0, []
    while (t := (time.time() - t0) / seconds) < 1:
        for g in opt.param_groups:
            g["lr"] = schedule(t, 1.2e-3)
        opt.zero_grad(set_to_none=True)
        total = 0
        for source, n in ((pool, 72), (pair, 72)):
            i = torch.randint(len(source[0]), (n,), device=device)
            x, root, tip = augment(source[0][i], source[1][i].float(), source[2][i].float(), None)
            x, root, tip, label, weight = close_ups(x, root, tip, source[3][i], 8)
            with torch.autocast("cuda", torch.bfloat16):
                y = net(x.to(memory_format=torch.channels_last))
            loss, log = closer_loss(y.float(), root, tip, label, weight)
            total = total + loss
            logs.append(log)
        total.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        opt.step()
        step += 1
        with torch.no_grad():
            for k, v in net.state_dict().items():
                ema[k].copy_(v) if not v.is_floating_point() or step < 200 else ema[k].lerp_(v, 0.003)
        if step % 500 == 0:
            m = torch.stack(logs[-400:]).view(-1, 2, 4).mean(0)
            print("closer", step, round(time.time() - t0), [[round(float(v), 3) for v in r] for r in m], flush=True)
    net.load_state_dict(ema)
    net.eval()
    with torch.no_grad():
        faces = [f for f in rendered.load_faces(folder) if f["number"] >= rendered.HELD_OUT_FROM]
        rng = np.random.default_rng(5)
        got = [rendered.crop(f, rng) for f in faces for _ in range(150)]
        x = torch.from_numpy(np.stack([g[0] for g in got]).copy()).permute(0, 3, 1, 2).to(device).float() / 255 - 0.5
        root, tip, kind = (torch.from_numpy(np.stack([g[i] for g in got])).to(device) for i in (1, 2, 3))
        x, root, tip, label, weight = close_ups(x, root.float(), tip.float(), kind, 6)
        y = torch.cat([net(x[i : i + 512]).float() for i in range(0, len(x), 512)])
        _, log = closer_loss(y, root, tip, label, weight)
        print("held out closer: kind, right, root rms px, tip rms px", [round(float(v), 3) for v in log], flush=True)
    net = net.cpu().float().to(memory_format=torch.contiguous_format)
    torch.onnx.export(
        net,
        torch.zeros(1, 3, CLOSE, CLOSE),
        str(out / "closer.onnx"),
        dynamo=False,
        opset_version=13,
        input_names=["x"],
        output_names=["y"],
        dynamic_axes={"x": {0: "n"}, "y": {0: "n"}},
    )
    torch.save(net.state_dict(), out / "closer.pt")


def finder_loss(y, mask, centre, datum):
    n = y.shape[-1]
    c = (torch.arange(n, device=y.device) + 0.5) * 2 - 0.5
    loss = F.binary_cross_entropy_with_logits(y[:, 0], mask)
    logs = [loss.detach()]
    for i, at in ((1, centre), (2, datum)):
        d2 = (at[:, 0, None, None] - c[None, None, :]) ** 2 + (at[:, 1, None, None] - c[None, :, None]) ** 2
        g = torch.exp(-d2 / (2 * 3.0**2))
        p = torch.sigmoid(y[:, i]).clamp(1e-5, 1 - 1e-5)
        pos = d2 < 1.6**2
        term = -(torch.where(pos, (1 - p) ** 2 * torch.log(p), (1 - g) ** 4 * p**2 * torch.log(1 - p))).sum() / len(y)
        loss = loss + 0.05 * term
        logs.append(term.detach())
    return loss, torch.stack(logs)


def train_finder(out: Path, seconds: float, device: str) -> None:
    torch.manual_seed(2)
    more = [np.load(f) for f in sorted(POOL.glob("rendered*.npz"))]
    image, mask, centre, datum = (torch.from_numpy(np.concatenate([m[f"f{i}"] for m in more])) for i in range(4))
    image, mask = image.to(device), mask.to(device)
    centre, datum = centre.to(device), datum.to(device)
    print("finder: frames", len(image), flush=True)
    net = nets.Finder().to(device, memory_format=torch.channels_last)
    opt = torch.optim.AdamW(net.parameters(), lr=1e-3, weight_decay=2e-2)
    t0, step, logs = time.time(), 0, []
    while (t := (time.time() - t0) / seconds) < 1:
        for g in opt.param_groups:
            g["lr"] = schedule(t, 2e-3)
        i = torch.randint(len(image), (128,), device=device)
        x = image[i].permute(0, 3, 1, 2).float() / 255
        m, c, d = mask[i].float() / 255, centre[i], datum[i]
        if torch.rand(1).item() < 0.5:
            x, m = x.flip(3), m.flip(2)
            c, d = (torch.stack([255 - p[:, 0], p[:, 1]], -1) for p in (c, d))
        if torch.rand(1).item() < 0.5:
            x, m = x.transpose(2, 3), m.transpose(1, 2)
            c, d = c.flip(1), d.flip(1)
        b = len(x)
        x = (x * (0.85 + 0.3 * torch.rand(b, 3, 1, 1, device=device))).clamp(0, 1) ** torch.exp(
            0.25 * torch.randn(b, 1, 1, 1, device=device)
        )
        with torch.autocast("cuda", torch.bfloat16):
            y = net((x - 0.5).to(memory_format=torch.channels_last))
        loss, log = finder_loss(y.float(), m, c, d)
        opt.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        opt.step()
        logs.append(log)
        step += 1
        if step % 500 == 0:
            print(
                "finder",
                step,
                round(time.time() - t0),
                [round(float(v), 4) for v in torch.stack(logs[-300:]).mean(0)],
                flush=True,
            )
    net.eval()
    export(net, out / "finder.onnx", 256)


def export(net, path: Path, side: int) -> None:
    net = net.cpu().float().to(memory_format=torch.contiguous_format)
    torch.onnx.export(
        net,
        torch.zeros(1, 3, side, side),
        str(path),
        dynamo=False,
        opset_version=13,
        input_names=["x"],
        output_names=["y"],
        dynamic_axes={"x": {2: "h", 3: "w"}, "y": {2: "oh", 3: "ow"}},
    )


def main() -> None:
    folder, out = Path(sys.argv[1]), Path(sys.argv[2])
    making, training = float(sys.argv[3]), float(sys.argv[4])
    wanted = sys.argv[5:] or ["sites", "closer", "finder"]
    POOL.mkdir(parents=True, exist_ok=True)
    ctx = mp.get_context("spawn")
    makers = [ctx.Process(target=make_traced, args=(g, making)) for g in (0, 1)]
    makers += [ctx.Process(target=make_rendered, args=(w, str(folder), making, "finder" in wanted)) for w in range(26)]
    for p in makers:
        p.start()
    for p in makers:
        p.join()
    train = {
        "sites": (train_sites, (out, folder, training, "cuda:0")),
        "closer": (train_closer, (out, folder, training, "cuda:1")),
        "finder": (train_finder, (out, training, "cuda:1")),
    }
    jobs = [ctx.Process(target=train[name][0], args=train[name][1]) for name in wanted]
    for p in jobs:
        p.start()
    for p in jobs:
        p.join()


if __name__ == "__main__":
    main()
