"""The weights of disc/photo/marks (disc/photo/fitted.json), fitted on rendered faces that no network was trained on.

    python -m tests.bench.fit.photo_training.fit_odds FOLDER [FOLDER ...] [--out FILE]

Logistic regression of "is this mark a site" on the two networks' logits, the slant's, the tracks' and the likeness's
log-odds and whether it is taken for a stub or hole. Fitted on the faces of even place in the list; F1 of both halves is
printed, before and after. Bent pins, stubs and holes count for 0.3: the faces have several times a disc's share of
them. Then how alike other marks look, what likeness says against stubs and holes, how wide the networks' sigmas are, by
what part roots are better than they are held for, and how far sound and bent pins lean in sigmas. What is written was
fitted on all faces; from which odds sites make tracks is chosen by F1, and stays.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment, minimize

from disc.errors import BadInput
from disc.fitted import Made
from disc.photo.fitted import FITTED, likeness, own_scale, site_weights
from disc.photo.image import load_photo
from disc.photo.marks import pins_from_sites as judge
from disc.photo.marks import site_odds as weigh
from disc.photo.marks.slant import Slant
from disc.photo.marks.spots import PIN, STUB, Spots
from disc.photo.plane.joint import feet_put_right
from disc.photo.read_face import look_at
from disc.photo.request import ReadSettings
from disc.records import Plate, Side, Turns
from tests.bench.fit.fitted_file import add_out, write_parts

REACH_MM, DAMAGED = 0.25, 0.3
NEEDS = "FOLDERS: faces of make_faces.py, with their truth files"
STRENGTH = 1e-3  # of the pull towards the weights in force


@dataclass
class Face:
    """spots, root, tip: in the exact plane's view mm. condition: (n,) of the true sites."""

    spots: Spots
    slant: Slant
    radius_mm: float
    bore_mm: float
    root: Any
    tip: Any
    condition: Any


def look(folder: Path, truth: dict[str, Any]) -> list[Face]:
    """Each face read alone, up to the weighing."""
    by_id = {p["id"]: p for p in truth["pins"]}
    plate = Plate(truth["disc"]["diameter_mm"], Turns(truth["disc"]["turns"]))
    out = []
    for item in truth["photos"]:
        try:
            seen = look_at(load_photo(folder / item["file"]), Side(item["side"]), plate, ReadSettings())
        except BadInput:
            continue
        plane = seen.joint.plane
        mm = seen.seen.in_plane(plane)
        mm = replace(mm, root=feet_put_right(seen.joint, mm.root))
        ends = [plane.to_mm(np.array([q[k] for q in item["pins_px"]]).reshape(-1, 2)) for k in ("root", "tip")]
        names = np.array([by_id[q["id"]]["condition"] for q in item["pins_px"]])
        slant = seen.joint.slant
        out.append(Face(weigh.feet_by_slant(mm, slant), slant, seen.seen.radius_mm, seen.seen.bore_mm, *ends, names))
    return out


def features(face: Face) -> tuple[Any, Any]:
    """((n, 7) of the marks, on the face at all)."""
    s = face.spots
    radii = np.hypot(*s.root.T)
    kind = s.kind.argmax(1)
    left = np.linalg.norm(s.tip - s.root - face.slant.at(s.root), axis=1)
    slant = np.where(kind == PIN, weigh._slant_odds(s, left, face.slant), 0.0)
    like = np.where((kind == PIN) & (left < weigh.UPRIGHT_MM), weigh.alike(s, face.slant), 0.0)
    now = site_weights()
    first = weigh.network_odds(s) + now.alike * like
    first = first + np.where(kind == PIN, now.slant * slant, -now.no_pin)
    tracks = weigh.track_odds(radii, weigh.sure_tracks(s, radii, first, now.makes_track), face.radius_mm)
    columns = [weigh._logit(s.coarse), weigh._logit(s.heat), slant, tracks, np.ones(len(s)), kind != PIN, like]
    on = weigh.site_odds(s, radii, face.radius_mm, face.slant, face.bore_mm) > -15
    return np.clip(np.stack(columns, 1), -12, 12), on


