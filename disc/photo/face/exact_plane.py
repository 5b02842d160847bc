"""Weigh and settle: where the plane of a face lies exactly, by rim, tracks and standing pins."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from disc.frame import FloatArray
from disc.photo.face.seen_marks import Seen, weighed_at_first
from disc.photo.marks.site_odds import common_slant, site_odds
from disc.photo.marks.slant import Slant, expected_perspective
from disc.photo.marks.spots import PIN
from disc.photo.plane.joint import K1_DOUBT, Joint, PinMarks, settle_jointly
from disc.photo.plane.settle import SettledPlane, settle
from disc.photo.plate.outline import rim_points
from disc.photo.plate.turned import turned_marks

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
COARSE_RIM_MM = 0.10  # scatter of the finder's outline about the rim; its wall side bulges by as much
# kernels as settle.WIDTHS_MM, from a plane already good; chosen by hand, not fitted
FINE_WIDTHS_MM = (0.04, 0.035, 0.03, 0.03, 0.03)
# Fewer standing pins than this do not tell plane and slant together; sigma of places then.
FEWEST_JOINT, FEW_PINS_MM = 12, 0.02
# Turned marks whose middle lies so far off wave so much that a sector smears them, and say too little: on h2, begun
# 0.1 mm off, they left 0.04 mm. They are read again in the plane that came of it.
TURNED_AGAIN_MM = 0.03


def exact_plane(seen: Seen) -> Joint:
    """Where the plane lies, by all that this photograph alone shows."""
    fine, slant, rim, scatter = settle_all(seen)
    return jointly(seen, fine, slant, rim, scatter)


def settle_all(seen: Seen) -> tuple[SettledPlane, Slant, FloatArray, float]:
    """By the coarse outline and the tracks, then by the exact rim and the tracks: plane, slant, rim and its scatter."""
    spots = seen.spots
    px = seen.first.to_px(spots.root)
    _, odds = weighed_at_first(seen)
    sure = odds > 1.0
    outline = seen.found.outline[:: max(1, len(seen.found.outline) // 200)]
    settled = settle(
        seen.first,
        seen.radius_mm,
        px[sure],
        spots.sigma_root[sure],
        outline,
        COARSE_RIM_MM,
        perspective=seen.begun.perspective,
        k1_sigma=seen.begun.k1_sigma,
    )
    mm = seen.in_plane(settled.plane)
    slant = common_slant(mm, settled.plane)
    odds = site_odds(mm, np.hypot(mm.root[:, 0], mm.root[:, 1]), seen.radius_mm, slant, seen.bore_mm)
    sure = odds > 1.0
    rim, scatter = rim_points(seen.photo.pixels, settled.plane, seen.radius_mm, slant.eye_xy_mm)
    rim = seen.begun.clear_rim(rim)
    if not len(rim):  # glare has eaten the edge: the coarse outline still holds the scale, which tracks alone do not
        rim, scatter = outline, COARSE_RIM_MM
    view_fits = seen.begun.perspective
    if view_fits is None:
        view_fits = expected_perspective(slant, settled.plane, seen.radius_mm, seen.photo.focal_px)
    fine = settle(
        settled.plane,
        seen.radius_mm,
        px[sure],
        spots.sigma_root[sure],
        rim,
        scatter,
        FINE_WIDTHS_MM,
        view_fits,
        seen.found.centre_px,
        k1_sigma=seen.begun.k1_sigma,
    )
    return fine, slant, rim, scatter


def jointly(seen: Seen, fine: SettledPlane, slant: Slant, rim: FloatArray, scatter: float) -> Joint:
    """The last step; faces with too few standing pins for it keep what they have."""
    mm = seen.in_plane(fine.plane)
    slant = common_slant(mm, fine.plane, slant)
    odds = site_odds(mm, np.hypot(mm.root[:, 0], mm.root[:, 1]), seen.radius_mm, slant, seen.bore_mm)
    pin = (mm.kind.argmax(1) == PIN) & (odds > 1.0)
    if pin.sum() < FEWEST_JOINT:
        known = seen.begun.known
        bends = K1_DOUBT if known is None else float(min(known.sigmas()[3], K1_DOUBT))
        return Joint(fine.plane, slant, (0.0, 0.0), 0.0, FEW_PINS_MM, fine.scatter_mm, k1_sigma=bends)
    foot, tip = seen.first.to_px(seen.spots.root[pin]), seen.first.to_px(seen.spots.tip[pin])
    turned = turned_marks(seen.photo.pixels, fine.plane, seen.radius_mm)
    slot = None if seen.found.slot is None else np.asarray(seen.found.slot, float)
    marks = PinMarks(foot, tip, mm.sigma_root[pin], mm.sigma_tip[pin], rim, scatter, slot, turned, seen.found.centre_px)
    joint = settle_jointly(fine.plane, slant, seen.radius_mm, marks, seen.photo.focal_px, seen.begun.known)
    if turned.off_mm(fine.plane) < TURNED_AGAIN_MM:
        return joint
    marks = replace(marks, turned=turned_marks(seen.photo.pixels, joint.plane, seen.radius_mm))
    return settle_jointly(fine.plane, slant, seen.radius_mm, marks, seen.photo.focal_px, seen.begun.known)
