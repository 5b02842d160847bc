"""Renders invented faces, many at once: pictures, truth files as bench/measure/read.py takes them, arrays to train on.

    python make_faces.py OUT FIRST COUNT SEED [SAMPLES [RENDERER]]     on this machine's processor or GPU

RENDERER: mitsuba or luxcore. Every face is its number and its seed: the same pair draws the same face with either.
Needs mitsuba, mapbox_earcut, opencv, numpy; pyluxcore where that is asked for.
"""

from __future__ import annotations

import json
import os
import sys
import time
import traceback
from pathlib import Path

import numpy as np

# By the first letter of its faces' names. LuxCore runs on a processor: smaller pictures, finer than the networks see.
RENDERERS = {"mitsuba": "u", "luxcore": "x"}
SHORTEST_PX, LUX_SAMPLES = 1250, 10


def use_variant(renderer: str = "mitsuba") -> None:
    """Mitsuba's for the GPU where that works, else the processor's; that one is enough beside another renderer."""
    import mitsuba as mi

    for name in ("cuda_ad_rgb", "scalar_rgb")[renderer != "mitsuba" :]:
        try:
            mi.set_variant(name)
            if name.startswith("cuda"):
                import drjit

                drjit.eval(mi.Float(1.0) + 1.0)
            return
        except Exception:  # no GPU, or a build without it
            continue
    raise SystemExit("mitsuba has no variant that works here")


def give_back_memory() -> None:
    """Of the GPU, which several workers share."""
    import gc

    import mitsuba as mi

    if mi.variant().startswith("cuda"):
        import drjit

        gc.collect()
        drjit.flush_malloc_cache()


def truth_of(face, camera, name: str) -> dict:
    """As the development photographs' truth files; only what the bench and training read."""
    from face_scene import root_tip

    side = "upper" if face.number % 2 == 0 else "lower"
    sign = 1.0 if side == "upper" else -1.0
    pins, seen = [], []
    for k, p in enumerate(face.pins):
        root, tip = root_tip(p)
        place = np.degrees(np.arctan2(sign * p.y, p.x)) % 360
        tip_off = [round(float(p.tip_off[0]), 4), round(float(sign * p.tip_off[1]), 4)]
        pins.append(
            {
                "id": k + 1,
                "side": side,
                "r_mm": round(float(np.hypot(p.x, p.y)), 4),
                "theta_deg": round(float(place), 4),
                "tooth": p.track,
                "diameter_mm": round(p.wire, 4),
                "height_mm": round(p.height, 4),
                "condition": p.condition,
                "tip_offset_mm": tip_off,
            }
        )
        px = camera.pixel(np.stack([root, tip])).round(3).tolist()
        seen.append({"id": k + 1, "root": px[0], "tip": px[1], "visible": True})
    t = np.radians(np.arange(0, 360, 15)) * sign
    rim = np.stack([face.radius * np.cos(t), face.radius * np.sin(t), 0 * t], 1)
    middle = face.radius - face.slot[1] / 2
    photo = {
        "file": f"{name}-{side}.jpg",
        "side": side,
        "width": camera.width,
        "height": camera.height,
        "pins_px": seen,
        "centre_px": camera.pixel([0, 0, 0.0])[0].round(3).tolist(),
        "datum_px": camera.pixel([middle, 0, 0])[0].round(3).tolist(),
        "rim_px": camera.pixel(rim).round(3).tolist(),
    }
    disc = {
        "diameter_mm": 2 * face.radius,
        "thickness_mm": face.thick,
        "bore_mm": face.bore,
        "turns": "clockwise",
        "revolution_s": 45.0,
        "rest_arc_deg": 14.0,
    }
    return {"name": name, "disc": disc, "pins": pins, "photos": [photo]}


