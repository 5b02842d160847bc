"""Photographs of discs on the measuring sheet, composed of plain ones and a drawn sheet, with exact truth.

    python -m tests.bench.truth.sheet_photos FOLDER OUT [--names p1,p2] [--seed 1] [--draws 1]

The disc is cut out of a photograph whose camera is known (face, wall and what stands on it, seen from the very same
place) and the ground is drawn anew: the sheet at its height under the face, as printed (stretched), lit unevenly, with
the disc's soft shadow. The camera is turned and zoomed about its lens, which changes no parallax, and bent by k1. Discs
whose outline is not a plain circle with a notch, or which something covers, cannot be cut out so and are left out.

OUT gets NAME-DRAW-SIDE.jpg, and NAME-DRAW.json in the form of the development set's truth, with photos[i].sheet.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from disc.frame import disc_to_view_mm, to_xy_mm
from disc.photo.board import pattern
from disc.photo.plane.view import distort, undistort
from disc.records import Side

NOT_PLAIN = frozenset({"p5", "p8", "h6", "h8"})  # gear-cut rims, things lying over the face
FIELD_PX = 20  # of the sheet's own picture, for half a millimetre
SUPER = 2


@dataclass(frozen=True)
class Setup:
    """How one photograph is composed. k1: of the new lens. height_mm: face over paper. zoom: pixels out of one in."""

    k1: float = 0.0
    sx: float = 1.0
    sy: float = 1.0
    height_mm: float = 1.6
    off_mm: tuple[float, float] = (0.0, 0.0)
    turn_deg: float = 0.0
    zoom: float = 0.62
    size: tuple[int, int] = (2100, 2800)
    aim: tuple[float, float] = (0.0, 0.0)
    white: float = 205.0
    slope: tuple[float, float] = (0.0, 0.0)
    shadow: tuple[float, float, float] = (0.4, -0.5, 0.45)
    blur_px: float = 0.7
    noise: float = 2.0
    quality: int = 92
    sag_mm: float = 0.0
    window_mm: float | None = None
    covered: bool = False


def draw_setup(rng: np.random.Generator, zoom: float) -> Setup:
    """One at random, within what a person with a printer and a telephone does."""
    return Setup(
        k1=float(np.clip(rng.normal(0, 0.02), -0.045, 0.045)),
        sx=float(1 + rng.uniform(-0.005, 0.005)),
        sy=float(1 + rng.uniform(-0.005, 0.005)),
        height_mm=float(rng.uniform(0.6, 3.8)),
        off_mm=(float(rng.uniform(-1.1, 1.1)), float(rng.uniform(-1.1, 1.1))),
        turn_deg=float(rng.uniform(0, 360)),
        zoom=zoom * float(rng.uniform(0.9, 1.1)),
        size=[(2100, 2800), (2800, 2100), (2400, 2400)][rng.integers(3)],
        aim=(float(rng.uniform(-0.03, 0.03)), float(rng.uniform(-0.03, 0.03))),
        white=float(rng.uniform(150, 240)),
        slope=(float(rng.uniform(-0.25, 0.25)), float(rng.uniform(-0.25, 0.25))),
        shadow=(float(rng.uniform(-0.9, 0.9)), float(rng.uniform(-0.9, 0.9)), float(rng.uniform(0.2, 0.6))),
        blur_px=float(rng.uniform(0.5, 1.1)),
        noise=float(rng.uniform(1, 4)),
        quality=int(rng.integers(80, 96)),
    )


@dataclass(frozen=True)
class Source:
    """A plain photograph and its camera: turn (3, 3) and place (3,) take face mm (x, y up, z out of it) to the lens."""

    pixels: Any
    focal_px: float
    k1: float
    turn: Any
    place: Any
    disc: dict[str, Any]
    side: Side

    @property
    def size(self) -> tuple[int, int]:
        return self.pixels.shape[1], self.pixels.shape[0]


def source_of(folder: Path, truth: dict[str, Any], photo: dict[str, Any]) -> Source:
    """The camera from the truth's rim points and angle of view."""
    pixels = cv2.imread(str(folder / photo["file"]))
    size = (photo["width"], photo["height"])
    k1 = float(photo["camera"].get("k1", 0.0))
    focal = size[0] / 2 / np.tan(np.radians(photo["camera"]["fov_deg"] / 2))
    side = Side(photo["side"])
    theta = np.arange(24) * 15.0
    x, y = disc_to_view_mm(*to_xy_mm(truth["disc"]["diameter_mm"] / 2, theta), side)
    face = np.column_stack([x, y, np.zeros(24)])
    rim = np.asarray(photo["rim_px"], float)
    u, v = undistort(k1, size, rim[:, 0], rim[:, 1])
    lens = np.array([[focal, 0, (size[0] - 1) / 2], [0, focal, (size[1] - 1) / 2], [0, 0, 1.0]])
    _, turn, place = cv2.solvePnP(face, np.column_stack([u, v]), lens, None, flags=cv2.SOLVEPNP_ITERATIVE)
    back, _ = cv2.projectPoints(face, turn, place, lens, None)
    assert np.abs(back[:, 0] - np.column_stack([u, v])).max() < 0.5
    return Source(pixels, float(focal), k1, cv2.Rodrigues(turn)[0], place.ravel(), truth["disc"], side)


