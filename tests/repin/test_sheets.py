"""The sheets: printed at 600 dpi and measured, in millimetres as SVG, numbers apart, the lower face mirrored."""

from __future__ import annotations

import csv
import math
import re
import subprocess
import xml.etree.ElementTree as ET
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from disc.errors import BadInput
from disc.job import open_job
from disc.records import Plate, Side
from disc.repin.sheets.face_sheet import JobPage, enlarged_sheet, largest_enlargement, true_size_sheet
from disc.repin.sheets.labels import boxes_meet, place_beside, spread_on_ring
from disc.repin.store import load_plan

DPI = 600
PX_PER_MM = DPI / 25.4
SVG = "{http://www.w3.org/2000/svg}"
BAR_LEFT_MM = 12.0  # where the sheet's margin is; the bar itself is measured


def printed(job, page, tmp_path):
    """One page of sheets.pdf at 600 dpi, darkness 0 to 1, shape (rows, columns)."""
    root = tmp_path / "page"
    pdf = job / "out/drawings/sheets.pdf"
    command = [
        "pdftoppm",
        "-r",
        str(DPI),
        "-gray",
        "-f",
        str(page),
        "-l",
        str(page),
        "-singlefile",
        str(pdf),
        str(root),
    ]
    subprocess.run(command, check=True)
    with Image.open(f"{root}.pgm") as picture:
        return 1.0 - np.asarray(picture, dtype=np.float32) / 255.0


def dark_middle_mm(ink, x_mm, y_mm, half_mm):
    """Middle of the ink within half_mm of a place, mm."""
    left, top = round((x_mm - half_mm) * PX_PER_MM), round((y_mm - half_mm) * PX_PER_MM)
    size = round(2 * half_mm * PX_PER_MM)
    part = ink[top : top + size, left : left + size]
    rows, columns = np.mgrid[0 : part.shape[0], 0 : part.shape[1]] + 0.5
    assert part.sum() > 0
    x = (left + (part * columns).sum() / part.sum()) / PX_PER_MM
    return float(x), float((top + (part * rows).sum() / part.sum()) / PX_PER_MM)


def measured_bar_mm(ink):
    """Distance between the end strokes of the check bar, from the ink alone."""
    height_mm = ink.shape[0] / PX_PER_MM
    y = height_mm - 12.0 - 4.0
    above = ink[round((y - 2.6) * PX_PER_MM) : round((y - 1.9) * PX_PER_MM)].mean(axis=0)  # only the end strokes reach
    columns = np.flatnonzero(above > 0.5)
    columns = columns[columns < 118 * PX_PER_MM]  # the cross stands to the right of it
    ends = np.split(columns, np.flatnonzero(np.diff(columns) > 5) + 1)
    assert len(ends) == 2
    middles = [float((above[end] * (end + 0.5)).sum() / above[end].sum()) for end in ends]
    return (middles[1] - middles[0]) / PX_PER_MM


def measured_cross_mm(ink):
    """Height and width of the 10 mm cross."""
    y = ink.shape[0] / PX_PER_MM - 16.0
    x = BAR_LEFT_MM + 125.0
    left, top = round((x - 6) * PX_PER_MM), round((y - 6) * PX_PER_MM)
    part = ink[top : top + round(12 * PX_PER_MM), left : left + round(12 * PX_PER_MM)]
    across, down = part.max(axis=0), part.max(axis=1)
    return float(np.ptp(np.flatnonzero(across > 0.5)) + 1) / PX_PER_MM, float(
        np.ptp(np.flatnonzero(down > 0.5)) + 1
    ) / PX_PER_MM


def drill_rows(job, side):
    with (job / "out/drawings/drill-table.csv").open(newline="") as file:
        return [row for row in csv.DictReader(file) if row["side"] == side]


@pytest.fixture(scope="module", params=[(1, "upper", 1.0), (2, "upper", 5.0), (3, "lower", 1.0), (4, "lower", 5.0)])
def page(request, planned_job, tmp_path_factory):
    number, side, scale = request.param
    return printed(planned_job, number, tmp_path_factory.mktemp("page")), side, scale


def bore_middle(ink, scale, width_mm=210.0):
    """The arbor's centre: middle of the ink of the bore's circle (radius 1.5 mm) and the cross in it."""
    rows = np.flatnonzero(ink.sum(axis=1) > 0) / PX_PER_MM
    assert rows.size
    # The disc stands in the middle of the page; its height is found where the vertical middle line crosses the rim.
    column = ink[:, round(width_mm / 2 * PX_PER_MM) - 40 : round(width_mm / 2 * PX_PER_MM) + 40].mean(axis=1)
    lines = np.flatnonzero(column > 0.6) / PX_PER_MM
    lines = lines[(lines > 40) & (lines < 255)]
    rim = 30.0 * scale
    for top in lines:
        below = lines[np.abs(lines - top - rim) < 0.6]
        if below.size:
            return dark_middle_mm(ink, width_mm / 2, top + rim / 2, 1.5 * scale + 0.3)
    raise AssertionError("no disc found on the page")


