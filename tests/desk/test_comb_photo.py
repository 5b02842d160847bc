"""Tips marked on a photograph of the comb in place: the arithmetic against places computed by hand, and by clicks."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from disc.desk.open_job.session import Session
from disc.desk.work import comb_take
from disc.desk.work.comb_photo import MarkedTips, comb_with_tips, tips_from_marks
from disc.errors import BadInput
from disc.job import open_job
from disc.records import Comb, Side, Tooth
from disc.tables import read_comb

from .sample import copied
from .sounds import write_recording

LONG_MS = 60_000  # listening takes seconds, and the machine may be busy


def seen(r_mm, theta_deg, side, middle=(400.0, 300.0), px_per_mm=17.0, turn_deg=33.0):
    """Where a place is in a photograph taken squarely: by the conventions, the lower side runs the other way round."""
    way = 1.0 if side is Side.UPPER else -1.0
    angle = math.radians(turn_deg + way * theta_deg)
    return middle[0] + r_mm * px_per_mm * math.cos(angle), middle[1] - r_mm * px_per_mm * math.sin(angle)


@pytest.mark.parametrize("side", list(Side))
def test_tips_come_out_where_they_were_put(side):
    places = [(5.2, 12.0), (7.75, 40.5), (11.0, 359.2)]
    marks = MarkedTips(side, seen(0, 0, side), seen(13.5, 0, side), seen(14, 90, side), seen(14, 270, side), 28.0,
                  tuple(seen(r, t, side) for r, t in places))  # fmt: skip
    for (r, theta), (r_got, theta_got) in zip(places, tips_from_marks(marks), strict=True):
        assert r_got == pytest.approx(r, abs=1e-9) and theta_got == pytest.approx(theta, abs=1e-9)


def test_a_known_length_of_nothing_is_refused():
    marks = MarkedTips(Side.UPPER, (0, 0), (100, 0), (5, 5), (6, 6), 10.0, ((50, 0),))
    with pytest.raises(BadInput, match="too close together"):
        tips_from_marks(marks)


def test_a_tip_near_a_tooth_corrects_it_and_keeps_its_pitch():
    old = Comb((Tooth(1, Side.UPPER, 5.0, 10.0, 67.1), Tooth(2, Side.LOWER, 5.0, 10.0, 60.0)))
    new = comb_with_tips(old, Side.UPPER, [(5.08, 11.0), (6.0, 12.0)])
    assert new.tooth(1) == Tooth(1, Side.UPPER, 5.08, 11.0, 67.1)
    assert new.tooth(2) == old.tooth(2)
    assert new.tooth(3) == Tooth(3, Side.UPPER, 6.0, 12.0)


def test_by_clicks_keys_and_a_finger_on_the_page(open_desk, job, tmp_path):
    """Tips of the sample's comb, marked anew: each tooth keeps its number and pitch and stands where it was marked."""
    photo = tmp_path / "comb.png"
    cv2.imwrite(str(photo), np.full((600, 800, 3), 170, np.uint8))
    before = read_comb(job / "comb.csv")
    plate = open_job(job).plate
    desk = open_desk(job, has_touch=True)
    desk.tab("comb")
    desk.page.set_input_files("#comb-photo", str(photo))
    desk.page.wait_for_selector("#comb-step")
    upper, side = [tooth for tooth in before.teeth if tooth.side is Side.UPPER][:4], Side.UPPER
    scale = 240.0 / plate.radius_mm  # the whole plate on 600 pixels

    def spot(r_mm, theta_deg):
        return seen(r_mm, theta_deg, side, px_per_mm=scale)

    points = [spot(0, 0), spot(0.97 * plate.radius_mm, 0), spot(plate.radius_mm, 90), spot(plate.radius_mm, 270)]
    for point in points + [spot(t.tip_r_mm, t.tip_theta_deg + 1.0) for t in upper[:2]]:
        desk.page.mouse.click(*desk.at_sheet(point))
    desk.page.touchscreen.tap(*desk.at_sheet(spot(upper[2].tip_r_mm, upper[2].tip_theta_deg + 1.0)))
    # The last tip by the keys' cross: it starts in the middle of the picture.
    desk.page.click("#zoom-fit")
    desk.page.focus("#stage")
    goal = desk.at_sheet(spot(upper[3].tip_r_mm, upper[3].tip_theta_deg + 1.0))
    start = desk.at_sheet((399.5, 299.5))
    across, down = round(goal[0] - start[0]), round(goal[1] - start[1])
    for count, key in (
        (abs(across), "ArrowRight" if across > 0 else "ArrowLeft"),
        (abs(down), "ArrowDown" if down > 0 else "ArrowUp"),
    ):
        for _ in range(count // 12):
            desk.page.keyboard.press(f"Shift+{key}")
        for _ in range(count % 12):
            desk.page.keyboard.press(key)
    desk.page.keyboard.press("Enter")
    desk.told("4 tips marked")
    desk.page.fill("#comb-length", f"{plate.diameter_mm:g}")
    desk.page.press("#comb-length", "Tab")
    desk.page.wait_for_selector("#panel-comb ol li >> nth=3")
    desk.page.click("#comb-keep")
    desk.told("4 tips are as marked")
    after = read_comb(job / "comb.csv")
    assert len(after.teeth) == len(before.teeth)
    for old in before.teeth:
        new = after.tooth(old.number)
        if old not in upper:
            assert new == old
            continue
        # One screen pixel is about 0.08 mm here, and a degree and a half at the innermost tip.
        assert new.tip_r_mm == pytest.approx(old.tip_r_mm, abs=0.12) and new.pitch == old.pitch
        assert math.remainder(new.tip_theta_deg - old.tip_theta_deg, 360.0) == pytest.approx(1.0, abs=1.2)
    desk.page.click("#undo")
    desk.told("Undone")
    assert read_comb(job / "comb.csv") == before


def test_a_table_a_plucked_recording_and_a_draft_can_be_brought_and_undone(open_desk, job, tmp_path):
    table = (job / "comb.csv").read_bytes()
    before = read_comb(job / "comb.csv")
    desk = open_desk(job)
    page = desk.page
    desk.tab("comb")
    bad = tmp_path / "bad.csv"
    bad.write_text("number,side,tip_r_mm,tip_theta_deg,pitch\n1,upper,far,0,60\n")
    page.set_input_files("#comb-table", str(bad))
    desk.told("bad.csv")
    assert "line 2" in page.locator("#told").inner_text() and (job / "comb.csv").read_bytes() == table
    few = tmp_path / "few.csv"
    few.write_text("number;side;tip_r_mm;tip_theta_deg;pitch\n" + "".join(
        f"{t.number};{t.side.value};{t.tip_r_mm:.3f};{t.tip_theta_deg:.2f};60\n".replace(".", ",") for t in before.teeth
    ))  # fmt: skip
    page.set_input_files("#comb-table", str(few))
    desk.told("few.csv: a comb of")
    assert {tooth.pitch for tooth in read_comb(job / "comb.csv").teeth} == {60.0}
    # Every tooth plucked twice, a second and a half apart, from the lowest number up.
    plucks = [(0.6 + 1.3 * k, tooth) for k, tooth in enumerate(t.number for t in before.teeth for _ in range(2))]
    sound = write_recording(tmp_path / "comb.wav", plucks, plucks[-1][0] + 2.0)
    page.set_input_files("#comb-plucked", str(sound))
    page.wait_for_selector("#plucked-keep", timeout=LONG_MS)
    assert {tooth.pitch for tooth in read_comb(job / "comb.csv").teeth} == {60.0}  # nothing is taken before it is said
    assert page.input_value("#plucked-order") == "number"  # a measured table was plucked by its numbers
    page.click("#plucked-keep")
    desk.told("have the pitches of comb.wav")
    heard = read_comb(job / "comb.csv")
    gaps = sorted(abs(heard.tooth(t.number).pitch - t.pitch) for t in before.teeth)
    assert gaps[int(0.9 * len(gaps))] < 0.02  # two cents; the tones are made at the table's pitches
    # One alone: heard at once and put in, the next stands ready; one that sounds otherwise than the table is asked of.
    first, other = before.teeth[2].number, before.teeth[6].number
    page.fill("#comb-one-number", str(first))
    alone = write_recording(tmp_path / "one.wav", [(0.6, other), (1.9, other)], 4.0)
    page.set_input_files("#comb-one", str(alone))
    desk.told(f"Tooth {first}, alone:")
    assert "is it that tooth?" in page.locator("#told").inner_text()
    assert read_comb(job / "comb.csv").tooth(first).pitch == pytest.approx(before.tooth(other).pitch, abs=0.02)
    page.wait_for_function("n => document.querySelector('#comb-one-number').value === n", arg=str(first + 1))
    desk.tab("history")
    words = page.locator("#history-steps").inner_text()
    assert "took the comb from a table" in words and "took the pitches from a recording" in words
    assert f"took tooth {first} from a recording" in words
    page.locator("#history-steps button").first.click()
    desk.told("Undone")
    assert (job / "comb.csv").read_bytes() == table
    page.click("#redo")
    desk.told("Redone")
    assert {tooth.pitch for tooth in read_comb(job / "comb.csv").teeth} == {60.0}


def test_a_draft_comb_is_a_step_that_can_be_undone(sample_read, tmp_path):
    job = copied(sample_read, tmp_path / "watch")
    (job / "comb.csv").unlink()
    session = Session(job)
    assert "draft comb" in comb_take.draft(session)
    assert session.comb is not None and session.comb.draft and (job / "comb.csv").is_file()
    session.go_to(0)
    assert session.comb is None and not (job / "comb.csv").exists()
    session.close()
