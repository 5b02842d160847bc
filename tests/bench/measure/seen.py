"""What is not seen, against the truth and its bars: covered, blurred, no disc at all, two discs' faces.

    python -m tests.bench.measure.seen FOLDER [--names p1,h2] [--what covered,sharp,other,true,pairs] [--seed 0]

FOLDER holds NAME.json (truth) beside its photographs. Cases are drawn by tests/bench/truth/seen_cases.py.

covered: something over 12 % of the plate, six kinds; the part of it that is reported and of clear plate that is too.
sharp: as it is, blurred by 4 px whole and in part. other: pictures of other things from the registries' packages.
true: the photographs as they are, turned, cut to the rim and darkened: none may be refused. pairs: every upper with
every lower face.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from disc.errors import BadInput
from disc.frame import view_sign
from disc.photo.faces_fit import SAME_FACE, face_traits, faces_fit
from disc.photo.image import Photo, load_photo
from disc.photo.plane.face_plane import plane_from_ellipse
from disc.photo.plane.view import View
from disc.photo.plate.find_plate import find_plate
from disc.photo.quality import judge_photo
from disc.photo.read_face import FaceReading, read_face
from disc.photo.seen.covers import covered_part
from disc.photo.seen.face_doubts import face_doubts
from disc.photo.seen.look_face import look_face
from disc.photo.seen.seen_map import RINGS
from disc.photo.seen.small_face import AROUND, SIDE_PX, small_face
from disc.records import About, Plate, Side
from tests.bench.truth.seen_cases import KINDS, Source, blurred, covered, part_of, sources

# Cells about the rim are left out: where a thing ends there is the plate's edge, which is no place for pins.
JUDGED = np.arange(RINGS) < 0.96 * RINGS
# Something really lies over these faces (h8: tweezers, a fingertip): what is reported there is no false alarm.
REALLY_COVERED = ("h8-upper", "h8-lower")
SHRUNK_PX = 720  # things over the plate need no more


def view_of(source: Source) -> View:
    """The true view, of a lens without distortion at a nominal place."""
    mirror = np.diag([1.0, view_sign(source.side), 1.0])
    matrix = source.to_px @ mirror
    size = (source.photo.width, source.photo.height)
    flat = tuple(float(v) for v in (matrix / matrix[2, 2]).ravel())
    return View(source.name, source.side, *size, flat, 0.0, (0.0, 0.0, 200.0), False, source.plate.radius_mm)


def measure_covered(folder: Path, names: list[str] | None, seed: int) -> None:
    rows: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for source in sources(folder, names, SHRUNK_PX):
        for kind in (*KINDS, "as it is"):
            photo, cells = (
                covered(source, kind, seed) if kind in KINDS else (source.photo, np.zeros((RINGS, 360), bool))
            )
            said = _said_covered(source, photo)
            true, clear = cells & JUDGED[:, None], ~cells & JUDGED[:, None]
            if source.name in REALLY_COVERED:
                clear &= ~_said_covered(source, source.photo)
            found = part_of(said & true) / max(part_of(true), 1e-9)
            rows[kind].append((found, part_of(said & clear) / part_of(clear)))
    print(f"\ncovered {100 * 0.12:.0f} %        found  worst  >= .9   clear plate reported  worst   (bars .9, .02)")
    for kind, values in rows.items():
        found, wrong = np.array(values).T
        words = "" if kind == "as it is" else f"{found.mean():6.3f} {found.min():6.3f} {np.mean(found >= 0.9):6.2f}"
        print(f"{kind:14s} {words:20s}   {wrong.mean():8.4f} {wrong.max():14.4f}  of {len(wrong)}")


def _said_covered(source: Source, photo: Photo) -> Any:
    """Cells (RINGS, 360) of the truth's raster that are called covered, in the plane that the reader begins with."""
    try:
        found = find_plate(photo)
    except BadInput as error:
        print(source.name, error)
        return np.zeros((RINGS, 360), bool)
    plane = plane_from_ellipse(found.ellipse, found.centre, 1.0, (photo.width, photo.height))
    part, _ = covered_part(small_face(photo.pixels, plane, 1.0))
    xy = plane.to_mm(source.cells_px().reshape(-1, 2))
    scale = SIDE_PX / 2 / AROUND
    i = np.clip((xy[:, 0] * scale + SIDE_PX / 2).astype(int), 0, SIDE_PX - 1)
    j = np.clip((SIDE_PX / 2 - xy[:, 1] * scale).astype(int), 0, SIDE_PX - 1)
    return part[j, i].reshape(RINGS, 360)


def measure_sharp(folder: Path, names: list[str] | None, seed: int) -> None:
    named: dict[str, list[bool]] = defaultdict(list)
    for source in sources(folder, names):
        cases = {
            "as it is": source.photo,
            "blurred by 4 px": blurred(source, 4.0),
            "blurred in part": blurred(source, 4.0, True, seed),
        }
        for case, photo in cases.items():
            view = view_of(source)
            seen = look_face(photo, view)
            doubts = face_doubts(source.side, seen, seen.map, judge_photo(photo, view), ())
            named[case].append(any(d.about is About.SHARP for d in doubts))
            if named[case][-1] != (case != "as it is"):
                print(
                    f"  {source.name} {case}: blur {seen.sharp.blur_px:.2f} px, detail {seen.sharp.detail:.3f}", *doubts
                )
    print("\ndoubts about sharpness (bars: blurred >= .95, as it is <= .02)")
    for case, values in named.items():
        print(f"{case:18s} {np.mean(values):.3f} of {len(values)}")