class Camera:
    """The new camera at the old one's place."""

    def __init__(self, source: Source, setup: Setup) -> None:
        self.size, self.k1 = setup.size, setup.k1
        self.focal = source.focal_px * setup.zoom
        self.eye = -source.turn.T @ source.place
        # Turned so that the disc's middle lies near the picture's.
        ahead = source.place / np.linalg.norm(source.place)
        ahead = ahead + np.array([*setup.aim, 0.0])
        ahead = ahead / np.linalg.norm(ahead)
        right = np.cross([0, 1.0, 0], ahead)
        right /= np.linalg.norm(right)
        self.aim = np.stack([right, np.cross(ahead, right), ahead])  # the old camera's axes to the new one's
        self.turn, self.place = self.aim @ source.turn, self.aim @ source.place

    def px(self, face: Any) -> Any:
        """Face mm (n, 3) to seen pixels (n, 2)."""
        x, y, z = self.turn @ np.asarray(face).T + self.place[:, None]
        u, v = (self.size[k] / 2 - 0.5 + self.focal * way / z for k, way in enumerate((x, y)))
        return np.stack(distort(self.k1, self.size, u, v), 1)

    def rays(self, u: Any, v: Any) -> Any:
        """Seen pixels to directions (3, ...) in the old camera's axes."""
        u, v = undistort(self.k1, self.size, u, v)
        ways = np.stack([(u - self.size[0] / 2 + 0.5) / self.focal, (v - self.size[1] / 2 + 0.5) / self.focal])
        return np.tensordot(self.aim.T, np.concatenate([ways, np.ones_like(ways[:1])]), 1)


def sheet_picture(window_mm: float) -> Any:
    """The drawing in grey, FIELD_PX for half a millimetre."""
    fields = np.where(pattern.black_modules(), 25, 255).astype(np.uint8)
    big = np.kron(fields, np.ones((FIELD_PX, FIELD_PX), np.uint8))
    scale = FIELD_PX / pattern.MODULE_MM
    middle = tuple(round((m * scale - 0.5) * 256) for m in pattern.MIDDLE_MM)
    for radius, tone in ((window_mm / 2 + 0.1, 25), (window_mm / 2 - 0.1, 255)):
        cv2.circle(big, middle, round(radius * scale * 256), tone, -1, cv2.LINE_AA, 8)
    return big


def sheet_from_face(setup: Setup, x: Any, y: Any) -> tuple[Any, Any]:
    """Face mm, as seen by the lens, to the drawing's mm (its y runs down)."""
    turn = np.radians(setup.turn_deg)
    x, y = x + setup.off_mm[0], y + setup.off_mm[1]
    a, b = np.cos(turn) * x - np.sin(turn) * y, np.sin(turn) * x + np.cos(turn) * y
    return a / setup.sx + pattern.MIDDLE_MM[0], -b / setup.sy + pattern.MIDDLE_MM[1]


