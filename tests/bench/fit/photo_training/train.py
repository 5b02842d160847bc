"""Renders faces and trains the networks on them at once, on a machine with one or two GPUs and many cores.

    python train.py OUT SECONDS RENDERING FACES SEED [FOLDER ...] [--only NAME ...]
        [--start FOLDER] [--held N] [--late NAME ...] [--keep SECONDS] [--lux N] [--without RENDERER ...]

SECONDS in all; RENDERING: how many of them faces are rendered, FACES at most; SEED of the faces. FOLDER: more pictures
with truth files. --only: sites, closer or finder. --start: go on from its NAME.pt, as far as its shapes are the same.
--late: those begin when the rendering is over. --held: also render N faces of each of four other seeds, with truth,
into OUT/held/a to d (c mostly under hard lamps); they are never trained on. Writes OUT/NAME.onnx and OUT/NAME.pt,
and every --keep seconds OUT/NAME-kept.pt. --lux: of the workers, so many render with LuxCore. --without: mitsuba,
luxcore or traced (tracer.py's crops): material that this run leaves out, to see what the networks know of a renderer
that they never saw. --workers 0: only train on what is there; --only with no name: only render. Sums on GPUs are not
bit-exact.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing as mp
import os
import time
from pathlib import Path

from make_faces import RENDERERS

POOL = Path(os.environ.get("POOL", "/dev/shm/photo_training"))
HELD_SEEDS = {"a": 801, "b": 802, "c": 803, "d": 804}
FEWEST_FACES = 100
FIELDS, MOST_FACES = 56, 3000  # pieces of each face in the pool: about its area once; room for so many faces
PEAK = {"sites": 2.5e-3, "closer": 2.0e-3, "finder": 2.0e-3}


def make_traced(gpu: int, device: str, seconds: float) -> None:
    """Traced crops of tracer.py into the pool."""
    import torch
    import tracer

    torch.backends.cuda.matmul.allow_tf32 = True
    d = tracer.Draw(device, 500 + gpu)
    t0, out = time.time(), []
    while time.time() - t0 < seconds:
        c = tracer.make_crops(d, 40 if device != "cpu" else 2, 10 if device != "cpu" else 2)
        out.append(((c.image * 255 + 0.5).byte().cpu(), c.root.cpu(), c.tip.cpu(), c.kind.cpu(), c.slant.cpu()))
    part = POOL / f"traced{gpu}.part"
    torch.save([torch.cat(p) for p in zip(*out, strict=True)], part)
    part.rename(POOL / f"traced{gpu}.pt")
    print("traced", gpu, sum(len(p[0]) for p in out), "crops", flush=True)


def schedule(t: float, peak: float) -> float:
    """Cosine, over the part t of the time."""
    return peak * min(1.0, t / 0.04) * (0.5 * (1 + math.cos(math.pi * min(t, 1.0))) + 0.002)


class Trainer:
    """One network: its material, its steps, its running mean of weights."""

    def __init__(self, name: str, args: argparse.Namespace, device: str) -> None:
        import nets
        import torch
        from store import Store

        torch.manual_seed({"sites": 1, "closer": 3, "finder": 2}[name])
        torch.backends.cudnn.benchmark = True
        self.name, self.args, self.device, self.torch = name, args, device, torch
        self.net = {"sites": nets.Sites, "closer": nets.Closer, "finder": nets.Finder}[name]()
        if args.start and (path := Path(args.start) / f"{name}.pt").exists():
            self.go_on_from(path)
        self.net.to(device)
        self.scout = None
        if args.start and (path := Path(args.start) / "sites.pt").exists():
            self.scout = nets.Sites().to(device)
            self.scout.load_state_dict(torch.load(path, map_location=device))
            self.scout.eval()
        most = int(min(MOST_FACES, args.faces + 100)) * (14 if name == "finder" else FIELDS)
        skip = tuple(RENDERERS[name] for name in args.without if name in RENDERERS)
        self.store = Store([POOL, *map(Path, args.folders)], device, self.cut, most, skip)
        self.traced = None

    def go_on_from(self, path: Path) -> None:
        """Weights whose shapes fit; the others stay as drawn."""
        old, own = self.torch.load(path, map_location="cpu"), self.net.state_dict()
        fits = {k: v for k, v in old.items() if k in own and v.shape == own[k].shape}
        self.net.load_state_dict(fits, strict=False)
        print(self.name, "goes on from", path, len(fits), "of", len(own), flush=True)

    def cut(self, photo):
        """A photo's rows in the pool."""
        import material as mt

        if self.name == "finder":
            return mt.frames(photo, 14)
        return mt.fields(photo, FIELDS, self.scout)

    def traced_batch(self, n: int):
        """n traced crops, or None as long as there are none."""
        if "traced" in self.args.without:
            return None
        if self.traced is None:
            paths = sorted(POOL.glob("traced*.pt"))
            if not paths or len(paths) < self.args.gpus * bool(self.args.tracing):
                return None
            parts = [self.torch.load(p) for p in paths]
            self.traced = [self.torch.cat([p[i] for p in parts]).to(self.device) for i in range(5)]
        i = self.torch.randint(len(self.traced[0]), (n,), device=self.device)
        image, root, tip, kind, slant = (a[i] for a in self.traced)
        return image, root.float(), tip.float(), kind, slant.float()

    def losses(self):
        """[(loss, log)] of one step."""
        import losses
        import material as mt

        n = lambda count: max(2, int(count * self.args.scale))  # noqa: E731
        if self.name == "finder":
            parts = [mt.turned_frames(*self.store.some(n(128)))]
            loss = losses.finder_loss
        elif self.name == "sites":
            fields, loss = [self.store.some(n(160))[:4]], losses.sites_loss
            if crops := self.traced_batch(n(96)):
                fields.append(crops[:4])
            parts = []
            for image, root, tip, kind in fields:
                x, root, tip, kind = mt.halved(image.float() / 255, root, tip, kind)
                x, root, tip = mt.turned(mt.relit(x, 0.5), root, tip)
                parts.append((x, root, tip, kind))
        else:
            parts, loss = [mt.close_ups(*mt.lit(self.store.some(n(112))), 10)], losses.closer_loss
            if crops := self.traced_batch(n(48)):
                parts.append(mt.close_ups(*mt.lit((*crops[:4], None, crops[4])), 8))
        out = []
        for x, *truth in parts:
            with self.torch.autocast("cuda", self.torch.bfloat16, enabled=self.device != "cpu"):
                y = self.net(x.contiguous(memory_format=self.torch.channels_last))
            out.append(loss(y.float(), *truth))
        return out

    def run(self, until: float) -> None:
        torch = self.torch
        self.store.wait_for(self.args.fewest, until - 60)
        start, step, logs = time.time(), 0, []
        kept = start
        self.net.to(memory_format=torch.channels_last)
        running = [b for b in self.net.buffers() if b.is_floating_point()]
        mean = [v.detach().clone() for v in [*self.net.parameters(), *running]]
        opt = torch.optim.AdamW(self.net.parameters(), lr=1e-3, weight_decay=2e-2, fused=self.device != "cpu")
        while (t := (time.time() - start) / max(until - start, 1)) < 1:
            for g in opt.param_groups:
                g["lr"] = schedule(t, self.args.peak * PEAK[self.name])
            opt.zero_grad(set_to_none=True)
            got = self.losses()
            sum(loss for loss, _ in got).backward()
            torch.nn.utils.clip_grad_norm_(self.net.parameters(), 5.0)
            opt.step()
            logs.append(torch.stack([log for _, log in got] + [got[0][1]] * (2 - len(got))))
            step += 1
            keep = 0.005 if step > 300 else 0.05
            with torch.no_grad():
                torch._foreach_lerp_(mean, list(self.net.parameters()) + running, keep)
            if self.args.keep and time.time() - kept > self.args.keep:
                kept = time.time()
                self.keep_weights(mean, running)
            if step % 500 == 0 or step == 5:
                m = torch.stack(logs[-400:]).mean(0)
                said = [[round(float(v), 3) for v in row] for row in m]
                print(self.name, step, f"{time.time() - start:.0f} s", self.store.photos, "faces", said, flush=True)
                logs = logs[-400:]
        self.store.stop = True
        with torch.no_grad():
            for v, m in zip([*self.net.parameters(), *running], mean, strict=True):
                v.copy_(m)
        self.export()

    def keep_weights(self, mean, running) -> None:
        """The running mean of the weights as it stands, half precision."""
        names = [n for n, _ in self.net.named_parameters()]
        names += [n for n, b in self.net.named_buffers() if b.is_floating_point()]
        path = Path(self.args.out) / f"{self.name}-kept.part"
        self.torch.save({n: m.half().cpu() for n, m in zip(names, mean, strict=True)}, path)
        path.rename(path.with_suffix(".pt"))

    def export(self) -> None:
        torch, out = self.torch, Path(self.args.out)
        net = self.net.eval().cpu().float().to(memory_format=torch.contiguous_format)
        torch.save(net.state_dict(), out / f"{self.name}.pt")
        side = 48 if self.name == "closer" else 256
        axes = (
            {"x": {0: "n"}, "y": {0: "n"}}
            if self.name == "closer"
            else {"x": {2: "h", 3: "w"}, "y": {2: "oh", 3: "ow"}}
        )
        like = torch.zeros(1, 4 if self.name == "closer" else 3, side, side)
        torch.onnx.export(
            net, like, str(out / f"{self.name}.onnx"), dynamo=False, opset_version=13,
            input_names=["x"], output_names=["y"], dynamic_axes=axes,
        )  # fmt: skip
        print(self.name, "written", flush=True)