def other_pictures() -> list[Path]:
    """Pictures in packages: scikit-image, scikit-learn, matplotlib; and whatever lies in the folder other/ beside."""
    import matplotlib
    import skimage.data
    import sklearn.datasets

    folders = [
        Path(skimage.data.__file__).parent,
        Path(sklearn.datasets.__file__).parent / "images",
        Path(matplotlib.__file__).parent / "mpl-data/sample_data",
    ]
    return [p for f in folders for p in sorted(f.iterdir()) if p.suffix in (".png", ".jpg", ".gif", ".tif")]


def measure_other(more: list[Path]) -> None:
    said: dict[str, int] = defaultdict(int)
    for path in [*other_pictures(), *more]:
        try:
            reading = read_face(load_photo(path), Side.UPPER, Plate(28.0))
            said["READ AS A DISC"] += 1
            print(f"  {path.name}: {len(reading.pins)} sites")
        except BadInput as error:
            for words in ("nothing here looks like a pinned disc", "too few to show a pin", "cut off", "cannot", ""):
                if words in str(error):
                    said[words or str(error)[-60:]] += 1
                    break
    print("\npictures of other things (bar: none read)", dict(said))


def changed(photo: Photo, reading: FaceReading) -> dict[str, Photo]:
    """The photograph turned, cut to the rim, and darkened."""
    h, w = photo.pixels.shape[:2]
    turn = cv2.getRotationMatrix2D((w / 2, h / 2), 90, 1.0)
    turn[:, 2] += (h - w) / 2, (w - h) / 2
    t = np.linspace(0, 2 * np.pi, 90)
    u, v = reading.view.to_photo_px(reading.view.radius_mm * np.cos(t), reading.view.radius_mm * np.sin(t))
    a, b = max(0, int(u.min()) - 2), max(0, int(v.min()) - 2)
    cut = photo.pixels[b : int(v.max()) + 3, a : int(u.max()) + 3]
    return {
        "turned": replace(photo, pixels=np.asarray(cv2.warpAffine(photo.pixels, turn, (h, w)), np.uint8)),
        "cut to the rim": replace(photo, pixels=np.ascontiguousarray(cut)),
        "darkened": replace(photo, pixels=(photo.pixels * 0.3).astype(np.uint8)),
    }


def measure_true(folder: Path, names: list[str] | None) -> None:
    refused: dict[str, list[bool]] = defaultdict(list)
    for source in sources(folder, names):
        reading = read_face(source.photo, source.side, source.plate)
        refused["as it is"].append(False)
        for case, photo in changed(source.photo, reading).items():
            try:
                read_face(photo, source.side, source.plate)
                refused[case].append(False)
            except BadInput as error:
                refused[case].append(True)
                print(f"  {source.name} {case}: {error}")
    print("\nphotographs of discs refused (bar: none)")
    for case, values in refused.items():
        print(f"{case:18s} {sum(values)} of {len(values)}")


def measure_pairs(folder: Path, names: list[str] | None) -> None:
    traits: dict[str, dict[Side, Any]] = defaultdict(dict)
    for source in sources(folder, names):
        r = read_face(source.photo, source.side, source.plate)
        width = r.slot.width_mm if r.slot else None
        traits[source.truth["name"]][source.side] = face_traits(source.photo, r.view, r.pins, width)
    true: list[float] = []
    mixed: list[float] = []
    swapped, same = [], []
    for a, upper in traits.items():
        for b, lower in traits.items():
            fit = faces_fit(upper[Side.UPPER], lower[Side.LOWER])
            (true if a == b else mixed).append(fit.odds)
            same.append(fit.same_face)
            if a == b:
                swapped.append(faces_fit(upper[Side.LOWER], upper[Side.UPPER]).odds - fit.odds)
    print("\nfaces of one disc and of two, by the photographs alone (log-odds of one disc)")
    for words, odds in (("one disc", np.array(true)), ("two discs", np.array(mixed))):
        middle = f"least {odds.min():6.2f}, middle {np.median(odds):6.2f}, most {odds.max():6.2f}"
        print(f"{words:10s} {middle}; doubted {np.mean(odds < 0):.3f} of {len(odds)}")
    print(f"upper and lower exchanged change it by {np.max(np.abs(swapped)):.2f} at most: photographs do not tell them")
    print(f"taken for one face photographed twice: {np.mean(np.array(same) > SAME_FACE):.3f}")


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("folder", type=Path)
    ask.add_argument("--names")
    ask.add_argument("--what", default="covered,sharp,other,true,pairs")
    ask.add_argument("--seed", type=int, default=0)
    ask.add_argument("--more", type=Path, nargs="*", default=[], help="other pictures that are no discs")
    given = ask.parse_args()
    names = given.names.split(",") if given.names else None
    what = given.what.split(",")
    if "covered" in what:
        measure_covered(given.folder, names, given.seed)
    if "sharp" in what:
        measure_sharp(given.folder, names, given.seed)
    if "other" in what:
        measure_other(given.more)
    if "true" in what:
        measure_true(given.folder, names)
    if "pairs" in what:
        measure_pairs(given.folder, names)


if __name__ == "__main__":
    main()
