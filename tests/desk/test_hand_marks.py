"""Marks by hand on a photograph, and a reading anew: each a step that counts, is drawn, and can be taken back."""

from __future__ import annotations

import math

import pytest
from PIL import Image

from disc.desk.open_job.session import Session
from disc.desk.work.mark_place import mark_place, marks_shown
from disc.desk.work.read_photos import Brought, read_anew
from disc.errors import BadInput
from disc.job import open_job
from disc.photo.read_photos import photos_of_face
from disc.photo.seen.store import load_seen
from disc.records import Condition, Side
from disc.tables import read_pins
from disc.words import no_progress

from .sample import GIVEN, lonely, place_px, true_photo

RIM = [true_photo(Side.UPPER)["rim_px"][k] for k in (0, 4, 8, 12, 16, 20)]


def around(pin, mm=0.7):
    """Corners of a square about a pin, in pixels of its photograph."""
    angle = math.radians(pin.theta_deg)
    x, y = pin.r_mm * math.cos(angle), pin.r_mm * math.sin(angle)
    corners = [(x - mm, y - mm), (x + mm, y - mm), (x + mm, y + mm), (x - mm, y + mm)]
    return [place_px(pin.side, math.hypot(*at), math.degrees(math.atan2(at[1], at[0]))) for at in corners]


def test_what_is_not_seen_is_outlined_drawn_counted_and_taken_back(open_desk, job):
    desk = open_desk(job)
    before = (job / "pins.csv").read_bytes()
    pin = lonely(read_pins(job / "pins.csv"), Side.UPPER, Condition.SOUND)[0]
    desk.tab("disc")
    desk.page.get_by_role("button", name="Mark what is not seen, Upper side").click()
    desk.told("Mark the corners")
    corners = around(pin)
    for corner in corners[:2]:
        desk.page.mouse.click(*desk.at_sheet(corner))
    assert desk.page.locator("#marks-keep").is_disabled()
    for corner in corners[2:]:
        desk.page.mouse.click(*desk.at_sheet(corner))
    desk.page.wait_for_function("() => document.getElementById('marks-count').textContent.startsWith('4')")
    desk.page.click("#marks-keep")
    desk.told("marked a part that is not seen, with 1 pin")
    assert desk.pins()[pin.id].condition is Condition.UNSEEN
    assert not load_seen(open_job(job))[Side.UPPER].is_seen(pin.r_mm, pin.theta_deg)
    # It is drawn: its ink stands at a corner, and not when the marks by hand are not shown.
    assert desk.page.evaluate(INK_AT, list(corners[0]))
    desk.page.click("#shown")
    desk.page.uncheck("#show-hand")
    assert not desk.page.evaluate(INK_AT, list(corners[0]))
    desk.page.check("#show-hand")
    desk.page.keyboard.press("Escape")
    desk.page.click("#undo")
    desk.told("Undone")
    assert (job / "pins.csv").read_bytes() == before
    assert load_seen(open_job(job))[Side.UPPER].is_seen(pin.r_mm, pin.theta_deg)


# Whether the ink of marks by hand (#60389a) is found within five pixels of a place of the sheet, after the next frame.
INK_AT = """async (at) => {
  const {view} = await import('/static/js/stage.js');
  await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
  const canvas = document.getElementById('stage');
  const ratio = canvas.width / canvas.clientWidth;
  const [x, y] = view().toScreen(at);
  const data = canvas.getContext('2d').getImageData((x - 5) * ratio, (y - 5) * ratio, 11 * ratio, 11 * ratio).data;
  for (let k = 0; k < data.length; k += 4) {
    if (Math.hypot(data[k] - 0x60, data[k + 1] - 0x38, data[k + 2] - 0x9a) < 20) return true;
  }
  return false;
}"""


@pytest.fixture
def session(job):
    session = Session(job)
    yield session
    session.close()