def face_from_sheet(setup: Setup, mm: Any) -> Any:
    """The way back: (n, 3) face mm of places (n, 2) of the drawing, on the paper."""
    turn = np.radians(setup.turn_deg)
    a, b = (mm[:, 0] - pattern.MIDDLE_MM[0]) * setup.sx, -(mm[:, 1] - pattern.MIDDLE_MM[1]) * setup.sy
    x, y = np.cos(turn) * a + np.sin(turn) * b, -np.sin(turn) * a + np.cos(turn) * b
    z = -setup.height_mm + setup.sag_mm * (a / 40.0) ** 2
    return np.column_stack([x - setup.off_mm[0], y - setup.off_mm[1], z])


def compose(source: Source, setup: Setup, rng: np.random.Generator) -> Any:
    """The photograph's pixels."""
    camera = Camera(source, setup)
    width, height = setup.size
    radius = source.disc["diameter_mm"] / 2
    window = setup.window_mm or pattern.window_for(2 * radius)
    drawing = sheet_picture(window)
    out = np.empty((height, width, 3), np.float32)
    for top in range(0, height, 200):
        rows = min(200, height - top)
        grid = np.meshgrid(
            (np.arange(width * SUPER) + 0.5) / SUPER - 0.5, top + (np.arange(rows * SUPER) + 0.5) / SUPER - 0.5
        )
        fine = _strip(source, setup, camera, drawing, radius, *grid)
        out[top : top + rows] = fine.reshape(rows, SUPER, width, SUPER, 3).mean((1, 3))
    soft = cv2.GaussianBlur(out, (0, 0), setup.blur_px)
    if setup.covered:
        cv2.rectangle(soft, (0, 0), (round(width * 0.55), round(height * 0.12)), (90, 110, 160), -1)
    soft = (soft + rng.normal(0, setup.noise, soft.shape)).astype(np.float32)
    return np.clip(soft + 0.5, 0, 255).astype(np.uint8)


def _strip(source: Source, setup: Setup, camera: Camera, drawing: Any, radius: float, u: Any, v: Any) -> Any:
    ray = camera.rays(u, v)
    su, sv = (source.focal_px * ray[k] / ray[2] + source.size[k] / 2 - 0.5 for k in (0, 1))
    su, sv = distort(source.k1, source.size, su, sv)
    seen = cv2.remap(
        source.pixels, su.astype(np.float32), sv.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    ).astype(np.float32)
    way = np.tensordot(source.turn.T, ray, 1)

    def at(z: float) -> tuple[Any, Any]:
        t = (z - camera.eye[2]) / way[2]
        return camera.eye[0] + t * way[0], camera.eye[1] + t * way[1]

    mine = _is_disc(source.disc, radius, at)
    x, y = at(-setup.height_mm)
    if setup.sag_mm:
        for _ in range(3):
            a, _b = sheet_from_face(setup, x, y)
            x, y = at_each(camera, way, -setup.height_mm + setup.sag_mm * ((a - pattern.MIDDLE_MM[0]) / 40) ** 2)
    ground = _paper(setup, drawing, radius, x, y)
    return np.where(mine[..., None], seen, ground[..., None] * np.array([0.93, 0.98, 1.0], np.float32))


def at_each(camera: Camera, way: Any, z: Any) -> tuple[Any, Any]:
    """Where rays reach heights z, face mm."""
    t = (z - camera.eye[2]) / way[2]
    return camera.eye[0] + t * way[0], camera.eye[1] + t * way[1]


def _is_disc(disc: dict[str, Any], radius: float, at: Any) -> Any:
    """Face or wall: seen through only beside all the plate's thickness, or through the slot all the way down."""
    levels = np.linspace(0, -disc["thickness_mm"], 4)
    bottom = 2 * disc["stop_slot"]["r_mm"] - radius
    half = disc["stop_slot"]["width_mm"] / 2
    plate = np.zeros(1, bool)
    for z in levels:
        x, y = at(float(z))
        inside = np.hypot(x, y) < radius - 0.01
        plate = plate | (inside & ~((x > bottom) & (np.abs(y) < half)))
    return plate


