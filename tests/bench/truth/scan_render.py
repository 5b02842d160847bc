"""Flatbed scans with exact truth, drawn by a path tracer without perspective: what `measure/sheet.py scans` reads.

    python -m tests.bench.truth.scan_render WRITER OUT NAME SIDE [--samples 10]

WRITER is the folder of the scene writer that made p1-p8 (its disc.py, discs.py, photograph.py; needs mitsuba). The
camera stands 3 m away, so that a pin of half a millimetre at the rim is drawn 0.002 mm long; two long lamps light the
face from either side, the arbor is out, and the picture is softened as by pins that lift the plate off the glass. A
face at 1200 dpi takes some four minutes of one core. OUT gets NAME-SIDE.jpg and NAME-SIDE.json in the form of the
development set's truth, with "scan" in its photo.
"""

from __future__ import annotations

import argparse
import dataclasses
import importlib
import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

PX_PER_MM = 1200 / 25.4
AWAY_MM, MARGIN_MM = 3000.0, 4.0


def shot(diameter_mm: float, rng: np.random.Generator) -> dict[str, Any]:
    """The scene writer's photo: squarely from far away, turned at random."""
    size, turn = int((diameter_mm + MARGIN_MM) * PX_PER_MM), float(rng.uniform(0, 360))
    lamps = [{"azim": 90, "elev": 50, "width": 150, "height": 30, "radiance": 5.0}]
    lamps.append(lamps[0] | {"azim": 270, "height": 22, "radiance": 3.0})
    soft = 1.6 + 0.6 * float(rng.uniform())  # pixels: the rim's edge comes out some 0.1 mm wide
    camera = {"size": (size, size), "distance": AWAY_MM, "fill": diameter_mm / (size / PX_PER_MM), "tilt": 0.0}
    plain = {"on": "mat", "aperture": 0.001, "noise": 0.008, "jpeg": 95, "sharpen": 0.3}
    plain |= {"vignette": 0.0, "glow": 0.0, "smooth": 0.2, "words": "flatbed scan, 1200 dpi"}
    light = {"fill": 0.25, "windows": lamps, "shade_mm": 1}
    return camera | plain | {"azim": turn, "roll": turn, "light": light, "lens_px": soft}


def main() -> None:
    """Render one face."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("writer", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("name")
    parser.add_argument("side", choices=("upper", "lower"))
    parser.add_argument("--samples", type=int, default=10)
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    sys.path.insert(0, str(given.writer))
    writer, discs, invented = (importlib.import_module(name) for name in ("photograph", "discs", "disc"))
    spec = next(one for one in discs.SET if one.name == given.name)
    truth = invented.invent(spec)
    rng = np.random.default_rng([7, *map(ord, given.name + given.side)])
    photos = {**spec.photos, given.side: shot(spec.diameter_mm, rng)}
    look = {name: value for name, value in spec.look.items() if name not in ("arbor_mm", "screws")}
    writer.photograph(
        truth, dataclasses.replace(spec, hub_mm=0, photos=photos, look=look), given.side, given.out, None, given.samples
    )
    for photo in truth["photos"]:
        photo["scan"] = {"px_per_mm": PX_PER_MM}
    (given.out / f"{given.name}-{given.side}.json").write_text(json.dumps(truth), encoding="utf-8")


if __name__ == "__main__":
    main()