@pytest.mark.parametrize(
    "asked, words",
    [
        ({"what": "rim", "points": RIM[:4]}, "4 points of the rim are too few"),
        ({"what": "scale", "points": RIM[:1], "mm": 28}, "two ends"),
        ({"what": "scale", "points": RIM[:2], "mm": "wide"}, "the known length: .wide. is not a length"),
        ({"what": "scale", "points": [RIM[0], RIM[0]], "mm": 3}, "two ends"),
        ({"what": "unseen", "points": RIM[:2]}, "three corners"),
        ({"what": "unseen", "points": [[1, 2], [3], [4, 5]]}, "no places"),
        ({"what": "rim", "points": [[1, 1]] * 300}, "too many"),
        ({"what": "rim", "points": [[1, 1], [9e9, 2], [3, 3], [4, 9], [5, 5]]}, "outside the photograph"),
        ({"what": "slot"}, "no place"),
        ({"what": "hole", "at": [1, 2]}, "hole"),
    ],
)
def test_a_mark_that_cannot_be_is_refused_in_one_line(session, asked, words):
    with pytest.raises(BadInput, match=words) as refused:
        mark_place(session, {"sheet": "upper"} | asked)
    assert "\n" not in str(refused.value)


def test_rim_and_length_wait_for_the_next_reading_which_undo_takes_back(session, job):
    """A length marked 2 % too long makes the disc read 2 % larger; undo brings the earlier reading back, whole."""
    first = {name: (job / name).read_bytes() for name in ("pins.csv", "reading.csv", "out/overlay-upper.jpg")}
    faces = open_job(job).content.faces
    a, b = (true_photo(Side.UPPER)["rim_px"][k] for k in (0, 12))
    mark_place(session, {"what": "rim", "sheet": "upper", "points": RIM})
    mark_place(session, {"what": "scale", "sheet": "upper", "points": [a, b], "mm": GIVEN["diameter_mm"] * 1.02})
    shown = marks_shown(open_job(job))["upper"]
    assert len(shown["rim"]) == len(RIM) and shown["scale"][4] == pytest.approx(GIVEN["diameter_mm"] * 1.02)
    assert (job / "pins.csv").read_bytes() == first["pins.csv"]  # nothing yet
    read_anew(session, Brought(), no_progress)
    grown = open_job(job).content.faces["upper"]["radius_mm"] / faces["upper"]["radius_mm"]
    assert grown == pytest.approx(1.02, abs=0.006)
    assert session.history.steps[-1].words == "read the photographs again" and session.history.done == 3
    session.go_to(2)
    assert open_job(job).content.faces == faces
    for name, content in first.items():
        assert (job / name).read_bytes() == content, name
    session.go_to(3)
    assert open_job(job).content.faces["upper"]["radius_mm"] / faces["upper"]["radius_mm"] == pytest.approx(grown)


def test_one_more_photograph_of_a_face_stays_with_it(session, job, tmp_path):
    """Read beside the first, told what it added, and read again with it; undo takes it back."""
    before = open_job(job)
    name = before.content.faces["upper"]["photo"]
    with Image.open(before.path(name)) as picture:
        picture.transpose(Image.Transpose.ROTATE_90).save(tmp_path / "turned.jpg", quality=93)
    assert photos_of_face(before, Side.UPPER) == (before.path(name),)
    read_anew(session, Brought(more={"upper": [tmp_path / "turned.jpg"]}), no_progress)
    after = open_job(job)
    assert {path.name for path in photos_of_face(after, Side.UPPER)} == {name.split("/")[-1], "turned.jpg"}
    assert len(photos_of_face(after, Side.LOWER)) == 1
    assert all(one["sites"] > 40 for one in after.content.faces["upper"]["photos"])
    assert sum("turned.jpg shows" in note for note in after.content.faces["upper"]["notes"]) == 1
    assert abs(len(after.pins()) - len(before.pins())) <= 2
    session.go_to(session.history.done - 1)
    assert photos_of_face(open_job(job), Side.UPPER) == (before.path(name),)
