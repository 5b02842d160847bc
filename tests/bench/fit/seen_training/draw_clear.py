"""Clear faces to cover: the photo training's invented faces, rendered small, each flattened.

    python draw_clear.py OUT FIRST COUNT SEED

Writes OUT/SEED-NUMBER.png, the face flattened by its true camera: NARROW_PX across, its rim at 1 / AROUND of the half
width. A face is its number and its seed. Needs mitsuba and mapbox_earcut, as ../photo_training does; no photograph of
the development sets is used.
"""

from __future__ import annotations

import sys
import traceback
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "photo_training"))

SHORT_PX = 300  # of the rendered frame: the covers net looks at a face some 110 px across
NARROW_PX, AROUND = 192, 1.15
SAMPLES = 8


def flattened(picture: np.ndarray, camera, radius_mm: float) -> np.ndarray:
    """The face looked at squarely, y up."""
    c = (np.arange(NARROW_PX) + 0.5) / NARROW_PX * 2 - 1
    x, y = np.meshgrid(c * AROUND * radius_mm, -c * AROUND * radius_mm)
    uv = camera.pixel(np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], 1)).reshape(NARROW_PX, NARROW_PX, 2)
    step = 2 * AROUND * radius_mm / NARROW_PX * camera.f_px / float(np.linalg.norm(camera.eye))
    soft = cv2.GaussianBlur(picture, (0, 0), max(0.35 * step, 0.3))
    return cv2.remap(soft, uv[..., 0].astype(np.float32), uv[..., 1].astype(np.float32), cv2.INTER_LINEAR)


def main() -> None:
    import mitsuba as mi

    mi.set_variant("scalar_rgb")
    from face_draw import draw_face
    from face_scene import photograph

    out, first, count, seed = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
    out.mkdir(parents=True, exist_ok=True)
    cv2.setNumThreads(1)
    for number in range(first, first + count):
        try:
            face = draw_face(number, seed)
            size = np.array(face.camera["size"])
            face.camera["size"] = tuple(int(v) for v in size * SHORT_PX / size.min())
            for name in ("shake_px",):
                face.lens[name] *= SHORT_PX / size.min()
            data, camera = photograph(face, seed, SAMPLES)
            picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
            cv2.imwrite(str(out / f"{seed}-{number:04d}.png"), flattened(picture, camera, face.radius))
        except Exception:  # one face that cannot be drawn is no loss
            print("face", number, traceback.format_exc(limit=2), flush=True)


if __name__ == "__main__":
    main()
