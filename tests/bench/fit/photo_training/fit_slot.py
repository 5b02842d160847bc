"""The weights of `disc/photo/plate/slot_signs.py`, from discs that no network was trained on.

    python -m tests.bench.fit.photo_training.fit_slot FOLDER [FOLDER ...] [--out FILE]

Every likely place of every photograph, true where the truth's datum lies within 0.4 mm; logistic regression on the
signs but the finder's heat, which is held to a fixed weight. Printed: the weights, with each folder left out in turn.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np

from disc.fitted import Made
from disc.photo.fitted import FITTED
from disc.photo.image import load_photo
from disc.photo.plate import slot_signs
from disc.photo.plate.slot import find_slot, search_slots
from disc.photo.read_face import look_at
from disc.photo.request import ReadSettings
from disc.records import Plate, Side
from tests.bench.fit.fitted_file import add_out, write_parts

TRUE_MM, RIDGE = 0.4, 1.0
NEEDS = "FOLDERS: faces of make_discs.py, with their truth files"


def places(folder: Path):
    """(signs (n, 5), true or not (n,)) of a folder's photographs."""
    rows, true = [], []
    for path in sorted(folder.glob("*.json")):
        truth = json.loads(path.read_text(encoding="utf-8"))
        plate = Plate(truth["disc"]["diameter_mm"])
        for shot in truth["photos"]:
            photo = load_photo(folder / shot["file"])
            plane = look_at(photo, Side(shot["side"]), plate, ReadSettings()).joint.plane
            x, y = plane.to_mm(np.array([shot["datum_px"]]))[0]
            near = [*search_slots(photo.pixels, plane, plate.radius_mm, slot_signs.MOST_PLACES)]
            for slot in (find_slot(photo.pixels, plane, plate.radius_mm, a) for a in near):
                if slot:
                    rows.append(slot_signs.slot_signs(photo.pixels, plane, plate.radius_mm, slot, 0.0)[:-1])
                    off = (slot.angle_rad - np.arctan2(y, x) + np.pi) % (2 * np.pi) - np.pi
                    true.append(abs(off) * plate.radius_mm < TRUE_MM)
    return np.array(rows), np.array(true, float)


def fitted(signs, true):
    """Weights and the constant, by Newton's steps with a ridge in units of each sign's spread."""
    a = np.column_stack([signs, np.ones(len(signs))])
    ridge = RIDGE * np.append(signs.std(0) ** 2, 0.01)
    w = np.zeros(a.shape[1])
    for _ in range(50):
        p = 1 / (1 + np.exp(-a @ w))
        w = w + np.linalg.solve((a * (p * (1 - p))[:, None]).T @ a + np.diag(ridge), a.T @ (true - p) - ridge * w)
    return w


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("folders", nargs="+", metavar="FOLDER")
    add_out(ask, FITTED)
    given = ask.parse_args()
    sets = {name: places(Path(name)) for name in given.folders}
    for left_out in (None, *sets):
        signs, true = (np.concatenate([part[k] for name, part in sets.items() if name != left_out]) for k in (0, 1))
        weights = fitted(signs, true)
        print("all" if left_out is None else f"without {left_out}", len(true), int(true.sum()), weights)
        if left_out is None and given.out:
            data = f"{len(true)} likely places, {int(true.sum())} true, of faces that no network was trained on"
            made = Made("tests.bench.fit.photo_training.fit_slot", "FOLDERS", None, data, "", NEEDS)
            rounded = [round(float(weight), 2) for weight in weights]
            part = {"weights": dict(zip(slot_signs.SIGNS, rounded, strict=False)), "constant": rounded[-1]}
            write_parts(given.out, {"slot": part}, {"slot": made})


if __name__ == "__main__":
    main()
