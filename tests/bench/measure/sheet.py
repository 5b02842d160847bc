"""The measuring sheet, close-ups and scans against their truth and their bars.

    python -m tests.bench.measure.sheet sheets FOLDER [--names n8]      photographs with the sheet, each disc together
    python -m tests.bench.measure.sheet plain FOLDER [--names n8]       the same discs' photographs without it
    python -m tests.bench.measure.sheet both FOLDER [--names n8]        both of each face, combined
    python -m tests.bench.measure.sheet close-ups FOLDER [--names p1,h1] [--seed 7] [--each 5]
    python -m tests.bench.measure.sheet scans FOLDER [--names p1,h1] [--longer 0.003]

FOLDER holds truth files beside photographs, as the development set does; tests/bench/truth/sheet_photos.py composes
more with the sheet, truth/close_ups.py cuts the close-ups. Scans are those that truth/scan_render.py makes; of a truth
file without any, a photograph is drawn anew without perspective at 1200 dpi, one direction longer. In such a one tips
stay where its camera saw them, farther out than a scanner would (by .001 to .003 of the radius): it tries the way, and
says nothing of how well places are told. f and k1 are the sheet's alone; "lens" counts
photos of 40 corners and more with both within bars (k1 .003, focal length 2 %).
"""

from __future__ import annotations

import argparse
import json
import time
from collections import Counter
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from disc.photo.close_up.lay_in import lay_in
from disc.photo.close_up.read_close_up import read_close_up
from disc.photo.combine_photos import read_both_sides
from disc.photo.combine_photos import together as together_by
from disc.photo.image import Photo, load_photo
from disc.photo.plate.one_width import common_width_mm
from disc.photo.read_faces import read_faces
from disc.photo.request import ReadRequest
from disc.photo.scan.of_request import make_ready
from disc.photo.several.fitting import turned_pins
from disc.photo.several.merge_pins import ShownFace, laid_on_first
from disc.photo.several.one_slot import slot_off_deg
from disc.records import Plate, Side, Turns
from tests.bench.measure.read import Score, pair_up, score_face, xy
from tests.bench.truth.close_ups import cut
from tests.bench.truth.sheet_photos import source_of

RIGHT_MM = 0.25  # a close-up whose middle lies farther off was placed wrong
SCAN_PX_PER_MM = 1200 / 25.4


def plate_of(truth: dict[str, Any]) -> Plate:
    return Plate(truth["disc"]["diameter_mm"], Turns(truth["disc"]["turns"]))


def read_all(folder: Path, truth: dict[str, Any], photos: list[dict[str, Any]]) -> Any:
    loaded = [(load_photo(folder / p["file"]), Side(p["side"])) for p in photos]
    begun = time.process_time()
    readings = read_faces(loaded, plate_of(truth))
    return loaded, readings, (time.process_time() - begun) / max(len(photos), 1)


def lens_of(reading: Any, photo: dict[str, Any]) -> tuple[int, float, float] | None:
    """(corners, focal length's relative error, k1's error) of a photo with the sheet; None where it was left out."""
    if reading.sheet is None or reading.sheet.focal_px is None:
        return None
    focal = photo["width"] / 2 / np.tan(np.radians(photo["camera"]["fov_deg"] / 2))
    k1 = reading.view.k1 - photo["camera"].get("k1", 0.0)
    return len(reading.sheet.corners_px), reading.sheet.focal_px / focal - 1, k1


