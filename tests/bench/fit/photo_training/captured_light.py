"""Surroundings photographed with all their light, for the faces to mirror.

    python captured_light.py HDRI_FOLDER OUT.npz

HDRI_FOLDER: `hdri` of the npm package @pmndrs/assets (CC0, pictures of Poly Haven drawn smaller). Faces are lit by
OUT.npz where the variable CAPTURED_LIGHT names it; without it, rooms are drawn.
"""

from __future__ import annotations

import base64
import functools
import os
import sys
import tempfile
from pathlib import Path

import cv2
import numpy as np

WIDTH = 256
BRIGHTEST = 400.0  # of the sun's few pixels, in medians of the sky: more is a path tracer's firefly


@functools.cache
def _kept() -> np.ndarray | None:
    path = os.environ.get("CAPTURED_LIGHT")
    if not path:
        return None
    with np.load(path) as d:
        return np.stack([d[name] for name in sorted(d.files)]).astype(np.float32)


def one_of(which: float, turn: float, gain: float, width: int) -> np.ndarray | None:
    """A surrounding (width / 2, width, 3), row 0 the zenith; None without any. which, turn: parts of 1."""
    kept = _kept()
    if kept is None:
        return None
    sky = np.roll(kept[int(which * len(kept))], int(turn * WIDTH), axis=1)
    return gain * cv2.resize(sky, (width, width // 2), interpolation=cv2.INTER_AREA)


def main() -> None:
    import mitsuba as mi

    mi.set_variant("scalar_rgb")
    out = {}
    for path in sorted(Path(sys.argv[1]).glob("*.exr.js")):
        code = path.read_text().split("base64,")[1].split("'")[0]
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "sky.exr"
            file.write_bytes(base64.b64decode(code))
            bitmap = mi.Bitmap(str(file)).convert(mi.Bitmap.PixelFormat.RGB, mi.Struct.Type.Float32, False)
            sky = np.array(bitmap)
        sky = cv2.resize(sky, (WIDTH, WIDTH // 2), interpolation=cv2.INTER_AREA)
        sky /= np.median(sky[: WIDTH // 4]) * 4  # about as bright as a drawn room's walls
        out[path.name.split(".")[0]] = np.minimum(sky, BRIGHTEST / 4).astype(np.float16)
    np.savez_compressed(sys.argv[2], **out)


if __name__ == "__main__":
    main()