def test_bar_and_cross_are_true_to_5_hundredths(page):
    ink, _, _ = page
    assert measured_bar_mm(ink) == pytest.approx(100.0, abs=0.05)
    for size in measured_cross_mm(ink):
        assert size == pytest.approx(10.0, abs=0.05)


def test_holes_lie_where_the_drill_table_says(page, planned_job):
    """Every place whose sign is alike on all sides: middle of its ink against x, y of the table, from the bore."""
    ink, side, scale = page
    centre_x, centre_y = bore_middle(ink, scale)
    mirror = 1.0 if side == "upper" else -1.0  # the lower face is seen from behind: y changes its sign
    seen = 0
    for row in drill_rows(planned_job, side):
        if row["operations"] in ("straighten", "leave") or (row["in_doubt"] == "yes" and scale == 1.0):
            continue
        x = centre_x + scale * float(row["x_mm"])
        y = centre_y - scale * mirror * float(row["y_mm"])
        got = dark_middle_mm(ink, x, y, 0.30 if scale == 1.0 else 0.75)
        assert math.hypot(got[0] - x, got[1] - y) <= 0.05, row
        seen += 1
    assert seen >= 1


def test_svg_is_in_millimetres(planned_job, designed_job):
    for job, size in ((planned_job, ("210mm", "297mm")), (designed_job, ("215.9mm", "279.4mm"))):
        names = sorted((job / "out/drawings").glob("*.svg"))
        assert len(names) == 4
        for name in names:
            root = ET.parse(name).getroot()
            assert (root.get("width"), root.get("height")) == size
            assert root.get("viewBox") == f"0 0 {size[0][:-2]} {size[1][:-2]}"  # so one unit is one millimetre


def test_svg_holes_are_true_size_and_place(planned_job):
    root = ET.parse(planned_job / "out/drawings/lower-1to1.svg").getroot()
    groups = {g.get("id"): g for g in root.iter(f"{SVG}g")}
    bore = next(c for c in groups["plate"].iter(f"{SVG}circle") if float(c.get("r")) == 1.5)
    centre = float(bore.get("cx")), float(bore.get("cy"))
    rows = [r for r in drill_rows(planned_job, "lower") if r["operations"] == "set"]
    dots = [c for c in groups["set"].iter(f"{SVG}circle") if c.get("fill") == "#000000"]
    places = sorted((float(c.get("cx")) - centre[0], float(c.get("cy")) - centre[1]) for c in dots)
    # Page y runs down and the lower face is mirrored: both signs cancel.
    assert np.allclose(places, sorted((float(r["x_mm"]), float(r["y_mm"])) for r in rows), atol=1.01e-4)
    assert all(float(c.get("r")) == 0.125 for c in dots) and dots


def test_sheets_say_face_turning_slot_and_mirror(planned_job, designed_job):
    def words(job, page):
        command = ["pdftotext", "-f", str(page), "-l", str(page), "-layout", job / "out/drawings/sheets.pdf", "-"]
        return subprocess.run(command, capture_output=True, text=True, check=True).stdout

    upper, lower = words(planned_job, 1), words(planned_job, 4)
    assert "UPPER FACE" in upper and "the disc turns clockwise" in upper and "STOP SLOT" in upper
    assert "scale 1 : 1" in upper and "100 mm" in upper
    assert "LOWER FACE" in lower and "mirrored" in lower and "the disc turns counter-clockwise" in lower
    other_way = words(designed_job, 1)
    assert "the disc turns counter-clockwise" in other_way and "slot's size not measured" in other_way


@pytest.mark.parametrize("job_name", ["planned_job", "designed_job"])
@pytest.mark.parametrize("side, sign", [(Side.UPPER, 1), (Side.LOWER, -1)])
def test_turning_arrow(job_name, side, sign, request):
    """The arrow's way round the page against the words of the conventions, worked out here from its points."""
    job = open_job(request.getfixturevalue(job_name))
    plan = load_plan(job)
    root = ET.fromstring(true_size_sheet(plan, side, JobPage("a4", "x")).svg())
    group = next(g for g in root.iter(f"{SVG}g") if g.get("id") == "turning")
    line = next(group.iter(f"{SVG}polyline"))
    points = [tuple(map(float, p.split(","))) for p in line.get("points").split()]
    bore = next(c for c in root.iter(f"{SVG}circle") if c.get("r") == "1.5")
    cx, cy = float(bore.get("cx")), float(bore.get("cy"))
    turn = sum((ax - cx) * (by - cy) - (ay - cy) * (bx - cx) for (ax, ay), (bx, by) in pairwise(points))
    clockwise_on_page = turn > 0  # y runs down
    assert clockwise_on_page == ((plan.plate.turns.value == "clockwise") == (sign > 0))