def faces(folder: Path, truths: list[dict[str, Any]], mode: str) -> None:
    total, each, lens, slow = Score(), [], Counter[str](), []
    for truth in truths:
        photos = [p for p in truth["photos"] if mode == "both" or (mode == "sheets") == ("sheet" in p)]
        if not photos:
            continue
        _, readings, seconds = read_all(folder, truth, photos)
        slow.append(seconds)
        for side in Side:
            mine = [(r, p) for r, p in zip(readings, photos, strict=True) if p["side"] == side.value]
            true = [pin for pin in truth["pins"] if pin["side"] == side.value]
            told = mine[0][0].pins
            if mode == "both" and len(mine) > 1:
                told = together([r for r, _ in mine], common_width_mm([r.slot for r in readings]))
            score = score_face(told, true)
            each.append(score.rms_mm)
            total.add(score)
            words = ""
            for reading, photo in mine:
                if "sheet" not in photo:
                    continue
                enough = len(photo["sheet"]["corners_px"]) >= 40
                found = lens_of(reading, photo)
                lens["photos"] += enough
                if found is not None:
                    lens["found"] += enough
                    lens["k1"] += enough and abs(found[2]) < 0.003
                    lens["focal"] += enough and abs(found[1]) < 0.02
                    words += f" corners {found[0]} f {100 * found[1]:+.2f} % k1 {found[2]:+.5f}"
            print(f"{truth['name']:8s} {side.value} F1 {score.f1:.3f} rms {score.rms_mm:.4f}{words}", flush=True)
    print(
        f"{mode}: F1 {total.f1:.3f}, places mean {np.mean(each):.4f} worst {max(each):.4f} mm, in 1 sigma "
        f"{total.within(1):.2f}; sheet found {lens['found']} of {lens['photos']}, k1 {lens['k1']}, focal length "
        f"{lens['focal']}; {np.mean(slow):.2f} processor s a photo"
    )


def together(readings: list[Any], slot_mm: float | None) -> Any:
    """The pins of a face by its photographs, brought together as disc read does. slot_mm: the slot's usual width."""
    shown = laid_on_first([ShownFace(r.pins, r.faint, r.shown_mm) for r in readings])
    off = slot_off_deg([(one.turn_deg, r.slot) for one, r in zip(shown, readings, strict=True)], slot_mm)
    return turned_pins(together_by(shown, readings[0]), -np.radians(off))


def close_ups(folder: Path, truths: list[dict[str, Any]], seed: int, each: int) -> None:
    count, kinds, whole, slow = Counter[str](), Counter[tuple[str, str]](), Counter[tuple[str, str]](), []
    for truth in truths:
        photos = [p for p in truth["photos"] if "sheet" not in p]
        loaded, readings, _ = read_all(folder, truth, photos)
        rng = np.random.default_rng([seed, *map(ord, truth["name"])])
        for (picture, side), reading, photo in zip(loaded, readings, photos, strict=True):
            done = 0
            while done < each:
                crop = cut(picture.pixels, photo["pins_px"], reading.view.px_per_mm, rng)
                if crop is None:
                    continue
                done += 1
                begun = time.process_time()
                near = Photo(Path("close-up.png"), crop.pixels)
                one = read_close_up(near, side, reading.pins, reading.view.radius_mm)
                slow.append(time.process_time() - begun)
                h, w = crop.pixels.shape[:2]
                u, v, _ = np.linalg.inv(crop.matrix) @ [(w - 1) / 2, (h - 1) / 2, 1]
                middle = np.array(reading.view.to_disc_mm(u, v)).ravel()
                right = len(one.outline_mm) > 0 and np.linalg.norm(one.outline_mm.mean(0) - middle) < RIGHT_MM
                count["doubtful" if one.doubtful else "right" if right else "wrong"] += 1
                count["mirror"] += not one.doubtful and one.mirrored == crop.mirrored
                if right and not one.doubtful:
                    true = [pin for pin in truth["pins"] if pin["side"] == side.value and pin["id"] in crop.pins]
                    _conditions(true, lay_in(reading.pins, [one]).pins, kinds)
                    _conditions(true, reading.pins, whole)
    print(f"close-ups: {dict(count)}; {np.mean(slow):.2f} processor s each")
    for name, some in (("whole face", whole), ("with close-up", kinds)):
        words = []
        for kind in ("sound", "missing", "bent", "stub"):
            hit = some[(kind, kind)]
            said, real = (sum(n for k, n in some.items() if k[place] == kind) for place in (1, 0))
            words.append(f"{kind} P {hit / max(said, 1):.2f} R {hit / max(real, 1):.2f} ({real})")
        print(f"  {name}: {', '.join(words)}")