def _paper(setup: Setup, drawing: Any, radius: float, x: Any, y: Any) -> Any:
    mx, my = sheet_from_face(setup, x, y)
    scale = FIELD_PX / pattern.MODULE_MM
    tone = cv2.remap(
        drawing,
        (mx * scale - 0.5).astype(np.float32),
        (my * scale - 0.5).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=255,
    ).astype(np.float32)
    tone = np.where((np.abs(mx - 40) > 52) | (np.abs(my - 32) > 60), 70.0, tone)  # the table beyond the page
    light = setup.white / 255 * (1 + (setup.slope[0] * x + setup.slope[1] * y) / 40)
    sx, sy, depth = setup.shadow
    far = np.hypot(x + sx * setup.height_mm, y + sy * setup.height_mm) - radius
    dark = 1 - depth / (1 + np.exp(np.clip(far / (0.15 + 0.25 * setup.height_mm), -30, 30)))
    return tone * light * dark


def compose_disc(
    folder: Path, name: str, out: Path, draw: int, rng: np.random.Generator, change: dict[str, Any] | None = None
) -> None:
    """Both faces on one print, with one lens. change: of the setup's fields, for a trial of one thing."""
    truth = json.loads((folder / f"{name}.json").read_text())
    photos: list[dict[str, Any]] = []
    common: Setup | None = None
    for photo in [p for p in truth["photos"] if "sheet" not in p]:
        source = source_of(folder, truth, photo)
        drawn = draw_setup(rng, float(44.0 * np.linalg.norm(source.place) / source.focal_px))
        if common is None:
            common = drawn
        fields = {k: getattr(drawn, k) for k in ("off_mm", "turn_deg", "aim", "shadow", "slope")}
        fields["zoom"] = common.zoom if len(photos) == 0 else common.zoom * photos[0]["_focal"] / source.focal_px
        setup = Setup(**({k: getattr(common, k) for k in Setup.__dataclass_fields__} | fields | (change or {})))
        camera = Camera(source, setup)
        file = f"{name}-{draw}-{photo['side']}.jpg"
        pixels = compose(source, setup, rng)
        cv2.imwrite(str(out / file), pixels, [cv2.IMWRITE_JPEG_QUALITY, setup.quality])
        photos.append(_truth_of(truth, photo, camera, setup, file, pixels.shape) | {"_focal": source.focal_px})
    for photo in photos:
        del photo["_focal"]
    (out / f"{name}-{draw}.json").write_text(json.dumps(truth | {"name": f"{name}-{draw}", "photos": photos}))


def _truth_of(
    truth: dict[str, Any], photo: dict[str, Any], camera: Camera, setup: Setup, file: str, shape: Any
) -> dict[str, Any]:
    corners = pattern.corners_mm()
    px = camera.px(face_from_sheet(setup, corners))
    inside = np.all((px > 0) & (px < np.array(setup.size) - 1), axis=1)
    tilt = float(np.degrees(np.arccos(abs(camera.turn[2, 2]))))
    theta = np.arange(24) * 15.0
    x, y = disc_to_view_mm(*to_xy_mm(truth["disc"]["diameter_mm"] / 2, theta), Side(photo["side"]))
    radius = truth["disc"]["diameter_mm"] / 2
    window = setup.window_mm or pattern.window_for(2 * radius)
    shown = inside & (np.hypot(*(corners - pattern.MIDDLE_MM).T) > window / 2 + 0.3)
    return {
        "file": file,
        "side": photo["side"],
        "width": shape[1],
        "height": shape[0],
        "rim_px": camera.px(np.column_stack([x, y, np.zeros(24)])).tolist(),
        "pins_px": [],
        "camera": {
            "fov_deg": float(np.degrees(2 * np.arctan(shape[1] / 2 / camera.focal))),
            "tilt_deg": tilt,
            "k1": setup.k1,
        },
        "sheet": {
            "sx": setup.sx,
            "sy": setup.sy,
            "height_mm": setup.height_mm,
            "window_mm": window,
            "corners_px": [[int(k), *px[k].tolist()] for k in np.nonzero(shown)[0]],
        },
    }


def main() -> None:
    """Compose all that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--names", default="")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--draws", type=int, default=1)
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    names = given.names.split(",") if given.names else sorted(p.stem for p in given.folder.glob("*.json"))
    for name in names:
        if name in NOT_PLAIN:
            continue
        for draw in range(given.draws):
            rng = np.random.default_rng([given.seed, draw, *map(ord, name)])
            compose_disc(given.folder, name, given.out, draw, rng)
            print(name, draw, flush=True)


if __name__ == "__main__":
    main()
