"""Whole discs: both faces with each other's tails and through holes, each photographed twice; with truth files.

    python make_discs.py OUT FIRST COUNT SEED [SAMPLES [RENDERER]]     on this machine's processor or GPU

For measuring what needs both faces or several photographs; damage as rare as on a disc that somebody used. Never
trained on. The truth files are as the development set's, with `distractors` (tails, through holes).
"""

from __future__ import annotations

import dataclasses
import json
import sys
from pathlib import Path

import numpy as np

MAP_SIZE = 2200
USED_UP = 0.12  # of the sites are damaged


def draw_disc(number: int, seed: int):
    """(upper face, lower face, second looks (camera, light, lens) of each)."""
    from face_draw import MISSING, draw_face, draw_hole, draw_shot, tail_of

    rng = np.random.default_rng([seed, number, 7])
    faces = []
    for k in range(2):
        face = draw_face(2 * number + k, seed)
        hurt = [p for p in face.pins if p.condition != "sound"]
        stays = set(map(id, rng.permutation(np.array(hurt, object))[: int(USED_UP * len(face.pins))]))
        face.pins = [p for p in face.pins if p.condition == "sound" or id(p) in stays]
        face.tails = ()
        faces.append(face)
    upper, lower = faces
    share = ("radius", "thick", "slot", "hub", "bore", "gear")
    scale = upper.radius / lower.radius
    for p in lower.pins:
        p.x, p.y = p.x * scale, p.y * scale
    lower.tracks = [t * scale for t in lower.tracks]
    lower = dataclasses.replace(lower, **{name: getattr(upper, name) for name in share})
    if upper.cross:
        low, high, arms, wide, phase = upper.cross
        lower.cross = (low, high, arms, wide, -phase)
    else:
        lower.cross = None
    lower.look = dict(upper.look) | {"wire": lower.look["wire"]}
    inner = max(max(upper.hub, upper.bore) / 2 + 0.4, upper.cross[1] + 0.3 if upper.cross else 0.0)
    for face in (upper, lower):
        slotted = lambda p, f=face: (  # noqa: E731
            p.x > 0 and abs(p.y) < f.slot[0] / 2 + 0.4 and np.hypot(p.x, p.y) > f.radius - f.slot[1] - 0.45
        )
        outer = upper.radius - 0.55 - (0.35 if upper.gear else 0.0)
        face.pins = [p for p in face.pins if inner < np.hypot(p.x, p.y) < outer and not slotted(p)]
    # No pin of one face stands where one of the other's does.
    mine = np.array([(p.x, -p.y) for p in upper.pins]).reshape(-1, 2)
    lower.pins = [p for p in lower.pins if not len(mine) or np.min(np.hypot(*(mine - (p.x, p.y)).T)) > 0.6]
    through, show_tails = rng.uniform() < 0.5, rng.uniform() < 0.35
    proud = rng.uniform(0, 0.06)
    marks: list[list] = [[], []]
    for k, (face, other) in enumerate(((upper, lower), (lower, upper))):
        tails = []
        for p in other.pins:
            at = (p.x, -p.y)
            if p.condition == MISSING and through:
                hole = draw_hole(rng, p.wire) | {"bottom": "open", "depth": 0.7}
                p.hole = dict(hole)
                tails.append(dataclasses.replace(p, x=at[0], y=at[1], hole=hole))
                marks[k].append(("through hole", *at))
            elif p.condition != MISSING and show_tails:
                tails.append(tail_of(rng, *at, p.wire, float(rng.uniform(0, proud)), p.steel))
                marks[k].append(("tail", *at))
        face.tails = tuple(tails)
    looks = [draw_shot(rng, upper.radius) for _ in range(2)]
    if upper.lens["k1"]:  # one camera for all
        for _, _, lens in looks:
            lens["k1"] = upper.lens["k1"]
    lower.lens = dict(lower.lens) | {"k1": upper.lens["k1"]}
    return (upper, lower), marks, looks


def make_disc(out: Path, number: int, seed: int, samples: int, renderer: str = "mitsuba") -> None:
    """One disc: four photographs and a truth file."""
    from make_faces import photographed, truth_of

    faces, marks, looks = draw_disc(number, seed)
    name = f"d{seed}{number:03d}"
    truth: dict = {}
    for k, face in enumerate(faces):
        face.number = 2 * number + k  # tells truth_of the side
        for again in range(2):
            if again:
                light, camera, lens = looks[k]
                face = dataclasses.replace(face, light=light, camera=camera, lens=lens)
            picture, camera = photographed(face, seed, samples, renderer, MAP_SIZE)
            one = truth_of(face, camera, name)
            shot = one["photos"][0]
            shot["file"] = f"{name}-{shot['side']}{'-b' if again else ''}.jpg"
            shot["camera"] = {"k1": face.lens["k1"], "tilt_deg": face.camera["tilt"], "fov_deg": camera.fov}
            (out / shot["file"]).write_bytes(picture)
            if not truth:
                truth = one | {"distractors": []}
                truth["disc"]["stop_slot"] = {
                    "kind": "rim notch", "r_mm": face.radius - face.slot[1] / 2, "width_mm": face.slot[0],
                }  # fmt: skip
            elif again:
                truth["photos"].append(shot)
            else:
                first = len(truth["pins"])
                for p in one["pins"]:
                    p["id"] += first
                truth["pins"] += one["pins"]
                truth["photos"].append(shot)
            for q in shot["pins_px"] if k else ():
                q["id"] += first
        side, sign = ("upper", 1) if k == 0 else ("lower", -1)
        for kind, x, y in marks[k]:
            place = {"r_mm": float(np.hypot(x, y)), "theta_deg": float(np.degrees(np.arctan2(sign * y, x)) % 360)}
            truth["distractors"].append({"kind": kind, "side": side} | place)
    (out / f"{name}.json").write_text(json.dumps(truth))


def work(out: Path, numbers, seed: int, samples: int, until: float = np.inf, renderer: str = "mitsuba") -> None:
    """One worker: discs one after the other until the time is up."""
    import time
    import traceback

    import cv2
    from make_faces import use_variant

    cv2.setNumThreads(1)
    out.mkdir(parents=True, exist_ok=True)
    use_variant(renderer)
    for number in numbers:
        if time.time() > until:
            break
        try:
            make_disc(out, number, seed, samples, renderer)
        except Exception:  # one disc that cannot be drawn is no loss
            print("disc", number, traceback.format_exc(limit=4), flush=True)


def main() -> None:
    samples = int(sys.argv[5]) if len(sys.argv) > 5 else 32
    first, count = int(sys.argv[2]), int(sys.argv[3])
    renderer = sys.argv[6] if len(sys.argv) > 6 else "mitsuba"
    work(Path(sys.argv[1]), range(first, first + count), int(sys.argv[4]), samples, renderer=renderer)


if __name__ == "__main__":
    main()
