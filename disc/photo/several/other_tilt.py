"""One more photograph of a face, tilted the other way: whether it is worth taking, and from where.

A pin's length is drawn by the tilt alone, and what its own shadow or the pin itself hides from one side the other side
shows: stubs, empty holes and leaning pins are told by it more than by anything else.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.frame import FloatArray, view_to_disc_mm
from disc.photo.marks.pins_from_sites import SQUARELY_MM
from disc.photo.plane.view import View, project
from disc.records import About, Doubt, Pin, Side

# Doubtful conditions of a face from which a photograph more is asked for: one is looked at faster than photographed
# again (chosen).
WORTH_IT = 2
EDGES = ("right", "upper", "left", "lower")  # of a picture, counter-clockwise


def other_tilt(side: Side, views: Sequence[View], shown_mm: Sequence[float], pins: Sequence[Pin]) -> list[Doubt]:
    """views: of the face's photographs; shown_mm: how long each draws an upright pin."""
    if not pins or not views:
        return []
    face, both = side.value, f"and give both: disc read JOB --{side.value} PHOTO OTHER"
    if max(shown_mm) <= SQUARELY_MM:
        say = (
            f"the {face} face's pins are seen from straight above and show nothing of their length: stubs, empty holes "
            "and leaning pins are hard to tell there from sound ones."
        )
        advice = f"Photograph this side again, the camera tilted by 10 to 15 degrees, {both}"
        return [Doubt(About.SHARP, say, advice, side)]
    unsure = sum(pin.is_doubtful and not pin.presence_is_doubtful for pin in pins)
    if unsure < WORTH_IT or _from_both_sides(views, shown_mm):
        return []
    edge = leans_to(views[int(np.argmax(shown_mm))])
    opposite = EDGES[(EDGES.index(edge) + 2) % 4]
    say = f"{unsure} pins of the {face} face may be whole, broken or gone: it was photographed from one side only."
    advice = (
        f"Photograph this side again, tilted the other way (the camera stood towards the picture's {edge} edge, let it "
        f"now stand towards the {opposite} one), {both}"
    )
    return [Doubt(About.SHARP, say, advice, side)]


def leans_to(view: View) -> str:
    """The picture's edge towards which the camera stood."""
    u, v = _way_px(view)
    return EDGES[round(np.arctan2(-v, u) / (np.pi / 2)) % 4]


def _way_px(view: View) -> FloatArray:
    """From the disc's middle towards the place under the lens, as the picture shows it: (u, v) of a millimetre."""
    x, y, _ = view.eye_mm
    far = max(float(np.hypot(x, y)), 1e-9)
    ends = np.array([0.0, x / far]), np.array([0.0, y / far])
    (u, end_u), (v, end_v) = project(view.matrix, view.k1, (view.width_px, view.height_px), *ends)
    return np.array([end_u - u, end_v - v])


def _from_both_sides(views: Sequence[View], shown_mm: Sequence[float]) -> bool:
    """Whether two photographs that show the pins' length look at the face from ways more than a right angle apart."""
    ways = []
    for view, shown in zip(views, shown_mm, strict=True):
        if shown > SQUARELY_MM:
            ways.append(np.array(view_to_disc_mm(*view.eye_mm[:2], view.side), float))
    return any(float(a @ b) < 0 for k, a in enumerate(ways) for b in ways[k + 1 :])