def paired(face: Face, chosen: Any) -> tuple[Any, Any]:
    """Marks of the mask and true sites that belong together, each once."""
    which = np.nonzero(chosen)[0]
    gap = np.linalg.norm(face.spots.root[which][:, None] - face.root[None], axis=2)
    i, j = linear_sum_assignment(np.minimum(gap, 2 * REACH_MM))
    near = gap[i, j] < REACH_MM
    return which[i[near]], j[near]


def in_force() -> Any:
    w = site_weights()
    return np.array([w.coarse, w.closer, w.slant, w.track, -w.zero, -w.no_pin, w.alike])


def fit(faces: list[Face]) -> Any:
    rows, labels, shares = [], [], []
    for face in faces:
        x, on = features(face)
        real, which = paired(face, on)
        label = np.zeros(len(x))
        label[real] = 1
        share = np.ones(len(x))
        share[real] = np.where(face.condition[which] == "sound", 1.0, DAMAGED)
        gap = np.linalg.norm(face.spots.root[:, None] - face.root[None], axis=2).min(1, initial=9.0)
        use = on & ((label == 1) | (gap > REACH_MM))  # of several marks of one pin the others are left out
        rows.append(x[use])
        labels.append(label[use])
        shares.append(share[use])
    x, label, share = map(np.concatenate, (rows, labels, shares))

    def loss(w: Any) -> float:
        z = np.where(label > 0, -(x @ w), x @ w)
        return float(np.sum(share * np.logaddexp(0, z)) / share.sum() + STRENGTH * np.sum((w - in_force()) ** 2))

    return minimize(loss, in_force(), method="BFGS").x


def f1(faces: list[Face], w: Any) -> float:
    found = said = true = 0
    for face in faces:
        x, on = features(face)
        left = np.linalg.norm(face.spots.tip - face.spots.root - face.slant.at(face.spots.root), axis=1)
        odds = np.where(on, x @ w, -20.0)
        keep = weigh._without_shadows(face.spots, odds, face.spots.kind.argmax(1), left) > 0
        found, said, true = found + len(paired(face, keep)[0]), said + int(keep.sum()), true + len(face.root)
    return 2 * found / max(said + true, 1)


def show_sigmas(faces: list[Face]) -> None:
    """Errors of feet and tips in the networks' sigmas, and leans in sigmas of measuring."""
    errors: dict[str, list[float]] = {"foot": [], "tip": [], "sound": [], "bent": []}
    for face in faces:
        s = face.spots
        keep = weigh.site_odds(s, np.hypot(*s.root.T), face.radius_mm, face.slant, face.bore_mm) > 0
        a, b = paired(face, keep & (s.kind.argmax(1) == PIN))
        lean = judge._sigmas_of_lean(s, s.tip - s.root - face.slant.at(s.root), face.slant)
        for i, j in zip(a, b, strict=True):
            name = str(face.condition[j])
            if name in ("sound", "bent"):
                errors[name].append(float(lean[i]))
                errors["foot"].extend(np.abs(s.root[i] - face.root[j]) / s.sigma_root[i])
                errors["tip"].extend(np.abs(s.tip[i] - face.tip[j]) / s.sigma_tip[i])
    for name, values in errors.items():
        if not values:
            continue
        print(f"{name:6s} in sigmas, quantiles .5 .68 .95 .98:", np.quantile(values, (0.5, 0.68, 0.95, 0.98)).round(2))


