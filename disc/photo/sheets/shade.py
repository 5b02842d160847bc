"""How a part of a face that is not seen is drawn: hatched, on photographs and on drawn sheets alike."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from disc import svg
from disc.frame import FloatArray, to_xy_mm
from disc.photo.image import opencv
from disc.photo.seen.seen_map import ANGLES, RINGS, SEEN, SeenMap

# BGR. A violet that neither metal nor a mark has; lines so far apart that the picture stays to be looked at. By eye.
SHADE, LINES_EVERY_MM, LINE_MM = (150, 40, 110), 0.7, 0.12
MOST_PX = 1600  # the hatch is drawn on a picture no larger than this, and enlarged; chosen by eye


def unseen_bands(seen: SeenMap) -> list[FloatArray]:
    """Outlines (n, 2), disc mm, of all ring pieces that are not seen."""
    height = seen.radius_mm / RINGS
    bands = []
    for ring in range(RINGS):
        for start, end in seen.unseen_arcs((ring + 0.5) * height):
            theta = np.linspace(start, end, max(2, int((end - start) / 3) + 2))
            inner, outer = ring * height, (ring + 1.02) * height
            x, y = to_xy_mm(
                np.concatenate([np.full(theta.shape, outer), np.full(theta.shape, inner)]),
                np.concatenate([theta, theta[::-1]]),
            )
            bands.append(np.stack([x, y], 1))
    return bands


def shade_unseen(canvas: Any, seen: SeenMap, to_px: Callable[[Any, Any], tuple[Any, Any]], px_per_mm: float) -> None:
    """Hatch what is not seen, in place. to_px: disc mm to the canvas."""
    if not any(row.strip(SEEN) for row in seen.rows):
        return
    cv2 = opencv()
    h, w = canvas.shape[:2]
    shrink = min(1.0, MOST_PX / max(h, w))
    mask = np.zeros((max(1, round(h * shrink)), max(1, round(w * shrink))), np.uint8)
    for band in unseen_bands(seen):
        u, v = to_px(band[:, 0], band[:, 1])
        cv2.fillPoly(mask, [np.round(np.stack([u, v], 1) * shrink).astype(np.int32)], 255)
    mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    mask = cv2.resize(mask, (w, h), interpolation=cv2.INTER_LINEAR)
    every, wide = max(8, round(LINES_EVERY_MM * px_per_mm)), max(2, round(LINE_MM * px_per_mm))
    left, top, across, along = cv2.boundingRect(mask)
    part = (slice(top, top + along), slice(left, left + across))
    down, right = np.ogrid[part]
    lines = ((right + down) % every < wide) & (mask[part] > 127)
    hatched = canvas[part]
    hatched[lines] = (0.35 * hatched[lines] + 0.65 * np.array(SHADE)).astype(np.uint8)
    hidden = (mask[part] > 127).astype(np.uint8)
    outlines, _ = cv2.findContours(hidden, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE, offset=(left, top))
    cv2.drawContours(canvas, outlines, -1, SHADE, max(2, wide // 2), cv2.LINE_AA)


def hatch_svg(seen: SeenMap, name: str, place: Callable[[float, float], tuple[float, float]]) -> list[str]:
    """The same on a drawn sheet: a pattern of this name and one path. place: (r_mm, theta_deg) to sheet mm."""
    height = seen.radius_mm / RINGS
    pieces = []
    for ring in range(RINGS):
        for start, end in seen.unseen_arcs((ring + 0.5) * height):
            theta = np.linspace(start, end, max(2, int((end - start) / 6) + 2))
            edge = [(ring * height, t) for t in theta] + [((ring + 1.02) * height, t) for t in theta[::-1]]
            pieces.append("M" + "L".join("{:.2f} {:.2f}".format(*place(r, float(t) % ANGLES)) for r, t in edge) + "Z")
    if not pieces:
        return []
    b, g, r = SHADE
    colour = f"#{r:02x}{g:02x}{b:02x}"
    turn = 45 if name.endswith("upper") else -45
    lines = svg.rect(0, 0, LINES_EVERY_MM, LINES_EVERY_MM, fill=colour, fill_opacity=0.10) + svg.rect(
        0, 0, LINE_MM, LINES_EVERY_MM, fill=colour, fill_opacity=0.75
    )
    pattern = svg.element(
        "pattern", lines, id=name, width=LINES_EVERY_MM, height=LINES_EVERY_MM, pattern_units="userSpaceOnUse",
        pattern_transform=f"rotate({turn})",
    )  # fmt: skip
    words = svg.element("title", f"{seen.side.value} face: not seen")
    return [svg.element("defs", pattern), svg.path("".join(pieces), words, fill=f"url(#{name})")]
