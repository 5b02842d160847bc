"""The measuring sheet as printed: its size at 600 dpi, its parts, and the command."""

from __future__ import annotations

import html
import shutil
import subprocess

import cv2
import numpy as np
import pytest

from disc.errors import BadInput
from disc.locale.catalogue import Language, reader
from disc.photo.board.draw_sheet import (
    BAR_MM,
    COLUMNS,
    FONT_MM,
    MARGIN_MM,
    how_to_use,
    lay_out,
    sheet_pdf,
    sheet_svg,
)
from disc.photo.board.pattern import checked_window, window_for
from disc.typeset import ADVANCE_EM, PAPERS_MM

DPI = 600
PX = DPI / 25.4
needs_poppler = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="needs poppler-utils")


def rastered(tmp_path, page: str, window: int):
    path = tmp_path / "sheet.pdf"
    path.write_bytes(sheet_pdf(page, window))
    subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", "-singlefile", path, tmp_path / "page"], check=True)
    return cv2.imread(str(tmp_path / "page.pgm"), cv2.IMREAD_GRAYSCALE)


def edges_mm(line):
    """Where a line of grey levels crosses from light to dark and back, mm from its first pixel's edge."""
    dark = 1 - line.astype(float) / 255
    k = np.nonzero((dark[:-1] < 0.5) != (dark[1:] < 0.5))[0]
    return (k + 0.5 + (0.5 - dark[k]) / (dark[k + 1] - dark[k])) / PX


@needs_poppler
@pytest.mark.parametrize("page", PAPERS_MM)
def test_true_to_a_fiftieth(tmp_path, page):
    picture = rastered(tmp_path, page, 30)
    assert np.abs(np.array(picture.shape[::-1]) / PX - PAPERS_MM[page]).max() < 0.05
    layout = lay_out(page, 30)
    y = layout.bar_mm[1]
    bar = edges_mm(picture[round((y + 1.0) * PX)])[[0, 3]]
    assert bar[1] - bar[0] == pytest.approx(BAR_MM, abs=0.02)
    # Squares on the board's left edge: black ones begin where white ones end.
    left, top = layout.corner_mm
    down = edges_mm(picture[:, round((left + 0.25) * PX)])
    wanted = top + np.arange(17) * 4.0
    found = [down[np.abs(down - at).argmin()] for at in wanted[1:-1]]
    assert np.abs(np.array(found) - wanted[1:-1]).max() < 0.02


@needs_poppler
def test_opencv_reads_its_own_board(tmp_path):
    picture = rastered(tmp_path, "a5", 26)
    board = cv2.aruco.CharucoBoard((20, 16), 4.0, 3.0, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250))
    small = cv2.resize(picture, None, fx=0.4, fy=0.4, interpolation=cv2.INTER_AREA)
    corners, ids, _ = cv2.aruco.ArucoDetector(board.getDictionary()).detectMarkers(small)
    seen = {int(k): c.reshape(4, 2).mean(0) / 0.4 / PX for k, c in zip(ids.ravel(), corners, strict=True)}
    middle = np.array(lay_out("a5", 26).window_middle_mm)
    for k, points in enumerate(board.getObjPoints()):
        at = points[:, :2].mean(0) - [40, 32]
        if np.hypot(*at) > 13 + 2.3:
            assert (
                np.abs(seen[k] - middle - at).max() < 0.1
            )  # marks' outlines are followed in whole pixels, 0.1 mm here
        elif np.hypot(*at) < 11:
            assert k not in seen


def test_the_ring_is_a_fifth_of_a_millimetre():
    assert 'r="17" fill="#ffffff" stroke="#000000" stroke-width="0.2"' in sheet_svg(lay_out("a4", 34))


@pytest.mark.parametrize("diameter, window", [(20.0, 26), (22.0, 26), (22.1, 28), (26.0, 30), (40.0, 44)])
def test_window_for_a_disc(diameter, window):
    assert window_for(diameter) == window


def test_no_window_for_it():
    with pytest.raises(BadInput, match="up to 40 mm"):
        window_for(41.0)
    with pytest.raises(BadInput, match="26 to 44 mm across in steps of 2"):
        checked_window(27)


def test_same_bytes():
    assert sheet_pdf("a4", 30) == sheet_pdf("a4", 30)


@pytest.mark.parametrize("language", Language)
def test_every_language_keeps_to_the_line_and_its_decimal_sign(language):
    t = reader(language)
    rows = how_to_use(t)
    assert len(rows) == 3 and max(map(len, rows)) <= COLUMNS
    assert rows[2].endswith(": --bar-mm 49.9") and ("50.0 mm" if language is Language.EN else "50,0 mm") in rows[2]
    words = html.unescape(sheet_svg(lay_out("a5", 30), language))
    assert all(row in words for row in rows)
    bar = t("{mm} mm over the outer edges", mm=t.number(BAR_MM, 1))
    layout = lay_out("a5", 30)
    assert layout.bar_mm[0] + BAR_MM + 3 + len(bar) * ADVANCE_EM * FONT_MM <= layout.page_mm[0] - MARGIN_MM
    if language is not Language.EN:
        assert not set(rows) & set(how_to_use(reader(Language.EN)))