def fit_likeness(faces: list[Face]) -> dict[str, float]:
    """Middle and spread of other marks' likeness, and the logistic regression of pin against stub and hole on its
    log-odds, the network's own opinion as it is."""
    others, like, own, pin = [], [], [], []
    for face in faces:
        s = face.spots
        told = weigh.alike(s, face.slant)
        if not told.any():
            continue
        kind = s.kind.argmax(1)
        left = np.linalg.norm(s.tip - s.root - face.slant.at(s.root), axis=1)
        a, b = paired(face, weigh.site_odds(s, np.hypot(*s.root.T), face.radius_mm, face.slant, face.bore_mm) > 0)
        sure = (kind == PIN) & (weigh.network_odds(s) > weigh.SURE) & (left < weigh.UPRIGHT_MM)
        middle = s.crop[sure].mean(0)
        gap = np.linalg.norm(s.root[:, None] - face.root[None], axis=2).min(1, initial=9.0)
        others.extend(s.crop[gap > REACH_MM] @ middle / np.linalg.norm(middle))
        upright = left[a] < weigh.UPRIGHT_MM
        like.extend(told[a[upright]])
        own.extend(np.log(s.kind[a[upright], PIN] / s.kind[a[upright], STUB:].sum(1).clip(1e-6)))
        pin.extend(np.isin(face.condition[b[upright]], ("sound", "bent")))
    x, z, is_pin = np.array(like), np.array(own), np.array(pin)

    def loss(w: Any) -> float:
        odds = z + w[0] * (x - w[1])
        return float(np.mean(np.logaddexp(0, np.where(is_pin, -odds, odds))) + STRENGTH * np.sum(np.square(w)))

    now = likeness()
    weight, even = minimize(loss, [now.against_stub, now.even], method="BFGS").x
    middle_of, width = float(np.median(others)), float(1.4826 * np.median(np.abs(others - np.median(others))))
    told = {"other_middle": middle_of, "other_width": width, "against_stub": float(weight), "even": float(even)}
    return {name: round(value, 3) for name, value in told.items()}


def fit_roots(faces: list[Face]) -> dict[str, float]:
    """By what part roots of sound pins are better than feet and tips are held for: two thirds lie within it."""
    off: list[float] = []
    for face in faces:
        s = face.spots
        keep = weigh.site_odds(s, np.hypot(*s.root.T), face.radius_mm, face.slant, face.bore_mm) > 0
        a, b = paired(face, keep & (s.kind.argmax(1) == PIN))
        root, sigma = judge.best_roots(s, face.slant, 0.0)
        sound = face.condition[b] == "sound"
        off.extend((np.abs(root[a] - face.root[b]) / sigma[a][:, None] * own_scale())[sound].ravel())
    return {"own_scale": round(float(np.quantile(off, 0.683)), 3)}


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("folders", nargs="+", metavar="FOLDER")
    add_out(ask, FITTED)
    given = ask.parse_args()
    faces = []
    for path in sorted(p for folder in given.folders for p in Path(folder).glob("*.json")):
        truth = json.loads(path.read_text(encoding="utf-8"))
        if isinstance(truth, dict) and "photos" in truth:
            faces += look(path.parent, truth)
    even, odd = faces[::2], faces[1::2]
    now, new = in_force(), fit(even)
    print("coarse, closer, slant, tracks, -zero, -no pin, likeness: in force", now, "fitted on half", new.round(2))
    whole = fit(faces)
    print("fitted on all", whole.round(2))
    for name, half in (("fitted half", even), ("other half", odd)):
        print(f"F1 {name}: in force {f1(half, now):.4f}, fitted {f1(half, new):.4f}")
    show_sigmas(faces)
    parts = {"sites": as_part(whole), "likeness": fit_likeness(faces), "roots": fit_roots(faces)}
    print(parts)
    if given.out:
        data = f"{len(faces)} faces of {', '.join(given.folders)}"
        score = f"F1 of sites, fitted on half: {f1(even, new):.4f} there, {f1(odd, new):.4f} on the other half"
        made = Made("tests.bench.fit.photo_training.fit_odds", "FOLDERS", None, data, score, NEEDS)
        write_parts(given.out, parts, dict.fromkeys(parts, made))


def as_part(w: Any) -> dict[str, float]:
    """Fitted weights in the order of in_force, as the file has them."""
    names = {
        "coarse": w[0],
        "closer": w[1],
        "slant": w[2],
        "track": w[3],
        "zero": -w[4],
        "no_pin": -w[5],
        "alike": w[6],
    }
    return {name: round(float(value), 2) for name, value in names.items()} | {"makes_track": site_weights().makes_track}


if __name__ == "__main__":
    main()
