"""The three small networks shipped with the package, run by OpenCV; nothing else knows their input and output.

How they were trained: tests/bench/fit/photo_training/ (its README says which run made which).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from disc.errors import MissingPart
from disc.frame import FloatArray
from disc.photo.image import Pixels, opencv

FOLDER = Path(__file__).parent / "nets"
# What the networks were trained at; not free to choose.
SITES_PX_PER_MM = 21.0
SITES_STRIDE = 4  # px of the flattened face to one of the networks' map; fixed by how they are built, trained so
CLOSER_PX_PER_MM = 42.0  # of the crops of the closer net; trained at
CLOSER_PX = 48  # a crop's side; the net was trained at it
FRAME_PX = 256  # the finder's picture, each way; it was trained at it
# An upright pin's drawn length that is told as 0.5, and what is told for unknown; trained so.
UPRIGHT_MM, UPRIGHT_UNKNOWN = 0.4, -1.0
_IDLE: dict[str, list[Any]] = {}


@cache
def _bytes(name: str) -> Any:
    path = FOLDER / name
    if not path.is_file():
        raise MissingPart(f"{path}: a part of this program is missing. Install the package again.")
    return np.fromfile(path, np.uint8)


def _blob(pictures: Sequence[Pixels]) -> Any:
    """BGR pictures of one size as the nets take them: (n, 3, h, w) RGB, -0.5 to 0.5."""
    return opencv().dnn.blobFromImages(pictures, 1 / 255.0, mean=(127.5, 127.5, 127.5), swapRB=True)


def _answer(name: str, blob: Any) -> FloatArray:
    """blob: (n, channels, h, w) of a size that the net takes. Returns (n, ...)."""
    cv2 = opencv()
    # OpenCV's nets are not safe to share between threads: each call takes one that no other has, or reads a new one.
    idle = _IDLE.setdefault(name, [])
    try:
        net = idle.pop()
    except IndexError:
        net = cv2.dnn.readNetFromONNX(_bytes(name))
    net.setInput(blob)
    answer = np.array(net.forward())
    idle.append(net)
    return answer


def sigmoid(x: FloatArray) -> FloatArray:
    """1 / (1 + exp(-x)), without overflow."""
    return 1 / (1 + np.exp(-np.clip(x, -40, 40)))


@dataclass(frozen=True, slots=True)
class FrameHeat:
    """What the finder says of a frame, each (h, w) at one answer for 2 x 2 px: the face, the arbor, the slot, 0-1."""

    face: FloatArray
    centre: FloatArray
    slot: FloatArray


def ask_finder(small: Pixels) -> FrameHeat:
    """small: at most FRAME_PX each way; it is laid on a grey ground of that size."""
    ground = np.full((FRAME_PX, FRAME_PX, 3), 128, np.uint8)
    ground[: small.shape[0], : small.shape[1]] = small
    heat = sigmoid(_answer("finder.onnx", _blob([ground]))[0])
    return FrameHeat(heat[0], heat[1], heat[2])


@dataclass(frozen=True, slots=True)
class SiteAnswer:
    """The sites net's answer over a flattened face.

    heat: (2h, 2w), 0-1, one for 2 x 2 px. The others (h, w) or (h, w, n), one for 4 x 4 px: kind: logits of pin, stub,
    hole; root: offset from the cell's middle, px; tip: offset from the root, px; sigma_root, sigma_tip: px per axis.
    """

    heat: FloatArray
    kind: FloatArray
    root: FloatArray
    tip: FloatArray
    sigma_root: FloatArray
    sigma_tip: FloatArray


def ask_sites(flat: Pixels) -> SiteAnswer:
    """flat: a flattened face at SITES_PX_PER_MM, each side a multiple of 8 px."""
    y = _answer("sites.onnx", _blob([flat]))[0]
    h, w = y.shape[1:]
    heat = y[:4].reshape(2, 2, h, w).transpose(2, 0, 3, 1).reshape(2 * h, 2 * w)
    moved = np.moveaxis(y, 0, -1)
    return SiteAnswer(
        sigmoid(heat),
        moved[..., 4:7],
        moved[..., 7:9] * 4.0,
        moved[..., 9:11] * 8.0,
        np.exp(np.clip(moved[..., 11], -4, 3)),
        np.exp(np.clip(moved[..., 12], -4, 3)),
    )


@dataclass(frozen=True, slots=True)
class CloseAnswer:
    """What the closer net says of n crops. kind: (n, 4) probabilities of pin, stub, hole, nothing.

    root: (n, 2) px from the crop's middle; tip: (n, 2) px from the root; sigma_root, sigma_tip: (n,) px per axis.
    """

    kind: FloatArray
    root: FloatArray
    tip: FloatArray
    sigma_root: FloatArray
    sigma_tip: FloatArray


def ask_closer(crops: Sequence[Pixels], upright_mm: FloatArray) -> CloseAnswer:
    """crops: CLOSER_PX square each, at CLOSER_PX_PER_MM, turned so that an upright pin points to the right.

    upright_mm: (n,) how long it is drawn there; NaN where that is not known, and the crops lie anyhow.
    """
    told = np.where(np.isnan(upright_mm), UPRIGHT_UNKNOWN, upright_mm / UPRIGHT_MM - 0.5).astype(np.float32)
    picture = _blob(crops)
    length = np.broadcast_to(told[:, None, None, None], (len(told), 1, *picture.shape[2:]))
    y = _answer("closer.onnx", np.concatenate([picture, length], 1)).astype(float)
    kind = np.exp(y[:, :4] - y[:, :4].max(1, keepdims=True))
    return CloseAnswer(
        kind / kind.sum(1, keepdims=True),
        y[:, 4:6] * 4.0,
        y[:, 6:8] * 8.0,
        np.exp(np.clip(y[:, 8], -4, 3)),
        np.exp(np.clip(y[:, 9], -4, 3)),
    )