def arrays_of(face, camera) -> dict:
    """Arrays for training beside the picture. mm: face frame, y up as photographed; tips as seen on its plane."""
    from face_scene import root_tip

    marks = [*face.pins, *face.tails]  # the end of another face's pin looks as a stub does: the faces together tell
    ends = [root_tip(p) for p in marks]
    kind = [{"missing": 2, "stub": 1}.get(p.condition, 0) for p in marks]
    return {
        "root": np.array([e[0][:2] for e in ends], np.float32).reshape(-1, 2),
        "tip": camera.on_face(np.array([e[1] for e in ends]).reshape(-1, 3)).astype(np.float32),
        "kind": np.array(kind, np.int64),
        "bent": np.array([p.condition == "bent" for p in marks]),
        "h": camera.homography(),
        "k1": camera.k1,
        "middle": camera.middle,
        "half": camera.half,
        "radius": face.radius,
        "slot_mm": np.array([face.radius - face.slot[1] / 2, 0.0]),
        "slant": slant_of(face, camera),
    }


def slant_of(face, camera):
    """(gain, shift x, shift y): an upright pin of the face's usual height at p is drawn gain p - shift long."""
    sound = [p.height for p in face.pins if p.condition == "sound"]
    tall = float(np.median(sound)) if sound else 0.5
    (x, y), (ax, _) = camera.on_face(np.array([[0.0, 0.0, tall], [1.0, 0.0, tall]]))
    return np.array([ax - x - 1.0, -x, -y], np.float32)


def photographed(face, seed: int, samples: int, renderer: str, map_size: int = 0):
    """The face's picture (JPEG) and camera, by either renderer."""
    from face_scene import photograph

    if renderer == "luxcore":
        from face_lux import traced

        smaller = min(1.0, SHORTEST_PX / min(face.camera["size"]))
        face.camera["size"] = tuple(round(smaller * side) for side in face.camera["size"])
        return photograph(face, seed, LUX_SAMPLES, map_size, traced)
    out = photograph(face, seed, samples, map_size)
    give_back_memory()
    return out


def make(out: Path, number: int, seed: int, samples: int, with_truth: bool, renderer: str = "mitsuba") -> None:
    """One face into OUT: NAME.npz (picture and arrays), or NAME-SIDE.jpg and NAME.json."""
    from face_draw import draw_face

    face = draw_face(number, seed)
    picture, camera = photographed(face, seed, samples, renderer)
    name = f"{RENDERERS[renderer]}{seed}{number:04d}"
    if with_truth:
        truth = truth_of(face, camera, name)
        (out / truth["photos"][0]["file"]).write_bytes(picture)
        (out / f"{name}.json").write_text(json.dumps(truth))
        return
    part = out / f"{name}.part"
    with part.open("wb") as file:
        np.savez(file, picture=np.frombuffer(picture, np.uint8), **arrays_of(face, camera))
    part.rename(out / f"{name}.npz")


def work(
    out: Path,
    numbers,
    seed: int,
    samples: int,
    with_truth: bool,
    gpu: int | None,
    until: float,
    renderer: str = "mitsuba",
) -> None:
    """The body of one worker: faces one after the other until the time is up."""
    if gpu is not None:
        os.environ["CUDA_VISIBLE_DEVICES"] = str(gpu)
    import cv2

    cv2.setNumThreads(1)
    use_variant(renderer)
    for number in numbers:
        if time.time() > until:
            break
        try:
            make(out, number, seed, samples, with_truth, renderer)
        except Exception:  # one face that cannot be drawn is no loss
            print("face", number, traceback.format_exc(limit=3), flush=True)


def main() -> None:
    out, first, count, seed = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
    out.mkdir(parents=True, exist_ok=True)
    samples = int(sys.argv[5]) if len(sys.argv) > 5 else 24
    renderer = sys.argv[6] if len(sys.argv) > 6 else "mitsuba"
    work(out, range(first, first + count), seed, samples, True, None, np.inf, renderer)


if __name__ == "__main__":
    main()
