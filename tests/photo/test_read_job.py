"""A job read from the sample: files, records, corrections over a second reading, --both."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pytest
from PIL import Image

import disc.photo.sheets.redraw
from disc.comb.comb_job import read_and_name
from disc.correct_plate import correct_plate
from disc.frame import to_xy_mm
from disc.job import create_job, open_for_writing, open_job, sha256_of
from disc.job.corrections import Action, Correction, distance_mm
from disc.job.kept import kept_sets
from disc.photo.combine_photos import FaceTogether, how_faces_agree
from disc.photo.image import opencv
from disc.photo.plane.view import View
from disc.photo.read_photos import load_views, read_job
from disc.photo.request import ReadRequest
from disc.photo.seen.seen_map import SeenMap
from disc.records import Condition, Pin, Plate, Side
from disc.results import ReadResult
from disc.tables import read_comb

from .photo_sample import SAMPLE, matched


@pytest.fixture(scope="module")
def job_folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("photo") / "job"
    create_job(folder, Plate(30.0, bore_mm=3.0))
    shutil.copyfile(SAMPLE / "comb.csv", folder / "comb.csv")
    with open_for_writing(folder) as job:
        read_job(job, upper=(SAMPLE / "upper.jpg",), lower=(SAMPLE / "lower.jpg",))
    return folder


def test_files_and_records(job_folder):
    job = open_job(job_folder)
    for name in (
        "pins.csv",
        "reading.csv",
        "out/overlay-upper.jpg",
        "out/overlay-lower.jpg",
        "out/faces.jpg",
        "out/map.svg",
    ):
        assert job.has(name), name
    for side in ("upper", "lower"):
        assert job.content.photos[f"{side}.jpg"] == sha256_of(SAMPLE / f"{side}.jpg")
        assert sha256_of(job.path(f"photos/{side}.jpg")) == sha256_of(SAMPLE / f"{side}.jpg")
        with Image.open(job.out(f"overlay-{side}.jpg")) as overlay, Image.open(SAMPLE / f"{side}.jpg") as photo:
            assert overlay.size == photo.size
    views = load_views(job)
    assert set(views) == {Side.UPPER, Side.LOWER}
    assert views[Side.LOWER].photo == "photos/lower.jpg"
    json.dumps(job.content.faces)


def test_the_flattened_faces_lie_slot_up_as_if_looking_through(job_folder):
    sheet = np.asarray(Image.open(open_job(job_folder).out("faces.jpg")).convert("L"), float)[56:]
    side = sheet.shape[0]
    assert sheet.shape[1] == 2 * side
    radius_px = open_job(job_folder).plate.diameter_mm / 2 * 32.0  # the sheet's 32 px/mm
    for face in (sheet[:, :side], sheet[:, side:]):
        a = np.radians(np.arange(0, 360, 2))
        rr = radius_px - 0.45 * 32.0  # across the slot, below the rim
        ring = face[(side / 2 - rr * np.cos(a)).astype(int), (side / 2 - rr * np.sin(a)).astype(int)]
        # The slot, half a millimetre and more to either side of straight up, shows the dark ground.
        assert ring[0] < 0.75 * np.median(ring)
        assert ring[0] < np.quantile(ring[3:-3], 0.1)


def test_reading_and_naming_teeth_is_one_step_where_there_is_a_comb(job_folder, tmp_path, monkeypatch):
    """No table or photograph that the step itself wrote is read back."""
    folder = tmp_path / "job"
    shutil.copytree(job_folder, folder)
    assert all(pin.tooth is None for pin in open_job(folder).pins())
    steps = len(kept_sets(folder))

    def never(*_: object) -> None:
        raise AssertionError("read back")

    monkeypatch.setattr(disc.photo.sheets.redraw, "load_photo", never)
    with open_for_writing(folder) as job:
        before = job.pins()
        monkeypatch.setattr(type(job), "pins", never)
        reading = read_and_name(job, upper=(SAMPLE / "upper.jpg",), lower=(SAMPLE / "lower.jpg",))
    monkeypatch.undo()
    job = open_job(folder)
    assert [(p.id, p.tooth) for p in reading.pins] == [(p.id, p.tooth) for p in job.pins()]
    assert len(kept_sets(folder)) == steps + 1
    assert [(p.id, p.r_mm, p.theta_deg) for p in job.pins()] == [(p.id, p.r_mm, p.theta_deg) for p in before]
    assert set(map(str, job.content.results["teeth"]["probability"])) <= {str(pin.id) for pin in job.pins()}
    comb = {tooth.number: tooth for tooth in read_comb(SAMPLE / "comb.csv").teeth}
    truth = json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8"))
    right = 0
    for side in Side:
        pins = [p for p in job.pins() if p.side is side]
        true = [p for p in truth["pins"] if p["side"] == side]
        for i, j in matched(pins, true):
            if pins[i].tooth is not None:
                assert comb[pins[i].tooth].side is side
                right += pins[i].tooth == true[j]["tooth"]
    assert right >= 0.98 * len(truth["pins"])


def test_corrections_survive_a_new_reading(job_folder, tmp_path):
    folder = tmp_path / "job"
    shutil.copytree(job_folder, folder)
    pins = open_job(folder).pins()
    wrong, away = pins[3], pins[10]
    done = (
        Correction(Action.CHANGE, wrong.side, wrong.r_mm, wrong.theta_deg, (("condition", Condition.BENT),)),
        Correction(Action.REMOVE, away.side, away.r_mm, away.theta_deg),
        Correction(Action.ADD, Side.UPPER, 3.1, 200.0, (("condition", Condition.MISSING),)),
        Correction(Action.CHANGE, Side.UPPER, 2.0, 10.0, (("condition", Condition.STUB),)),
    )
    with open_for_writing(folder) as job:
        with job.step("correct") as stage:
            job.stage_edit(stage, done)
        reading = read_job(job, upper=(folder / "photos" / "upper.jpg",), lower=(folder / "photos" / "lower.jpg",))
    after = open_job(folder).pins()
    assert reading.unfit == (done[3],)
    assert len(after) == len(pins)
    near = [p for p in after if p.side is wrong.side and abs(p.r_mm - wrong.r_mm) < 0.05]
    assert any(p.condition is Condition.BENT and abs(p.theta_deg - wrong.theta_deg) < 1 for p in near)
    assert not any(p.side is away.side and p.theta_deg == away.theta_deg and p.r_mm == away.r_mm for p in after)
    assert any(p.condition is Condition.MISSING and abs(p.r_mm - 3.1) < 1e-6 for p in after)
    assert sorted(p.name for p in (folder / "photos").iterdir()) == ["lower.jpg", "upper.jpg"]


def test_corrections_go_with_the_pins_where_the_diameter_is_corrected(job_folder, tmp_path):
    """The disc is 30 mm across; a person corrected pins while 33 mm were said."""
    folder = tmp_path / "job"
    shutil.copytree(job_folder, folder)
    with open_for_writing(folder) as job:
        correct_plate(job, {"diameter_mm": 33.0})
    wrong = max(open_job(folder).pins(), key=lambda pin: pin.r_mm)
    moved = (("r_mm", 5.5), ("theta_deg", 100.0), ("height_mm", 0.4))
    done = (
        Correction(Action.CHANGE, wrong.side, wrong.r_mm, wrong.theta_deg, (("condition", Condition.STUB),)),
        Correction(Action.ADD, Side.UPPER, 5.5, 100.0, moved),
    )
    with open_for_writing(folder) as job:
        with job.step("correct") as stage:
            job.stage_edit(stage, done)
        correct_plate(job, {"diameter_mm": 30.0})
    job = open_job(folder)
    assert [c.r_mm for c in job.corrections()[0]] == pytest.approx([wrong.r_mm / 1.1, 5.0])
    (added,) = [pin for pin in job.pins() if pin.side is Side.UPPER and pin.theta_deg == 100.0]
    assert added.r_mm == pytest.approx(5.0) and added.height_mm == 0.4  # a height was measured by hand
    assert job.content.result(ReadResult).corrections_not_fitting == 0
    stub = min(job.pins(), key=lambda p: distance_mm(p, job.corrections()[0][0]))
    assert stub.condition is Condition.STUB and stub.r_mm == pytest.approx(wrong.r_mm / 1.1, abs=0.05)


def test_both_faces_in_one_picture(job_folder, tmp_path):
    pictures = [np.asarray(Image.open(SAMPLE / f"{side}.jpg").resize((1300, 1300))) for side in ("upper", "lower")]
    Image.fromarray(np.hstack(pictures)).save(tmp_path / "both.jpg", quality=92)
    job = create_job(tmp_path / "job", Plate(30.0, bore_mm=3.0))
    reading = read_job(job, ReadRequest(both=tmp_path / "both.jpg"))
    truth = json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8"))
    for side in Side:
        pins = [p for p in reading.pins if p.side is side]
        true = [p for p in truth["pins"] if p["side"] == side]
        assert len(matched(pins, true)) >= 0.95 * len(true)
    view = load_views(job)[Side.LOWER]
    assert (view.width_px, view.height_px) == (2600, 1300)
    u, _ = view.to_photo_px(0.0, 0.0)
    assert u > 1300  # the view speaks of the whole picture
    (u1, u2), (v1, v2) = view.to_photo_px(np.array([-10.0, 10.0]), np.array([3.0, 3.0]))
    scale = (float(u1), float(v1), float(u2), float(v2), 20.0)
    again = read_job(create_job(tmp_path / "scaled", Plate(20.0)), ReadRequest(both=tmp_path / "both.jpg", scale=scale))
    assert again.faces["lower"]["radius_mm"] == pytest.approx(15.0, abs=0.02)


def test_scale_from_a_known_length(job_folder, tmp_path):
    job = create_job(tmp_path / "job", Plate(20.0))  # a wrong diameter, overruled by the scale
    view = load_views(open_job(job_folder))[Side.UPPER]
    (u1, u2), (v1, v2) = view.to_photo_px(np.array([-10.0, 10.0]), np.array([3.0, 3.0]))
    reading = read_job(
        job, ReadRequest(upper=(SAMPLE / "upper.jpg",), scale=(float(u1), float(v1), float(u2), float(v2), 20.0))
    )
    # A hundredth of a millimetre on the disc's edge: what the plane itself is good for.
    assert reading.faces["upper"]["radius_mm"] == pytest.approx(15.0, abs=0.02)
    assert any("30.0" in note and "20 mm" in note for note in reading.notes)
    right = [pin.r_mm for pin in open_job(job_folder).pins() if pin.side is Side.UPPER]
    assert sorted(pin.r_mm for pin in reading.pins) == pytest.approx(sorted(right), abs=0.02)


def test_one_face_read_again_leaves_the_other_as_it_was(job_folder, tmp_path):
    folder = tmp_path / "job"
    shutil.copytree(job_folder, folder)
    before = open_job(folder)
    with open_for_writing(folder) as job:
        reading = read_job(job, upper=(SAMPLE / "upper.jpg",))
    after = open_job(folder)
    assert after.content.faces["lower"] == before.content.faces["lower"]
    assert set(load_views(after)) == set(Side)
    lower = [[(p.r_mm, p.theta_deg) for p in job.pins() if p.side is Side.LOWER] for job in (before, after)]
    assert lower[0] == lower[1]
    assert {p.side for p in reading.pins} == set(Side)
    assert [p.id for p in after.pins()] == list(range(1, len(after.pins()) + 1))
    assert after.content.results["read"]["counts"]["lower"] == before.content.results["read"]["counts"]["lower"]


def test_a_slot_marked_at_the_desk_counts_for_the_same_photo_only(job_folder, tmp_path):
    folder = tmp_path / "job"
    shutil.copytree(job_folder, folder)
    view = load_views(open_job(folder))[Side.UPPER]
    u, v = view.to_photo_px(0.0, 14.8)  # a quarter turn on from the true slot
    with Image.open(SAMPLE / "upper.jpg") as picture:
        picture.save(tmp_path / "other.jpg", quality=90)
    first = [p for p in open_job(folder).pins() if p.side is Side.UPPER]
    with open_for_writing(folder) as job:
        job.settings["photo.slot_upper"] = [float(u), float(v)]
        marked = [p for p in read_job(job, upper=(SAMPLE / "upper.jpg",)).pins if p.side is Side.UPPER]
        other = [p for p in read_job(job, upper=(tmp_path / "other.jpg",)).pins if p.side is Side.UPPER]
    quarter = [
        p
        for p in first
        if any(
            abs((p.theta_deg - 90.0 - q.theta_deg + 180) % 360 - 180) < 1.0 and abs(p.r_mm - q.r_mm) < 0.05
            for q in marked
        )
    ]
    assert len(quarter) >= 0.95 * len(first)
    assert len(matched(other, [{"r_mm": p.r_mm, "theta_deg": p.theta_deg} for p in first])) >= 0.95 * len(first)


def test_how_the_faces_agree_is_kept(job_folder):
    told = open_job(job_folder).content.results["read"]["agreement"]
    # truth.json of the sample: the slot is 1.0 mm wide; its edges are broken, so that both faces show a little more.
    assert all(0.95 < width < 1.12 for width in told["slot_widths_mm"])
    assert told["through"] == 0 and told["apart_mm"] is None  # its old holes do not go through


def test_holes_seen_from_both_sides_are_compared():
    def face(side, *pins):
        told = tuple(Pin(k, side, r, t, height_mm=h, condition=c) for k, (r, t, h, c) in enumerate(pins))
        return FaceTogether(side, None, None, told, None, 0.9, 0.02, 0.02, (), SeenMap.clear(side, 14.0))

    upper = face(
        Side.UPPER,
        (10.0, 359.9, 0.0, Condition.MISSING),
        (6.0, 90.0, 0.0, Condition.EXTRA),
        (8.0, 200.0, 0.5, Condition.SOUND),
    )
    lower = face(
        Side.LOWER,
        (10.03, 0.0, 0.0, Condition.MISSING),
        (6.0, 95.0, 0.0, Condition.MISSING),
        (8.0, 200.0, 0.0, Condition.MISSING),
    )
    agreement = how_faces_agree(upper, lower)
    assert agreement.through == 1
    # 0.03 mm along the radius, 0.1 degree of 10 mm across it
    assert agreement.apart_mm == pytest.approx(np.hypot(0.03, 10.0 * np.radians(0.1)), abs=1e-3)


def test_each_photograph_has_an_overlay_with_its_own_marks(tmp_path, monkeypatch):
    picture = opencv().imread(str(SAMPLE / "upper.jpg"), opencv().IMREAD_REDUCED_COLOR_2)  # quicker
    once, again = (tmp_path / f"{name}.jpg" for name in ("once", "again"))
    assert opencv().imwrite(str(once), picture)
    assert opencv().imwrite(str(again), opencv().rotate(picture, opencv().ROTATE_90_CLOCKWISE))
    create_job(tmp_path / "job", Plate(30.0, bore_mm=3.0))
    drawn = []
    redraw = disc.photo.sheets.redraw
    draw = redraw.draw_overlay
    monkeypatch.setattr(redraw, "draw_overlay", lambda *given: drawn.append(given) or draw(*given))
    with open_for_writing(tmp_path / "job") as job:
        read_job(job, upper=(once, again))
        face = job.content.faces["upper"]
        photo, view, pins, _ = drawn[0]
        assert job.has("out/overlay-upper-2.jpg") and photo.path.name == face["photos"][1]["photo"].rsplit("/", 1)[-1]
        # A quarter turn lays one picture on the other: so it does with where both have the pins.
        lead = View.from_json(face)
        xy = np.array([to_xy_mm(pin.r_mm, pin.theta_deg) for pin in pins]).T
        (u, v), (across, down) = (one.to_photo_px(*xy) for one in (lead, view))
        turned = (lead.height_px - 1 - v, u) if photo.path.name == "again.jpg" else (v, lead.width_px - 1 - u)
        assert np.abs(np.subtract(turned, (across, down))).max() < 0.1 * lead.px_per_mm
        del face["photos"][1]  # as a reading of one photograph leaves it
        with job.step("read") as stage:
            assert redraw.stage_others(stage, job, Side.UPPER, pins) == []
        assert not job.has("out/overlay-upper-2.jpg")
