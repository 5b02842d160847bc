"""Whole photographs on the GPU, and crops of them at the networks' scale with exact truth.

A crop is cut as the reader flattens a face: the photo halved by area while it has over 1.9 px for one of the crop, then
drawn through the plane's perspective and the lens's distortion, bilinear. Crop px and face mm go over into each other
by a drawn 2 x 2 matrix (turn, mirror, scale, and a little flaw, as the reader's first plane has one).
"""

from __future__ import annotations

import json
import math
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import torch
import torch.nn.functional as F

PX_PER_MM = 42.0
FULLEST = 1.9  # px of the photo for one of the crop, as in disc/photo/plane/flatten.py
FLAW = 0.035


@dataclass
class Photo:
    """One face. image: (3, H, W) uint8, already halved `level` times. mm: face frame.

    slant: (gain, shift x, shift y) as make_faces.slant_of has it; not numbers where the picture does not tell.
    """

    image: torch.Tensor
    h: torch.Tensor
    k1: float
    middle: torch.Tensor
    half: float
    level: int
    radius: float
    root: torch.Tensor
    tip: torch.Tensor
    kind: torch.Tensor
    weight: torch.Tensor
    slot: torch.Tensor
    slant: torch.Tensor

    def px(self, mm: torch.Tensor) -> torch.Tensor:
        """mm (..., 2) to px of the stored image."""
        p = mm @ self.h[:, :2].T + self.h[:, 2]
        q = (p[..., :2] / p[..., 2:] - self.middle) / self.half
        uv = self.middle + self.half * q * (1 + self.k1 * (q * q).sum(-1, keepdim=True))
        return (uv + 0.5) / 2**self.level - 0.5

    def crops(self, at: torch.Tensor, size: int) -> tuple[torch.Tensor, torch.Tensor]:
        """at (n, 2) mm: -> (n, 3, size, size) 0-1 RGB, and the matrices (n, 2, 2) that take crop px to mm."""
        n, dev = len(at), self.image.device
        a = torch.rand(n, device=dev) * 2 * math.pi
        flip = torch.where(torch.rand(n, device=dev) < 0.5, -1.0, 1.0)
        turn = torch.stack([torch.stack([a.cos() * flip, -a.sin()], -1), torch.stack([a.sin() * flip, a.cos()], -1)], 1)
        flaw = torch.eye(2, device=dev) + FLAW * torch.randn(n, 2, 2, device=dev)
        size_ = torch.exp(0.04 * torch.randn(n, 1, 1, device=dev))
        m = turn @ flaw * size_ / PX_PER_MM
        c = torch.arange(size, device=dev) - (size - 1) / 2
        grid = torch.stack(torch.meshgrid(c, c, indexing="xy"), -1).view(1, -1, 2)
        uv = self.px(grid @ m.transpose(1, 2) + at[:, None])
        hh, ww = self.image.shape[1:]
        norm = (uv + 0.5) / torch.tensor([ww, hh], device=dev) * 2 - 1
        # All crops of a face in one tall row: the image is turned to numbers once.
        whole = self.image[None].float()
        row = norm.view(1, n * size, size, 2)
        out = F.grid_sample(whole, row, mode="bilinear", padding_mode="border", align_corners=False)
        return out.view(3, n, size, size).transpose(0, 1) / 255, m


def levels(h: np.ndarray) -> int:
    """How often the reader would halve this photo."""
    p = h @ np.array([[0, 1 / PX_PER_MM], [0, 0], [1, 1]])
    step = float(np.hypot(*(p[:2, 1] / p[2, 1] - p[:2, 0] / p[2, 0])))
    return max(0, math.ceil(math.log2(step / FULLEST)))


