"""What is printed on the measuring sheet, in millimetres of the drawing: x right, y down, (0, 0) the board's corner.

A chequered board whose white squares hold square marks (OpenCV's ChArUco board). All edges lie on a grid of half a
millimetre. In its middle a round window is left white for the disc.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from disc.errors import BadInput
from disc.frame import FloatArray
from disc.photo.image import opencv

COLUMNS, ROWS = 20, 16  # fields of the board: on A4, across, with its margins; chosen when the sheet was drawn
SQUARE_MM, MARKER_MM = 4.0, 3.0  # small enough that some stand about any disc, chosen; 3 mm is 6 modules of MODULE_MM
MODULE_MM = 0.5  # a mark's 6 x 6 fields on 3 mm, exact; so is the white about it
SIZE_MM = (COLUMNS * SQUARE_MM, ROWS * SQUARE_MM)
MIDDLE_MM = (SIZE_MM[0] / 2, SIZE_MM[1] / 2)  # of the board and of the window, by definition
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# windows printed: discs of 22 to 40 mm (conventions: 15 to 40)
SMALLEST_WINDOW_MM, LARGEST_WINDOW_MM, WINDOW_STEP_MM = 26, 44, 2
ROOM_MM = 4.0  # window over disc
RING_MM = 0.2  # the line about the window


def board() -> Any:
    """OpenCV's description of the board."""
    aruco = opencv().aruco
    marks = aruco.getPredefinedDictionary(aruco.DICT_4X4_250)
    return aruco.CharucoBoard((COLUMNS, ROWS), SQUARE_MM, MARKER_MM, marks)


@lru_cache(maxsize=1)
def black_modules() -> npt.NDArray[np.bool_]:
    """Which fields of half a millimetre are black, (rows, columns); the window not cut out."""
    px = 8
    across, down = (round(size / MODULE_MM) for size in SIZE_MM)
    picture = board().generateImage((across * px, down * px), marginSize=0, borderBits=1)
    return np.asarray(picture[px // 2 :: px, px // 2 :: px] < 128)


def corners_mm() -> FloatArray:
    """All inner corners (n, 2) of the board, by number."""
    return np.asarray(board().getChessboardCorners(), float)[:, :2]


def marker_corners_mm() -> FloatArray:
    """The four corners of each mark (n, 4, 2), by number, in the order in which marks are found."""
    return np.asarray(board().getObjPoints(), float)[:, :, :2]


def window_for(diameter_mm: float) -> int:
    """The window for a disc. Raises BadInput for one that fits none."""
    wanted = math.ceil((diameter_mm + ROOM_MM) / WINDOW_STEP_MM - 1e-9) * WINDOW_STEP_MM
    if not 0 < diameter_mm <= LARGEST_WINDOW_MM - ROOM_MM:
        raise BadInput(
            f"--diameter-mm {diameter_mm:g}: the sheet serves discs of up to {LARGEST_WINDOW_MM - ROOM_MM:g} mm. "
            "Photograph a larger disc without it."
        )
    return max(wanted, SMALLEST_WINDOW_MM)


def checked_window(window_mm: float) -> int:
    """A window's width as asked for. Raises BadInput for one that the sheet does not come with."""
    sizes = range(SMALLEST_WINDOW_MM, LARGEST_WINDOW_MM + 1, WINDOW_STEP_MM)
    if window_mm not in sizes:
        raise BadInput(
            f"--window {window_mm:g}: windows are {sizes[0]} to {sizes[-1]} mm across in steps of "
            f"{WINDOW_STEP_MM} mm. Take one about {ROOM_MM:g} mm wider than the disc."
        )
    return int(window_mm)
