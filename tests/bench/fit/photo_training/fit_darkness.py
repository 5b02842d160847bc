"""How dark empty holes are (disc/photo/marks/tint.py; disc/photo/fitted.json), measured on faces with a truth file.

    python -m tests.bench.fit.photo_training.fit_darkness FOLDER [PREFIX] [--out FILE]

How bright marks are beside the median of their face's sure standing pins: of pins that stand, of stubs and of holes, of
the discs whose name begins with PREFIX and of the others. The first give the part; the others are only printed beside.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np

from disc.fitted import Made
from disc.photo.fitted import FITTED, darkness
from disc.photo.marks.site_odds import SURE, network_odds
from disc.photo.marks.spots import PIN
from tests.bench.fit.fitted_file import add_out, write_parts
from tests.bench.fit.photo_training.fit_odds import REACH_MM, Face, look

HELD_IN = ("sound", "bent")
NEEDS = "FOLDER: photographs with their truth files"


def of_face(face: Face) -> dict[str, list[float]]:
    """Brightness by true condition, less the median of the sure pins'."""
    spots = face.spots
    sure = (spots.kind.argmax(1) == PIN) & (network_odds(spots) > SURE)
    out: dict[str, list[float]] = {"stands": [], "stub": [], "hole": []}
    if not sure.any() or not len(face.root):
        return out
    light = spots.light - np.median(spots.light[sure])
    gap = np.linalg.norm(spots.root[:, None] - face.root[None], axis=2)
    for k in np.nonzero(gap.min(1) < REACH_MM)[0]:
        condition = face.condition[int(gap[k].argmin())]
        name = "stands" if condition in HELD_IN else {"missing": "hole"}.get(condition, condition)
        if name in out:
            out[name].append(float(light[k]))
    return out


def together(faces: list[Face]) -> dict[str, Any]:
    some = [of_face(face) for face in faces]
    return {name: np.array([v for one in some for v in one[name]]) for name in ("stands", "stub", "hole")}


def _spread(values: Any) -> float:
    return float(1.4826 * np.median(np.abs(values - np.median(values))))


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("folder", type=Path)
    ask.add_argument("prefix", nargs="?", default="")
    add_out(ask, FITTED)
    given = ask.parse_args()
    mine: list[Face] = []
    others: list[Face] = []
    for path in sorted(given.folder.glob("*.json")):
        truth = json.loads(path.read_text(encoding="utf-8"))
        if isinstance(truth, dict) and "photos" in truth:
            (mine if path.stem.startswith(given.prefix) else others).extend(look(path.parent, truth))
    for name, faces in (("these", mine), ("others", others)):
        for kind, values in together(faces).items():
            if len(values):
                print(f"{name:6s} {kind:6s} {len(values):4d}", np.round(np.percentile(values, [0, 5, 50, 95, 100]), 2))
    holes = together(mine)["hole"]
    pins = [values for face in mine if len(values := np.array(of_face(face)["stands"]))]
    part = {
        "pin_spread": round(
            float(np.percentile([_spread(one) for one in pins], 10)), 3
        ),  # a face's own counts beside it
        "hole_middle": round(float(np.median(holes)), 2),
        "hole_spread": round(_spread(holes), 2),
        "range": list(darkness().range),
        "weight": darkness().weight,
    }
    print(part)
    if given.out:
        made = Made("tests.bench.fit.photo_training.fit_darkness", "FOLDER p", None, f"{len(mine)} faces", "", NEEDS)
        write_parts(given.out, {"darkness": part}, {"darkness": made})


if __name__ == "__main__":
    main()