def halved(image: np.ndarray, times: int) -> np.ndarray:
    for _ in range(times):
        h, w = image.shape[0] // 2 * 2, image.shape[1] // 2 * 2
        image = cv2.resize(image[:h, :w], (w // 2, h // 2), interpolation=cv2.INTER_AREA)
    return image


def straighten(uv: np.ndarray, k1: float, middle: np.ndarray, half: float) -> np.ndarray:
    """Pixels without the lens's distortion."""
    q = (uv - middle) / half
    p = q.copy()
    for _ in range(12):
        p = q / (1 + k1 * np.sum(p**2, -1, keepdims=True))
    return middle + half * p


def photo_of(data: dict, device: str) -> Photo:
    """From make_faces' arrays; `picture` is an RGB array or JPEG bytes."""
    image = data["picture"]
    if image.ndim == 1:
        image = cv2.imdecode(image, cv2.IMREAD_COLOR)[..., ::-1]
    level = levels(np.asarray(data["h"], float))
    image = halved(np.ascontiguousarray(image), level)
    put = lambda a: torch.as_tensor(np.asarray(a, np.float32), device=device)  # noqa: E731
    kind = torch.as_tensor(np.asarray(data["kind"]), device=device)
    weight = torch.tensor([1.0, 2.5, 2.5], device=device)[kind]
    if "bent" in data:
        weight = torch.where(torch.as_tensor(np.asarray(data["bent"]), device=device), 2.0, weight)
    return Photo(
        torch.from_numpy(image).to(device).permute(2, 0, 1).contiguous(),
        put(data["h"]),
        float(data["k1"]),
        put(data["middle"]),
        float(data["half"]),
        level,
        float(data["radius"]),
        put(data["root"]),
        put(data["tip"]),
        kind,
        weight,
        put(data["slot_mm"]),
        put(data.get("slant", [np.nan] * 3)),
    )


def from_truth(folder: Path, truth: dict, photo: dict) -> dict:
    """make_faces' arrays of a picture with a truth file; the lens's k1 where the truth tells it."""
    sign = 1.0 if photo["side"] == "upper" else -1.0
    radius = truth["disc"]["diameter_mm"] / 2
    middle = np.array([photo["width"] / 2 - 0.5, photo["height"] / 2 - 0.5])
    half, k1 = (
        float(np.hypot(photo["width"], photo["height"]) / 2),
        photo.get("camera", {}).get("k1_half_diagonal", 0.0),
    )
    t = np.radians(np.arange(0, 360, 15)) * sign
    rim = straighten(np.array(photo["rim_px"]), k1, middle, half)
    h, _ = cv2.findHomography(np.stack([radius * np.cos(t), radius * np.sin(t)], 1), rim)
    by_id = {p["id"]: p for p in truth["pins"]}
    pins = [by_id[q["id"]] for q in photo["pins_px"]]
    a = np.radians([p["theta_deg"] for p in pins]) * sign
    r = np.array([p["r_mm"] for p in pins])
    tip = straighten(np.array([q["tip"] for q in photo["pins_px"]]).reshape(-1, 2), k1, middle, half)
    tip = cv2.perspectiveTransform(tip[None], np.linalg.inv(h))[0]
    hole = [p["condition"] == "missing" or (p["condition"] == "extra" and p["height_mm"] == 0) for p in pins]
    kind = [2 if hole_ else 1 if p["condition"] == "stub" else 0 for p, hole_ in zip(pins, hole, strict=True)]
    return {
        "picture": cv2.imread(str(folder / photo["file"]))[..., ::-1],
        "h": h,
        "k1": k1,
        "middle": middle,
        "half": half,
        "radius": radius,
        "root": np.stack([r * np.cos(a), r * np.sin(a)], 1),
        "tip": tip,
        "kind": np.array(kind),
        "bent": np.array([p["condition"] == "bent" for p in pins]),
        "slot_mm": [truth["disc"].get("stop_slot", {}).get("r_mm", radius - 0.4), 0],
    }


class Store:
    """Crops of photos that arrive in a folder while training runs; a thread reads and cuts them.

    Each photo gives `each` pieces of the face, FIELD px wide, cut once; training takes smaller crops of these, turned,
    mirrored and scaled anew. `cut(photo)` makes a photo's rows: a tuple of tensors. Room for `most` rows is taken at
    once; when it is full, new rows take the places of old ones drawn at random. skip: first letters of files left out.
    """

    def __init__(self, folders: list[Path], device: str, cut, most: int, skip: tuple[str, ...] = ()) -> None:
        self.folders, self.device, self.cut, self.most, self.skip = folders, device, cut, most, skip
        self.rows: tuple[torch.Tensor, ...] = ()
        self.count = 0
        self.photos = 0
        self.seen: set[Path] = set()
        self.stop = False
        threading.Thread(target=self.watch, daemon=True).start()

    def watch(self) -> None:
        cv2.setNumThreads(1)
        while not self.stop:
            for folder in self.folders:
                for path in sorted(folder.glob("*.npz")) + sorted(folder.glob("t*.json")):
                    if path in self.seen or self.stop or path.name.startswith(self.skip):
                        continue
                    self.seen.add(path)
                    for data in self.load(path):
                        photo = photo_of(data, self.device)
                        if len(photo.root):
                            self.put(self.cut(photo))
                            self.photos += 1
            time.sleep(1.0)

    def put(self, new: tuple[torch.Tensor, ...]) -> None:
        """A photo's rows into the pool."""
        if not self.rows:
            self.rows = tuple(a.new_zeros((self.most, *a.shape[1:])) for a in new)
        n = len(new[0])
        if self.count + n <= self.most:
            at = torch.arange(self.count, self.count + n, device=new[0].device)
        else:
            at = torch.randint(self.count, (n,), device=new[0].device)
        for rows, a in zip(self.rows, new, strict=True):
            rows[at] = a
        self.count += n if self.count + n <= self.most else 0

    def load(self, path: Path) -> list[dict]:
        if path.suffix == ".npz":
            with np.load(path) as d:
                return [dict(d)]
        truth = json.loads(path.read_text())
        return [from_truth(path.parent, truth, p) for p in truth["photos"]]

    def wait_for(self, count: int, until: float) -> None:
        while (self.photos < count or not self.count) and time.time() < until:
            time.sleep(0.5)

    def some(self, count: int) -> tuple[torch.Tensor, ...]:
        """Rows drawn at random."""
        i = torch.randint(self.count, (count,), device=self.rows[0].device)
        return tuple(a[i] for a in self.rows)
