"""What the sheet told of one photo, for the record, the overlay and a person's eye."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from disc.frame import FloatArray
from disc.photo.board.camera_of_board import BoardCamera
from disc.photo.board.draw_sheet import BAR_MM
from disc.photo.board.sheet_under import SheetUnder
from disc.photo.plane.face_plane import Plane

# Before anything is measured: how far a face lies over its paper, and how far a print is off in size (common practice,
# no source); a caliper reads the bar to a fiftieth of a millimetre.
HEIGHT_MM, HEIGHT_DOUBT_MM, PRINT_DOUBT, BAR_DOUBT_MM = 2.0, 1.2, 0.003, 0.02
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
RIM_DOUBT = 0.001  # of the disc's size, by a caliper and by the rim's edge in the picture
LOWEST_MM, HIGHEST_MM = -0.5, 8.0  # of a face over the paper it lies on; else the bar and the diameter disagree
VAGUE_FOCAL = 0.02  # a focal length told worse than this leaves the perspective to the pins


@dataclass(frozen=True, slots=True)
class SheetTold:
    """corners_px: (id, u, v) of those used. focal_px, k1: of lens, with sigmas (focal_sigma relative). print_across,
    print_down: its size over the drawing's. height_mm: face over paper. left_out: why, where the sheet was not used."""

    corners_px: tuple[tuple[int, float, float], ...]
    focal_px: float | None = None
    focal_sigma: float | None = None
    k1: float | None = None
    k1_sigma: float | None = None
    tilt_deg: float | None = None
    print_across: float | None = None
    print_down: float | None = None
    print_sigma: float | None = None
    height_mm: float | None = None
    height_sigma_mm: float | None = None
    stray_px: float | None = None
    bulge_mm: float | None = None
    left_out: str | None = None

    def to_json(self) -> dict[str, Any]:
        """Plain JSON material."""
        return {
            name: round(value, 6) if isinstance(value, float) else value for name, value in asdict(self).items()
        } | {"corners_px": [[k, round(u, 2), round(v, 2)] for k, u, v in self.corners_px]}

    @classmethod
    def from_json(cls, item: dict[str, Any]) -> SheetTold:
        """As stored; unknown keys are left alone."""
        values = {name: item.get(name) for name in cls.__slots__}
        corners = tuple((int(k), float(u), float(v)) for k, u, v in item["corners_px"])
        return cls(**(values | {"corners_px": corners}))  # type: ignore[arg-type]

    def words(self) -> str:
        """One line for a person."""
        if self.left_out or self.focal_px is None or self.k1 is None:
            return f"measuring sheet: {len(self.corners_px)} corners, left out"
        lens = f"focal length {self.focal_px:.0f} px"
        if self.focal_is_vague and self.focal_sigma is not None:
            low, high = (self.focal_px * np.exp(way * self.focal_sigma) for way in (-1, 1))
            lens = f"focal length not told, somewhere about {low:.0f} to {high:.0f} px"
        return (
            f"measuring sheet: {len(self.corners_px)} corners; {lens}, k1 {self.k1:+.4f}, "
            f"tilt {self.tilt_deg:.1f} degrees, face {self.height_mm:.1f} mm over the paper "
            f"(+/- {self.height_sigma_mm:.1f})"
        )

    @property
    def focal_is_vague(self) -> bool:
        """Whether the picture leaves the focal length open, as one taken squarely does, however many corners it has."""
        return self.focal_sigma is not None and self.focal_sigma > VAGUE_FOCAL


def sheet_told(sheet: SheetUnder, plane: Plane, log_focal: float | None, bar_mm: float | None) -> SheetTold:
    """plane: the face's, at last. log_focal: in picture widths, as board, rim and pins tell it together."""
    board, camera = sheet.board, sheet.camera
    corners = tuple((int(k), float(u), float(v)) for k, (u, v) in zip(board.ids, board.px, strict=True))
    if camera is None:
        return SheetTold(corners, left_out=" ".join(sheet.notes))
    apparent, distance = height_of(camera, plane)
    height, height_sigma, grown, grown_sigma = _height_and_print(apparent, distance, camera.uneven, bar_mm)
    sigma = camera.known.sigmas()
    return SheetTold(
        corners,
        focal_px=float(np.exp(log_focal) * plane.size[0]) if log_focal is not None else camera.focal_px,
        focal_sigma=float(sigma[0]),
        k1=float(plane.k1),
        k1_sigma=float(sigma[3]),
        tilt_deg=camera.tilt_deg,
        print_across=grown * (1 + camera.uneven / 2),
        print_down=grown * (1 - camera.uneven / 2),
        print_sigma=grown_sigma,
        height_mm=height,
        height_sigma_mm=height_sigma,
        stray_px=camera.stray_px,
        bulge_mm=camera.bulge_mm,
    )


def height_of(camera: BoardCamera, plane: Plane) -> tuple[float, float]:
    """(the face over the paper, the lens from the paper), mm, if the print has its true size."""
    lens = np.array([[camera.focal_px, 0, camera.centre_px[0]], [0, camera.focal_px, camera.centre_px[1]], [0, 0, 1.0]])
    columns: FloatArray = np.linalg.inv(lens) @ plane.plane_to_px
    middle = columns[:, 2] / np.sqrt(np.linalg.norm(columns[:, 0]) * np.linalg.norm(columns[:, 1]))
    up = camera.turn[:, 2]
    middle = middle * np.sign(middle[2])
    return float(up @ (middle - camera.place)), float(abs(up @ camera.place))


def _height_and_print(
    apparent_mm: float, distance_mm: float, uneven: float, bar_mm: float | None
) -> tuple[float, float, float, float]:
    """Height and the print's common size, each with its sigma: a larger print looks like a face farther from it."""
    if bar_mm is not None:
        size, doubt = bar_mm / BAR_MM - uneven / 2, BAR_DOUBT_MM / BAR_MM
        far = distance_mm * float(np.hypot(doubt, RIM_DOUBT))
        return apparent_mm + (size - 1) * distance_mm, far, size, doubt
    far = PRINT_DOUBT * distance_mm
    share = HEIGHT_DOUBT_MM**2 / (HEIGHT_DOUBT_MM**2 + far**2)
    height = share * apparent_mm + (1 - share) * HEIGHT_MM
    return (
        height,
        float(np.sqrt(share) * far),
        1 + (height - apparent_mm) / distance_mm,
        float(np.sqrt(1 - share) * PRINT_DOUBT) if share < 1 else PRINT_DOUBT,
    )


def advice(told: SheetTold, bar_given: bool) -> tuple[str, ...]:
    """What a person should know or do, in words."""
    words = []
    if told.focal_is_vague and told.focal_sigma is not None:
        words.append(
            f"the sheet tells the focal length to {100 * told.focal_sigma:.0f} % only (the camera's tilt is "
            f"{told.tilt_deg:.0f} degrees). Photograph this side again on the sheet, tilted the other way by 10 to 15 "
            "degrees, and give both."
        )
    if bar_given and told.height_mm is not None and not LOWEST_MM < told.height_mm < HIGHEST_MM:
        words.append(
            f"by the sheet's bar the face lies {told.height_mm:.1f} mm over the paper, which cannot be: measure the "
            "bar (--bar-mm) and the disc's diameter again."
        )
    return tuple(words)
