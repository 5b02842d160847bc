"""Each shipped network alone against the sample's truth, which comes from the renderer that drew it."""

from __future__ import annotations

import numpy as np
import pytest

from disc.photo.image import Photo, load_photo, opencv
from disc.photo.marks.networks import CLOSER_PX, CLOSER_PX_PER_MM, FOLDER, FRAME_PX, ask_closer, ask_finder
from disc.photo.plate.find_plate import find_plate

from .photo_sample import SAMPLE

KINDS = {"missing": 2, "stub": 1}


def test_weights_are_small():
    # The bar of the accuracy issue: the package ships under 5 MB of weights.
    assert sum(p.stat().st_size for p in FOLDER.glob("*.onnx")) < 5e6


@pytest.fixture(scope="module")
def crops(truth):
    """Crops about the true roots of the upper side, cut at the closer's scale without the reader's own geometry.

    Two sets: as the face lies, and turned so that sound pins point to the right; their true kinds; how long sound pins
    are drawn, mm.
    """
    cv2 = opencv()
    photo = next(p for p in truth["photos"] if p["side"] == "upper")
    pixels = load_photo(SAMPLE / "upper.jpg").pixels
    rim = np.array(photo["rim_px"])
    t = np.radians(np.arange(0, 360, 15))
    radius = truth["disc"]["diameter_mm"] / 2
    plane, _ = cv2.findHomography(np.stack([radius * np.cos(t), radius * np.sin(t)], 1), rim)
    by_id = {p["id"]: p for p in truth["pins"]}
    pins = [by_id[q["id"]] for q in photo["pins_px"]]
    ends = np.array([[q["root"], q["tip"]] for q in photo["pins_px"]]).reshape(-1, 1, 2)
    ends = cv2.perspectiveTransform(ends, np.linalg.inv(plane)).reshape(-1, 2, 2)
    sound = [p["condition"] == "sound" for p in pins]
    drawn = np.median((ends[:, 1] - ends[:, 0])[sound], 0)  # the sample's lens is far: one length for all of the face

    def cut(x: float, y: float, angle: float):
        s, c = CLOSER_PX_PER_MM, (CLOSER_PX - 1) / 2
        turn = np.array([[np.cos(angle), np.sin(angle)], [np.sin(angle), -np.cos(angle)]]) / s
        to_mm = np.array([[*turn[0], x - c * turn[0].sum()], [*turn[1], y - c * turn[1].sum()], [0, 0, 1.0]])
        how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        return cv2.warpPerspective(pixels, plane @ to_mm, (CLOSER_PX, CLOSER_PX), flags=how)

    sets = [[], []]
    for p in pins:
        a = np.radians(p["theta_deg"])
        for pictures, angle in zip(sets, (0.0, np.arctan2(drawn[1], drawn[0])), strict=True):
            pictures.append(cut(p["r_mm"] * np.cos(a), p["r_mm"] * np.sin(a), angle))
    return sets, np.array([KINDS.get(p["condition"], 0) for p in pins]), float(np.hypot(*drawn))


@pytest.mark.parametrize("known", [False, True])
def test_closer_tells_kinds_and_places(crops, known):
    sets, kinds, drawn = crops
    said = ask_closer(sets[known], np.full(len(kinds), drawn if known else np.nan))
    assert np.mean(said.kind.argmax(1) == kinds) >= 0.94
    root_mm = np.hypot(*said.root.T) / CLOSER_PX_PER_MM
    assert np.median(root_mm) < 0.025  # a tenth of a pin's thickness


def test_closer_knows_how_far_it_is_off(crops):
    sets, kinds, drawn = crops
    said = [ask_closer(some, np.full(len(kinds), known)) for some, known in zip(sets, (np.nan, drawn), strict=True)]
    root_px = np.concatenate([np.hypot(*one.root.T) for one in said])
    # Two axes of a normal error: 96 % of lengths lie within 2.5 sigma (Rayleigh distribution); heavy tails leave fewer.
    assert np.mean(root_px < 2.5 * np.concatenate([one.sigma_root for one in said])) > 0.7


def test_closer_sees_nothing_on_bare_plate(crops):
    # The crops' corners lie 0.4 mm and more from the pin; four of them make a piece of plate without one.
    sets, _, drawn = crops
    h = CLOSER_PX // 4
    bare = [np.tile(p[:h, :h], (4, 4, 1)) for p in sets[1]]
    assert np.median(ask_closer(bare, np.full(len(bare), drawn)).kind[:, 3]) > 0.5


def test_closer_believes_what_it_is_told_of_the_slant_only_as_far_as_it_is_seen(crops):
    # Told a length half as long again, it goes on seeing the pins as they are drawn.
    sets, kinds, drawn = crops
    pin = kinds == 0
    tips = [ask_closer(sets[1], np.full(len(kinds), told)).tip[pin, 0] for told in (drawn, 1.5 * drawn)]
    assert np.median(tips[0]) / CLOSER_PX_PER_MM == pytest.approx(drawn, abs=0.02)
    assert np.median(tips[1]) / CLOSER_PX_PER_MM == pytest.approx(drawn, abs=0.04)


def test_finder_answers_nothing_on_an_empty_table():
    # A smooth ground with noise (drawn here) holds no disc.
    rng = np.random.default_rng(3)
    u = np.linspace(80, 170, FRAME_PX)
    table = np.clip(u[None, :, None] + rng.normal(0, 4, (FRAME_PX, FRAME_PX, 3)), 0, 255).astype(np.uint8)
    assert ask_finder(table).face.max() < 0.5


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_finder_finds_rim_arbor_and_slot_however_the_photo_is_turned(turns, truth):
    photo = next(p for p in truth["photos"] if p["side"] == "lower")
    loaded = load_photo(SAMPLE / "lower.jpg")
    pixels = np.ascontiguousarray(np.rot90(loaded.pixels, turns))
    points = np.array([photo["centre_px"], photo["datum_px"], *photo["rim_px"]])
    n = loaded.width - 1
    for _ in range(turns):  # np.rot90 turns counter-clockwise: (u, v) goes to (v, n - u)
        points = np.stack([points[:, 1], n - points[:, 0]], 1)
    found = find_plate(Photo(loaded.path, pixels, None))
    px_per_mm = np.ptp(points[2:, 0]) / truth["disc"]["diameter_mm"]
    assert np.hypot(*(np.array(found.centre) - points[0])) < 0.2 * px_per_mm
    assert found.slot is not None
    assert np.hypot(*(np.array(found.slot) - points[1])) < 0.4 * px_per_mm
    rim = found.ellipse.distance(points[3:, 0], points[3:, 1])
    assert np.sqrt(np.mean(rim**2)) < 0.15 * px_per_mm