def numbers_on(svg):
    """Boxes of the hole numbers of a sheet, upright lettering only."""
    root = ET.fromstring(svg)
    group = next(g for g in root.iter(f"{SVG}g") if g.get("id") == "numbers")
    boxes = {}
    for text in group.iter(f"{SVG}text"):
        size = float(text.get("font-size"))
        half = len(text.text) * 0.602 * size / 2
        x, y = float(text.get("x")), float(text.get("y"))
        boxes[text.text] = (x - half, y - 0.729 * size, x + half, y)
    return boxes


@pytest.mark.parametrize("side", list(Side))
def test_no_number_covers_another_or_a_hole(designed_job, side):
    plan = load_plan(open_job(designed_job))
    svg = enlarged_sheet(plan, side, JobPage("letter", "x"), largest_enlargement(plan.plate, "letter")).svg()
    boxes = numbers_on(svg)
    assert sorted(map(int, boxes)) == [s.number for s in plan.numbered(side)]
    assert not [pair for pair in combinations(boxes, 2) if boxes_meet(boxes[pair[0]], boxes[pair[1]])]
    root = ET.fromstring(svg)
    group = next(g for g in root.iter(f"{SVG}g") if g.get("id") == "drill")
    holes = [(float(c.get("cx")), float(c.get("cy")), float(c.get("r"))) for c in group.iter(f"{SVG}circle")]
    assert len(holes) >= 20
    for x0, y0, x1, y1 in boxes.values():
        for x, y, r in holes:
            assert math.hypot(max(x0 - x, 0, x - x1), max(y0 - y, 0, y - y1)) > r


@pytest.mark.parametrize("diameter_mm", [15.0, 28.0, 40.0])
@settings(max_examples=5)
@given(seed=st.integers(0, 10_000))
def test_seventy_numbers_find_room_at_any_size(diameter_mm, seed):
    """Places no nearer than 0.5 mm on the disc, at the enlargement the page allows."""
    rng = np.random.default_rng(seed)
    scale = largest_enlargement(Plate(diameter_mm), "a4")
    spots: list[tuple[float, float]] = []
    while len(spots) < 70:
        r, angle = diameter_mm * rng.uniform(0.16, 0.42), rng.uniform(0, math.tau)
        place = (r * math.cos(angle), r * math.sin(angle))
        if all(math.dist(place, other) > 0.5 for other in spots):
            spots.append(place)
    marks = [((105 + scale * x, 148 + scale * y), str(n)) for n, (x, y) in enumerate(spots, start=1)]
    labels = place_beside(marks, 1.3, 2.4, inside=(12, 42, 198, 259))
    assert all(label.fits for label in labels)
    assert not any(boxes_meet(a.box, b.box) for a, b in combinations(labels, 2))


@given(st.lists(st.floats(0, 359.99), min_size=1, max_size=40), st.floats(0.5, 8.0))
def test_ring_keeps_order_and_distance(angles, apart):
    spread = spread_on_ring(angles, apart)
    assert spread is not None
    ordered = sorted(spread)
    gaps = [b - a for a, b in pairwise(ordered)] + [ordered[0] + 360 - ordered[-1]]
    assert len(angles) == 1 or min(gaps) >= apart - 1e-6


def test_ring_too_full_says_so():
    assert spread_on_ring([0.0] * 50, 8.0) is None


def test_ring_leaves_what_is_far_enough_apart():
    assert spread_on_ring([10.0, 200.0, 90.0], 5.0) == pytest.approx([10.0, 200.0, 90.0])
    assert spread_on_ring([10.0, 10.0], 6.0) == pytest.approx([7.0, 13.0])


def test_too_large_an_enlargement_is_told(planned_job):
    plan = load_plan(open_job(planned_job))
    with pytest.raises(BadInput, match=re.escape("choose more than 1 and at most 5")):
        enlarged_sheet(plan, Side.UPPER, JobPage("a4", "x"), 9.0)


def test_reasons_are_said_whole_where_the_page_has_the_lines(planned_job):
    """The table under a face of few places cuts no sentence; every word of its reasons is on the page, in order."""
    plan = load_plan(open_job(planned_job))
    for side in Side:
        sheet = true_size_sheet(plan, side, JobPage("a4", "x"))
        printed_words = " ".join(node.text or "" for node in ET.fromstring(sheet.svg()).iter(f"{SVG}text"))
        assert "…" not in printed_words
        for station in plan.numbered(side):
            words = "; ".join(dict.fromkeys(task.reason for task in station.tasks)).split()
            assert re.search(r"\s+".join(map(re.escape, words)), printed_words), words
