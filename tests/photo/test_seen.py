"""What a photograph does not show: the map, what is made of it, and photographs that are no use."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from disc.doubts import doubts_to_json
from disc.errors import BadInput
from disc.job import create_job
from disc.photo.faces_fit import SAME_FACE, FaceTraits, faces_fit
from disc.photo.image import Photo, opencv
from disc.photo.poorer import shared_part, why_poorer
from disc.photo.quality import judge_photo
from disc.photo.read_face import read_face
from disc.photo.seen.cover_features import far_radii
from disc.photo.seen.cut_out import cut_out
from disc.photo.seen.face_doubts import face_doubts
from disc.photo.seen.look_face import look_face
from disc.photo.seen.seen_map import ANGLES, RINGS, SEEN, SeenMap, Why, is_seen, seen_by_any
from disc.photo.seen.small_face import SIDE_PX
from disc.photo.seen.store import load_seen
from disc.photo.seen.unseen_sites import mark_unseen
from disc.photo.several.merge_pins import ShownFace, merge_pins
from disc.records import About, Condition, Pin, Plate, Side


def sector(side, first, last, inner=0, why=Why.COVERED):
    """A face of 14 mm of which the degrees first to last, from a ring outwards, are hidden."""
    letters = np.full((RINGS, ANGLES), SEEN)
    letters[inner:, np.arange(first, last) % ANGLES] = why.value
    return SeenMap.from_letters(side, 14.0, letters)


@settings(max_examples=30)
@given(st.integers(0, 359), st.integers(1, 359), st.floats(0, 13.99), st.floats(0, 359.99))
def test_arcs_and_places_say_the_same(first, wide, r, theta):
    one = sector(Side.UPPER, first, first + wide)
    arcs = one.unseen_arcs(r)
    assert arcs == ((float(first), float(first + wide)),)
    hidden = any(a <= theta < b or a <= theta + 360 < b for a, b in arcs)
    assert one.is_seen(r, theta) is not hidden
    assert one.share() == pytest.approx(wide / 360)


def test_map_knows_its_reasons_and_reads_back():
    one = seen_by_any([sector(Side.LOWER, 350, 370, 28), sector(Side.LOWER, 0, 360, 14, Why.GLARE)])
    assert one.why_unseen(13.0, 5.0) is Why.COVERED and one.why_unseen(5.0, 5.0) is None
    # Half the radius outwards is three quarters of the area.
    assert one.share(Why.COVERED) == pytest.approx(0.75 * 20 / 360) and one.share(Why.GLARE) == 0
    assert SeenMap.model_validate_json(one.model_dump_json()) == one
    assert one.unseen_arcs(13.0) == ((350.0, 370.0),)
    assert SeenMap.unseen(Side.UPPER, 14.0).unseen_arcs(3.0) == ((0.0, 360.0),)
    with pytest.raises(ValidationError, match="a raster has 56 rows"):
        SeenMap(side=Side.UPPER, radius_mm=14.0, rows=("x" * ANGLES,) * RINGS)


def test_hidden_sites_are_neither_missing_nor_absent():
    pins = [Pin(1, Side.UPPER, 10.0, 45.0, condition=Condition.MISSING, height_mm=0.0), Pin(2, Side.UPPER, 10.0, 200.0)]
    marked = mark_unseen(pins, sector(Side.UPPER, 30, 60))
    assert [p.condition for p in marked] == [Condition.UNSEEN, Condition.SOUND] and marked[0].height_mm is None
    # In glare a plain pin is a pin; what is doubtful there is not known.
    glare = sector(Side.UPPER, 30, 60, why=Why.GLARE)
    sure, faint = (Pin(1, Side.UPPER, 10.0, 45.0, confidence=c) for c in (0.99, 0.6))
    assert [p.condition for p in mark_unseen([sure, faint], glare)] == [Condition.SOUND, Condition.UNSEEN]


def test_of_two_photographs_the_one_that_sees_has_the_say():
    hidden, clear = sector(Side.UPPER, 30, 60), SeenMap.clear(Side.UPPER, 14.0)
    pin = Pin(1, Side.UPPER, 10.0, 45.0, sigma_mm=0.02, confidence=0.8)
    assert merge_pins([ShownFace([], seen=hidden), ShownFace([pin], seen=clear)]) == (pin,)
    # The other saw the place, and nothing there.
    assert merge_pins([ShownFace([], seen=clear), ShownFace([pin], seen=clear)]) == ()
    assert merge_pins([ShownFace([pin], seen=hidden), ShownFace([], seen=clear)]) == ()  # dirt on the finger


def covered(photo, view):
    """A dark round thing over a tenth of the plate."""
    u, v = view.to_photo_px(0.0, 0.62 * view.radius_mm)
    pixels = photo.pixels.copy()
    radius = round(0.33 * view.radius_mm * view.px_per_mm)
    opencv().circle(pixels, (round(float(u)), round(float(v))), radius, (28, 30, 34), -1, opencv().LINE_AA)
    return Photo(photo.path, pixels)


def told(photo, view):
    seen = look_face(photo, view)
    return seen, face_doubts(view.side, seen, seen.map, judge_photo(photo, view), view.tracks_mm)


def test_sample_as_it_is_and_covered_and_blurred(upper_photo, upper_reading):
    view = upper_reading.view
    seen, doubts = told(upper_photo, view)
    assert doubts == [] and seen.map.share() < 0.01
    seen, doubts = told(covered(upper_photo, view), view)
    assert [d.about for d in doubts] == [About.COVERED] and doubts[0].side is Side.UPPER
    assert seen.map.share(Why.COVERED) == pytest.approx(0.33**2, abs=0.02)
    assert not seen.map.is_seen(0.62 * view.radius_mm, 90.0) and seen.map.is_seen(0.62 * view.radius_mm, 270.0)
    assert "disc read JOB --upper PHOTO OTHER" in doubts[0].advice and "% is covered, between" in doubts[0].say
    soft = Photo(upper_photo.path, opencv().GaussianBlur(upper_photo.pixels, (0, 0), 4.0))
    _, doubts = told(soft, view)
    assert [d.about for d in doubts] == [About.SHARP] and "blurred" in doubts[0].say


@pytest.mark.parametrize("kind", ["black", "white", "grey", "noise"])
def test_no_disc_is_refused(kind, tmp_path):
    rng = np.random.default_rng(0)
    flat = {"black": 0, "white": 255, "grey": 128}.get(kind)
    pixels = rng.integers(0, 255, (900, 1200, 3)) if flat is None else np.full((900, 1200, 3), flat)
    with pytest.raises(BadInput, match=r"nothing here looks like a pinned disc\. Fill the frame"):
        read_face(Photo(tmp_path / "a.png", pixels.astype(np.uint8)), Side.UPPER, Plate(28.0))


@pytest.mark.parametrize("name", ["coins", "coffee"])
def test_pictures_of_other_things_are_refused(name, tmp_path):
    data = pytest.importorskip("skimage.data")
    picture = getattr(data, name)()
    rgb = picture if picture.ndim == 3 else np.repeat(picture[..., None], 3, 2)
    with pytest.raises(BadInput, match="nothing here looks like a pinned disc"):
        read_face(Photo(tmp_path / "a.png", np.ascontiguousarray(rgb[..., ::-1])), Side.UPPER, Plate(28.0))


def scattered(seed, count, side=Side.UPPER):
    rng = np.random.default_rng(seed)
    return [
        Pin(k, side, float(r), float(t))
        for k, (r, t) in enumerate(zip(rng.uniform(5, 13, count), rng.uniform(0, 360, count), strict=True))
    ]


def test_poorer_readings_are_told():
    old = scattered(1, 50)
    turned = [Pin(p.id, p.side, p.r_mm, (p.theta_deg + 40) % 360) for p in old]
    assert shared_part(old, turned) == 1.0 and why_poorer(Side.UPPER, old, turned) is None
    assert "has 20 sites, the one in force 50" in (why_poorer(Side.UPPER, old, old[:20]) or "")
    assert "another disc" in (why_poorer(Side.UPPER, old, scattered(2, 50)) or "")
    assert why_poorer(Side.UPPER, old[:5], []) is None
    mirrored = [replace(pin, theta_deg=(40.0 - pin.theta_deg) % 360.0) for pin in scattered(3, 50)]
    assert "this disc's lower face" in (why_poorer(Side.UPPER, old, mirrored, scattered(3, 50)) or "")


def test_faces_of_one_disc_and_of_two():
    upper, lower = tuple(scattered(3, 50)), tuple(scattered(4, 50, Side.LOWER))
    one = FaceTraits(upper, 0.95, 112, (4.7, 33.8))
    assert faces_fit(one, FaceTraits(lower, 0.93, 112, (4.3, 32.8))).odds > 2
    other = faces_fit(one, FaceTraits(lower, 0.78, None, (6.1, 25.0)))
    assert other.odds < -2 and other.swapped is None and other.probability < 0.2
    assert {e.words for e in other.evidence} >= {"one rim cut with 112 teeth, the other plain"}
    mirrored = tuple(Pin(p.id, Side.LOWER, p.r_mm, -p.theta_deg % 360) for p in upper)
    assert faces_fit(one, FaceTraits(mirrored, 0.95, 112, (4.7, 33.8))).same_face > SAME_FACE


def test_faces_without_a_photograph(tmp_path):
    job = create_job(tmp_path / "job", Plate(28.0))
    assert load_seen(job) == {} and is_seen({}, Side.UPPER, 5.0, 10.0)
    job.content.faces = {"upper": {"radius_mm": 14.0}}
    maps = load_seen(job)
    assert list(maps) == [Side.LOWER] and maps[Side.LOWER].reasons() == (Why.NO_PHOTO,)
    assert not is_seen(maps, Side.LOWER, 5.0, 10.0)
    (tmp_path / "job/out/seen-upper.json").write_text('{"side": "upper", "radius_mm": 14, "rows": []}')
    with pytest.raises(BadInput, match=r"seen-upper.json: the map .* Read the photographs again"):
        load_seen(job)
    assert doubts_to_json([]) == []


def test_the_outline_of_a_thing_is_cut_where_the_colours_change():
    """Found a few places too small on one side and too large on the other, it is put right; what is far off stays."""
    yy, xx = np.mgrid[0:SIDE_PX, 0:SIDE_PX]
    rng = np.random.default_rng(4)
    small = np.full((SIDE_PX, SIDE_PX, 3), (90, 150, 190), np.uint8)
    thing = (np.abs(xx - 60) < 16) & (np.abs(yy - 70) < 12)
    small[thing] = (205, 210, 215)
    small = np.clip(small + rng.normal(0, 4, small.shape), 0, 255).astype(np.uint8)
    rough = (np.abs(xx - 63) < 16) & (np.abs(yy - 70) < 10)
    cut = cut_out(small, rough, far_radii() < 1.0)
    assert (rough & thing).sum() / thing.sum() < 0.8 and (rough & ~thing).sum() > 50
    assert (cut & thing).sum() / thing.sum() > 0.97 and (cut & ~thing).sum() < 12
    nothing = np.zeros_like(rough)
    assert not cut_out(small, nothing, far_radii() < 1.0).any()
    assert (cut_out(small, ~nothing, far_radii() < 1.0)).all()  # no plate is left to hold it against
