"""The colours of disc/photo/marks/tint.py (disc/photo/fitted.json), measured on faces that no network was trained on.

    python -m tests.bench.fit.photo_training.fit_tint FOLDER [FOLDER ...] [--out FILE]

Spreads of marks that are no sites about their plate's colour and, least of all faces, of a face's sure pins about their
middle; the parts of either that lie farther off than five spreads; and the part of pins that have the plate's colour.
Printed with each folder left out in turn, as they are; what is shipped was rounded, and the parts upwards.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np

from disc.fitted import Made
from disc.photo.fitted import FITTED, tint
from disc.photo.marks.site_odds import FEWEST_ALIKE, SURE, UPRIGHT_MM, network_odds
from disc.photo.marks.spots import HOLE, PIN
from disc.photo.marks.tint import TOLD_APART
from tests.bench.fit.fitted_file import add_out, write_parts
from tests.bench.fit.photo_training.fit_odds import REACH_MM, Face, look

FAR = 5.0  # spreads from a colour, beyond which a mark is not of it
NEEDS = "FOLDERS: faces of make_discs.py and of other renderers, with their truth files"


def of_face(face: Face) -> tuple[Any, Any] | None:
    """Tints of tips: (of marks that are no sites (n, 2), of the sure pins (m, 2)); None where pins are as the plate."""
    s = face.spots
    left = np.linalg.norm(s.tip - s.root - face.slant.at(s.root), axis=1)
    sure = (s.kind.argmax(1) == PIN) & (network_odds(s) > SURE) & (left < UPRIGHT_MM)
    gap = np.linalg.norm(s.root[:, None] - face.root[None], axis=2).min(1, initial=9.0)
    none = (gap > REACH_MM) & (s.kind.argmax(1) != HOLE)
    pins = s.tint[sure & (gap < REACH_MM), 0]
    if sure.sum() < FEWEST_ALIKE or not len(pins):
        return None
    apart = np.linalg.norm(np.median(pins, 0) / np.hypot(spread(pins), tint().plate_spread))
    return (s.tint[none, 0], pins) if apart > TOLD_APART else None


def spread(values: Any) -> Any:
    """By the median distance from the middle, (2,)."""
    return 1.4826 * np.median(np.abs(values - np.median(values, 0)), 0)


def measured(faces: list[Face]) -> dict[str, Any]:
    """The part of the file."""
    of_faces = [one for one in map(of_face, faces) if one is not None]
    marks = np.concatenate([none for none, _ in of_faces])
    plate = 1.4826 * np.median(np.abs(marks), 0)
    off_plate = np.linalg.norm(marks / plate, axis=1) > FAR
    pin = float(np.median([spread(pins).mean() for _, pins in of_faces]))
    odd = rusty = count = 0
    for _, pins in of_faces:
        far = np.linalg.norm((pins - np.median(pins, 0)) / np.hypot(spread(pins), pin), axis=1) > FAR
        brown = far & (np.linalg.norm(pins / plate, axis=1) < FAR / 2)
        odd, rusty, count = odd + int((far & ~brown).sum()), rusty + int(brown.sum()), count + len(pins)
    parts = {"other_marks": off_plate.mean(), "other_pins": odd / count, "rusty": rusty / count}
    return {"plate_spread": [round(float(one), 3) for one in plate], "pin_spread": round(pin, 3)} | {
        name: round(float(value), 3) for name, value in parts.items()
    }


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("folders", nargs="+", metavar="FOLDER")
    add_out(ask, FITTED)
    given = ask.parse_args()
    sets: dict[str, list[Face]] = {name: [] for name in given.folders}
    for name, faces in sets.items():
        for path in sorted(Path(name).glob("*.json")):
            truth = json.loads(path.read_text(encoding="utf-8"))
            if isinstance(truth, dict) and "photos" in truth:
                faces += look(path.parent, truth)
    for left_out in (None, *(sets if len(sets) > 1 else ())):
        some = [face for name, faces in sets.items() if name != left_out for face in faces]
        part = measured(some)
        print("all" if left_out is None else f"without {left_out}", len(some), part)
        if left_out is None and given.out:
            made = Made("tests.bench.fit.photo_training.fit_tint", "FOLDERS", None, f"{len(some)} faces", "", NEEDS)
            write_parts(given.out, {"tint": part}, {"tint": made})


if __name__ == "__main__":
    main()