def _conditions(true: list[dict[str, Any]], told: Any, kinds: Counter[tuple[str, str]]) -> None:
    """True and told condition of each pin that the crop shows; '-' where it was not told."""
    found = {j: i for i, j in pair_up(xy(list(told)), xy(true))}
    for j, pin in enumerate(true):
        kinds[(pin["condition"], told[found[j]].condition.value if j in found else "-")] += 1


def scans(folder: Path, truths: list[dict[str, Any]], longer: float) -> None:
    total, each = Score(), []
    for truth in truths:
        photos = {}
        for photo in [p for p in truth["photos"] if "sheet" not in p]:
            true_scan = "scan" in photo
            pixels = load_photo(folder / photo["file"]).pixels if true_scan else scanned(folder, truth, photo, longer)
            path = Path(f"{photo['side']}.png")
            photos[path] = Photo(path, pixels, px_per_mm=SCAN_PX_PER_MM)
        ready = make_ready(photos, truth["disc"]["diameter_mm"] / 2)
        upper, lower = (tuple(path for path in photos if path.stem == side) for side in ("upper", "lower"))
        request = ReadRequest(upper, lower)
        told = ready.told_in_originals(read_both_sides(request, ready.ready, plate_of(truth)))
        for face in told.sides:
            score = score_face(face.pins, [p for p in truth["pins"] if p["side"] == face.side.value])
            total.add(score)
            each.append(score.rms_mm)
            print(f"{truth['name']:8s} {face.side.value} F1 {score.f1:.3f} rms {score.rms_mm:.4f}", flush=True)
    print(f"scans: F1 {total.f1:.3f}, places {total.rms_mm:.4f} mm r.m.s., worst face {max(each):.4f}")


def scanned(folder: Path, truth: dict[str, Any], photo: dict[str, Any], longer: float) -> Any:
    """A face without perspective at 1200 dpi, turned by 17 degrees, longer across by this part."""
    source = source_of(folder, truth, photo)
    half = truth["disc"]["diameter_mm"] / 2 + 2.5
    across, down = (int(2 * half * SCAN_PX_PER_MM * part) for part in (1 + longer, 1.0))
    u, v = np.meshgrid(np.arange(across), np.arange(down))
    x = (u - (across - 1) / 2) / SCAN_PX_PER_MM / (1 + longer) + 0.6
    y = -(v - (down - 1) / 2) / SCAN_PX_PER_MM - 0.4
    x, y = np.cos(0.3) * x - np.sin(0.3) * y, np.sin(0.3) * x + np.cos(0.3) * y
    a, b, c = source.turn @ np.stack([x.ravel(), y.ravel(), np.zeros(x.size)]) + source.place[:, None]
    at = [source.focal_px * way / c + (size - 1) / 2 for way, size in zip((a, b), source.size, strict=True)]
    half_px = np.hypot(*source.size) / 2
    middle = [(size - 1) / 2 for size in source.size]
    grow = 1 + source.k1 * sum((p - m) ** 2 for p, m in zip(at, middle, strict=True)) / half_px**2
    left, top = (((p - m) * grow + m).reshape(x.shape).astype(np.float32) for p, m in zip(at, middle, strict=True))
    return cv2.remap(source.pixels, left, top, cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE)


def main() -> None:
    """Measure what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["sheets", "plain", "both", "close-ups", "scans"])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--names", default="")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--each", type=int, default=5)
    parser.add_argument("--longer", type=float, default=0.003)
    given = parser.parse_args()
    names = given.names.split(",") if given.names else sorted(p.stem for p in given.folder.glob("*.json"))
    truths = [json.loads((given.folder / f"{name}.json").read_text()) for name in names]
    if given.what == "close-ups":
        close_ups(given.folder, truths, given.seed, given.each)
    elif given.what == "scans":
        scans(given.folder, truths, given.longer)
    else:
        faces(given.folder, truths, given.what)


if __name__ == "__main__":
    main()
