"""The photo reader against the truth, disc by disc, with its bars; and general finders from the registries beside it.

    python -m tests.bench.measure.read FOLDER [FOLDER ...] [--peers] [--degrade] [--names p1,p2] [--turned] [--nets DIR]

A folder holds NAME.json (truth: disc, pins, photos) beside its photographs, as the development set and the sample do
(samples/first-disc with truth.json). Rendered faces that training never saw go into a folder of their own. --turned:
each face is turned onto the truth by its pins, so that a slot misread does not count. --nets: another training run's
sites.onnx and closer.onnx, with finder.onnx beside them.

Position error is the length of the error vector in the face's plane (r.m.s. over sound pins); shift is the largest
component of its mean on a face. Sites pair with true ones within 0.25 mm, each once. Seconds are processor seconds
(user and system, all threads), which a busy machine disturbs less than a clock; wall time is given beside them.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

from disc.errors import BadInput
from disc.frame import to_xy_mm
from disc.photo.image import Photo, load_photo, opencv
from disc.photo.marks import networks
from disc.photo.read_face import read_face
from disc.photo.read_faces import read_faces
from disc.records import Pin, Plate, Side, Turns
from tests.bench.truth.known import known

REACH_MM = 0.25
F1_BARS = {"p6": 0.98, "p7": 0.97, "p8": 0.98}
RMS_BARS = {"p1": 0.02, "p2": 0.02, "p3": 0.02}
SHIFT_BAR_MM = 0.015


@dataclass
class Score:
    """What is counted over faces."""

    found: int = 0
    said: int = 0
    true: int = 0
    errors: list[Any] = field(default_factory=list)
    ratios: list[float] = field(default_factory=list)
    shifts: list[float] = field(default_factory=list)
    pairs: Counter[tuple[str, str]] = field(default_factory=Counter)
    cpu_s: float = 0.0
    wall_s: float = 0.0
    decode_cpu_s: float = 0.0
    decode_wall_s: float = 0.0

    @property
    def f1(self) -> float:
        return 2 * self.found / max(self.said + self.true, 1)

    @property
    def rms_mm(self) -> float:
        return float(np.sqrt(np.mean(np.sum(np.array(self.errors) ** 2, 1)))) if self.errors else float("nan")

    def within(self, sigmas: float) -> float:
        return float(np.mean(np.array(self.ratios) < sigmas)) if self.ratios else float("nan")

    def add(self, other: Score) -> None:
        for name in ("found", "said", "true", "cpu_s", "wall_s", "decode_cpu_s", "decode_wall_s"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        for name in ("errors", "ratios", "shifts"):
            getattr(self, name).extend(getattr(other, name))
        self.pairs.update(other.pairs)


def pair_up(said: Any, true: Any) -> list[tuple[int, int]]:
    """Index pairs within reach, each used once."""
    if not len(said) or not len(true):
        return []
    gap = np.linalg.norm(said[:, None] - true[None], axis=2)
    i, j = linear_sum_assignment(np.minimum(gap, 2 * REACH_MM))
    return [(int(a), int(b)) for a, b in zip(i, j, strict=True) if gap[a, b] < REACH_MM]


def xy(pins: list[Any]) -> Any:
    get: Callable[[Any, str], float] = (lambda p, k: p[k]) if pins and isinstance(pins[0], dict) else getattr
    return np.array([to_xy_mm(get(p, "r_mm"), get(p, "theta_deg")) for p in pins]).reshape(-1, 2)


def turned_onto(said: Any, real: Any) -> Any:
    """Places (n, 2) about the arbor turned so that most of them lie within reach of the true ones (m, 2)."""
    if not len(said) or not len(real):
        return said

    def near(deg: float) -> float:
        a = np.radians(deg)
        there = said @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
        gap = np.linalg.norm(there[:, None] - real[None], axis=2).min(1)
        return float(np.sum(np.exp(-((gap / (0.4 * REACH_MM)) ** 2))))

    coarse = max(np.arange(0.0, 360.0, 0.3), key=near)
    a = np.radians(max(coarse + np.arange(-0.4, 0.41, 0.02), key=near))
    return said @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])


def score_face(pins: Sequence[Pin], true: list[dict[str, Any]], turned: bool = False) -> Score:
    said, real = xy(list(pins)), xy(true)
    said = turned_onto(said, real) if turned else said
    pairs = pair_up(said, real)
    score = Score(len(pairs), len(said), len(real))
    sound = [(i, j) for i, j in pairs if true[j]["condition"] == "sound"]
    for i, j in sound:
        error = said[i] - real[j]
        score.errors.append(error)
        score.ratios.extend(np.abs(error) / known(pins[i].sigma_mm, "the sigma of a place"))
    if sound:
        score.shifts.append(float(np.abs(np.mean(score.errors, 0)).max()))
    score.pairs.update((true[j]["condition"], pins[i].condition.value) for i, j in pairs)
    score.pairs.update((true[j]["condition"], "-") for j in set(range(len(true))) - {j for _, j in pairs})
    score.pairs.update(("-", pins[i].condition.value) for i in set(range(len(said))) - {i for i, _ in pairs})
    return score


def score_disc(folder: Path, truth: dict[str, Any], turned: bool = False) -> Score:
    """Both faces read together, as `disc read` does."""
    disc = truth["disc"]
    plate = Plate(disc["diameter_mm"], Turns(disc["turns"]))
    total = Score()
    wall, cpu = time.perf_counter(), time.process_time()
    photos = [(load_photo(folder / p["file"]), Side(p["side"])) for p in truth["photos"]]
    total.decode_wall_s, total.decode_cpu_s = time.perf_counter() - wall, time.process_time() - cpu
    readings = read_faces(photos, plate)
    total.wall_s, total.cpu_s = time.perf_counter() - wall, time.process_time() - cpu
    for reading in readings:
        true = [p for p in truth["pins"] if p["side"] == reading.view.side.value]
        total.add(score_face(reading.pins, true, turned))
    return total


def show(name: str, score: Score) -> None:
    shift = max(score.shifts, default=float("nan"))
    f1_bar, rms_bar = F1_BARS.get(name, 0.99), RMS_BARS.get(name, 0.03)
    mark = lambda ok: " " if ok else "!"  # noqa: E731
    print(
        f"{name:12s} F1 {score.f1:.3f}{mark(score.f1 >= f1_bar)} rms {score.rms_mm:.4f}{mark(score.rms_mm <= rms_bar)} "
        f"shift {shift:.3f}{mark(shift <= SHIFT_BAR_MM)} in 1 sigma {score.within(1):.2f} in 2 {score.within(2):.2f} "
        f"cpu {score.cpu_s:.2f} s wall {score.wall_s:.2f} s decode {score.decode_cpu_s:.3f} s "
        f"ratio {score.cpu_s / max(score.decode_cpu_s, 1e-3):.1f}, by the clock "
        f"{score.wall_s / max(score.decode_wall_s, 1e-3):.1f}",
        flush=True,
    )


def show_conditions(total: Score) -> None:
    print("\ncondition     precision recall")
    for name in ("missing", "bent", "stub", "extra"):
        hit = total.pairs[(name, name)]
        said = sum(n for (_, b), n in total.pairs.items() if b == name)
        true = sum(n for (a, _), n in total.pairs.items() if a == name)
        print(f"{name:12s} {hit / max(said, 1):9.2f} {hit / max(true, 1):6.2f}   ({hit} of {said} said, {true} true)")
    print("sound pins called missing:", total.pairs[("sound", "missing")])
    wrong = {f"{a} as {b}": n for (a, b), n in sorted(total.pairs.items()) if a != b}
    print("all confusions:", wrong)


# ---- general finders on the same flattened pictures


def peers(px_per_mm: float) -> dict[str, Callable[[Any], Any]]:
    """Finders from the registries with settings fit for pins 0.2 mm thick; each gives (n, 2) flat px (u, v)."""
    cv2 = opencv()
    sigma = 0.11 * px_per_mm / np.sqrt(2)  # a blob of a pin's radius
    wide = round(0.32 * px_per_mm) // 2 * 2 + 1

    def of_scikit(kind: str) -> Callable[[Any], Any]:
        def find(grey: Any) -> Any:
            from skimage.feature import blob_dog, blob_log

            finder = {"log": blob_log, "dog": blob_dog}[kind]
            both = [finder(g, min_sigma=sigma * 0.7, max_sigma=sigma * 1.5, threshold=0.08) for g in (grey, 1 - grey)]
            return np.concatenate(both)[:, 1::-1]

        return find

    def of_opencv(grey: Any) -> Any:
        found = []
        for picture in (grey, 1 - grey):
            p = cv2.SimpleBlobDetector_Params()
            p.filterByArea, p.minArea, p.maxArea = True, 0.01 * px_per_mm**2, 0.19 * px_per_mm**2
            p.filterByCircularity = p.filterByConvexity = p.filterByInertia = False
            detector = cv2.SimpleBlobDetector_create(p)
            found += [k.pt for k in detector.detect((picture * 255).astype(np.uint8))]
        return np.array(found).reshape(-1, 2)

    def of_trackpy(grey: Any) -> Any:
        import trackpy

        trackpy.quiet()
        both = [trackpy.locate((g * 255).astype(np.uint8), wide, minmass=300, percentile=80) for g in (grey, 1 - grey)]
        return np.concatenate([b[["x", "y"]].to_numpy() for b in both])

    return {
        "scikit-image LoG": of_scikit("log"),
        "scikit-image DoG": of_scikit("dog"),
        "OpenCV SimpleBlobDetector": of_opencv,
        "trackpy": of_trackpy,
    }


def score_peers(folder: Path, truth: dict[str, Any], totals: dict[str, Score]) -> None:
    from disc.photo.plane.face_plane import Plane
    from disc.photo.plane.flatten import flatten

    cv2 = opencv()
    plate = Plate(truth["disc"]["diameter_mm"])
    for item in truth["photos"]:
        side = Side(item["side"])
        photo = load_photo(folder / item["file"])
        reading = read_face(photo, side, plate)
        true = [p for p in truth["pins"] if p["side"] == side.value]
        totals.setdefault("ours", Score()).add(score_face(reading.pins, true))
        view = reading.view
        plane = Plane(view.matrix, view.k1, (photo.width, photo.height))
        flat = flatten(photo.pixels, plane, view.radius_mm).halved()
        grey = cv2.cvtColor(flat.pixels, cv2.COLOR_BGR2GRAY) / 255.0
        real = xy(true)
        for name, find in peers(flat.px_per_mm).items():
            at = flat.to_mm(np.asarray(find(grey), float).reshape(-1, 2))
            r = np.hypot(*at.T)
            at = at[(r > 0.2 * view.radius_mm) & (r < 0.95 * view.radius_mm)] * [1, 1 if side is Side.UPPER else -1]
            pairs = pair_up(at, real)
            score = Score(len(pairs), len(at), len(real))
            score.errors = [at[i] - real[j] for i, j in pairs if true[j]["condition"] == "sound"]
            totals.setdefault(name, Score()).add(score)


# ---- the same photographs made worse

DEGRADED: dict[str, Callable[[Any], Any]] = {
    "as it is": lambda x: x,
    "half as bright": lambda x: x * 0.5,
    "gamma 0.7": lambda x: 255 * (x / 255) ** 0.7,
    "contrast 0.5": lambda x: 64 + 0.5 * x,
    "blur 2 px": lambda x: opencv().GaussianBlur(x, (0, 0), 2.0),
    "blur 4 px": lambda x: opencv().GaussianBlur(x, (0, 0), 4.0),
    "noise 15": lambda x: x + np.random.default_rng(0).normal(0, 15, x.shape),
    "half size": lambda x: opencv().resize(x, None, fx=0.5, fy=0.5, interpolation=opencv().INTER_AREA),
    "grey": lambda x: np.repeat(x.mean(-1, keepdims=True), 3, -1),
    "JPEG 30": lambda x: opencv().imdecode(opencv().imencode(".jpg", x, [opencv().IMWRITE_JPEG_QUALITY, 30])[1], 1),
    "cropped": lambda x: x[x.shape[0] // 20 :, x.shape[1] // 20 :],
}


def score_degraded(folder: Path, truth: dict[str, Any], totals: dict[str, Score]) -> None:
    plate = Plate(truth["disc"]["diameter_mm"])
    item = truth["photos"][0]
    side = Side(item["side"])
    photo = load_photo(folder / item["file"])
    true = [p for p in truth["pins"] if p["side"] == side.value]
    for name, change in DEGRADED.items():
        pixels = np.ascontiguousarray(np.clip(change(photo.pixels.astype(np.float32)), 0, 255).astype(np.uint8))
        try:
            reading = read_face(Photo(photo.path, pixels), side, plate)
            totals.setdefault(name, Score()).add(score_face(reading.pins, true))
        except BadInput:
            totals.setdefault(name, Score()).add(Score(0, 0, len(true)))


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("folders", nargs="+", type=Path)
    ask.add_argument("--peers", action="store_true")
    ask.add_argument("--degrade", action="store_true")
    ask.add_argument("--names", default="")
    ask.add_argument("--turned", action="store_true")
    ask.add_argument("--nets", type=Path)
    a = ask.parse_args()
    if a.nets:
        networks.FOLDER = a.nets
    wanted = set(filter(None, a.names.split(",")))
    total = Score()
    beside: dict[str, Score] = {}
    worse: dict[str, Score] = {}
    for path in sorted(p for folder in a.folders for p in folder.glob("*.json")):
        truth = json.loads(path.read_text(encoding="utf-8"))
        if not isinstance(truth, dict) or "photos" not in truth or (wanted and path.stem not in wanted):
            continue
        try:
            score = score_disc(path.parent, truth, a.turned)
        except BadInput as error:
            print(f"{path.stem:12s} {error}")
            score = Score(0, 0, len(truth["pins"]))
        show(path.stem, score)
        total.add(score)
        if a.peers:
            score_peers(path.parent, truth, beside)
        if a.degrade:
            score_degraded(path.parent, truth, worse)
    show("all", total)
    show_conditions(total)
    for title, table in (("side by side on the same flattened faces", beside), ("made worse (upper faces)", worse)):
        if table:
            print(f"\n{title}")
            for name, score in table.items():
                print(
                    f"{name:28s} F1 {score.f1:.3f}  rms {score.rms_mm:.4f} mm  ({score.said} said, {score.true} true)"
                )


if __name__ == "__main__":
    main()