def train(name: str, args: argparse.Namespace, device: str, until: float, begin: float) -> None:
    time.sleep(max(0.0, begin - time.time()))
    Trainer(name, args, device).run(until)


def main() -> None:
    ask = argparse.ArgumentParser()
    for name, kind in (("out", str), ("seconds", float), ("rendering", float), ("faces", int), ("seed", int)):
        ask.add_argument(name, type=kind)
    ask.add_argument("folders", nargs="*")
    ask.add_argument("--only", nargs="*", default=["sites", "closer", "finder"])
    ask.add_argument("--start")
    ask.add_argument("--late", nargs="+", default=[])
    ask.add_argument("--keep", type=float, default=0.0)
    ask.add_argument("--held", type=int, default=0)
    ask.add_argument("--samples", type=int, default=18)
    ask.add_argument("--workers", type=int, default=26)
    ask.add_argument("--lux", type=int, default=0)
    ask.add_argument("--without", nargs="+", default=[])
    ask.add_argument("--fewest", type=int, default=FEWEST_FACES)
    ask.add_argument("--tracing", type=float, default=75)
    ask.add_argument("--peak", type=float, default=1.0, help="of the learning rate; less to go on from trained weights")
    ask.add_argument("--scale", type=float, default=1.0, help="of the batches, for a trial on a processor")
    args = ask.parse_args()
    import torch

    args.gpus = max(1, torch.cuda.device_count())
    cuda = torch.cuda.is_available()
    begun = time.time()
    until = begun + args.seconds
    out = Path(args.out)
    for folder in (POOL, out, *(out / "held" / name for name in HELD_SEEDS)):
        folder.mkdir(parents=True, exist_ok=True)
    from make_faces import work

    ctx = mp.get_context("spawn")
    # GPUs are named by number from here on: each process sees all of them but a renderer only its own.
    jobs, some = [], args.workers
    for k in range(some):
        gpu = k % args.gpus if cuda else None
        jobs.append(ctx.Process(target=render, args=(k, some, args, gpu, begun + args.rendering, out, work)))
    for k in range(args.gpus if args.tracing else 0):
        jobs.append(ctx.Process(target=make_traced, args=(k, f"cuda:{k}" if cuda else "cpu", args.tracing)))
    place = {"sites": 1 % args.gpus, "closer": 0, "finder": 1 % args.gpus}
    for name in args.only:
        device = f"cuda:{place[name]}" if cuda else "cpu"
        wait = args.rendering if name in args.late else 0
        jobs.append(ctx.Process(target=train, args=(name, args, device, until, begun + wait)))
    for job in jobs:
        job.start()
    for job in jobs:
        job.join()
    made = {name: len(list(POOL.glob(f"{letter}*.npz"))) for name, letter in RENDERERS.items()}
    print("in all", round(time.time() - begun), "s,", made, flush=True)


def render(k: int, workers: int, args, gpu, until: float, out: Path, work) -> None:
    """One worker: first its share of the held-out faces, then of those to train on. The trainers go first."""
    os.nice(8)
    renderer = "luxcore" if k < args.lux else "mitsuba"
    first, some = (0, args.lux) if renderer == "luxcore" else (args.lux, workers - args.lux)
    for place, (name, seed) in enumerate(HELD_SEEDS.items()):
        numbers = range((k - first - place * args.held) % some, args.held, some)
        work(out / "held" / name, numbers, seed, 32, True, gpu, until, renderer)
    (out / "held" / f"done{k}").touch()
    work(POOL, range(k, args.faces, workers), args.seed, args.samples, False, gpu, until, renderer)


if __name__ == "__main__":
    main()
