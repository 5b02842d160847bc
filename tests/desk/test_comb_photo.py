"""Tips marked on a photograph of the comb in place: the arithmetic against places computed by hand, and by clicks."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from disc.desk.comb_photo import Marks, comb_with_tips, tips_from_marks
from disc.errors import BadInput
from disc.records import Comb, Side, Tooth
from disc.tables import read_comb

from .rig import comb, make_job


def seen(r_mm, theta_deg, side, middle=(400.0, 300.0), px_per_mm=17.0, turn_deg=33.0):
    """Where a place is in a photograph taken squarely: by the conventions, the lower side runs the other way round."""
    way = 1.0 if side is Side.UPPER else -1.0
    angle = math.radians(turn_deg + way * theta_deg)
    return middle[0] + r_mm * px_per_mm * math.cos(angle), middle[1] - r_mm * px_per_mm * math.sin(angle)


@pytest.mark.parametrize("side", list(Side))
def test_tips_come_out_where_they_were_put(side):
    places = [(5.2, 12.0), (7.75, 40.5), (11.0, 359.2)]
    marks = Marks(side, seen(0, 0, side), seen(13.5, 0, side), seen(14, 90, side), seen(14, 270, side), 28.0,
                  tuple(seen(r, t, side) for r, t in places))  # fmt: skip
    for (r, theta), (r_got, theta_got) in zip(places, tips_from_marks(marks), strict=True):
        assert r_got == pytest.approx(r, abs=1e-9) and theta_got == pytest.approx(theta, abs=1e-9)


def test_a_known_length_of_nothing_is_refused():
    marks = Marks(Side.UPPER, (0, 0), (100, 0), (5, 5), (6, 6), 10.0, ((50, 0),))
    with pytest.raises(BadInput, match="too close together"):
        tips_from_marks(marks)


def test_a_tip_near_a_tooth_corrects_it_and_keeps_its_pitch():
    old = Comb((Tooth(1, Side.UPPER, 5.0, 10.0, 67.1), Tooth(2, Side.LOWER, 5.0, 10.0, 60.0)))
    new = comb_with_tips(old, Side.UPPER, [(5.08, 11.0), (6.0, 12.0)])
    assert new.tooth(1) == Tooth(1, Side.UPPER, 5.08, 11.0, 67.1)
    assert new.tooth(2) == old.tooth(2)
    assert new.tooth(3) == Tooth(3, Side.UPPER, 6.0, 12.0)


def test_by_clicks_and_by_keys_on_the_page(open_desk, tmp_path):
    job = make_job(tmp_path / "watch", with_comb=False)
    photo = tmp_path / "comb.png"
    cv2.imwrite(str(photo), np.full((600, 800, 3), 170, np.uint8))
    desk = open_desk(job)
    desk.tab("comb")
    desk.page.set_input_files("#comb-photo", str(photo))
    desk.page.wait_for_selector("#comb-step")
    upper = [tooth for tooth in comb().teeth if tooth.side is Side.UPPER][:4]
    side = Side.UPPER
    points = [seen(0, 0, side), seen(13.5, 0, side), seen(14, 90, side), seen(14, 270, side)]
    for point in points + [seen(t.tip_r_mm, t.tip_theta_deg, side) for t in upper[:3]]:
        desk.page.mouse.click(*desk.at_sheet(point))
    # The last tip by the keys' cross: it starts in the middle of the picture.
    desk.page.focus("#stage")
    goal, start = desk.at_sheet(seen(upper[3].tip_r_mm, upper[3].tip_theta_deg, side)), desk.at_sheet((399.5, 299.5))
    desk.page.click("#zoom-fit")
    desk.page.focus("#stage")
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
    desk.page.fill("#comb-length", "28")
    desk.page.press("#comb-length", "Tab")
    desk.page.wait_for_selector("#panel-comb ol li >> nth=3")
    desk.page.click("#comb-keep")
    desk.told("4 teeth")
    teeth = read_comb(job / "comb.csv").teeth
    for tooth, true in zip(
        sorted(teeth, key=lambda t: t.tip_r_mm), sorted(upper, key=lambda t: t.tip_r_mm), strict=True
    ):
        # One screen pixel is about 0.07 mm here.
        assert tooth.tip_r_mm == pytest.approx(true.tip_r_mm, abs=0.1)
        assert tooth.tip_theta_deg == pytest.approx(true.tip_theta_deg, abs=1.2)
    desk.page.click("#undo")
    desk.told("Undone")
    assert not (job / "comb.csv").exists()
