"""What is doubtful of a face's photographs, in words: hidden parts, blur, glare, too few pixels, too steep a view."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from disc.photo.quality import PhotoVerdict
from disc.photo.seen.look_face import FaceSeen
from disc.photo.seen.seen_map import RINGS, WORDS, SeenMap, Why, arcs_hidden
from disc.records import About, Doubt, Side

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Less of the plate than this is not worth a word, though no pin is called missing there.
LEAST_PART = 0.004
# A picture whose usual edge is blurred so far, with so little fine detail for its coarse: on h1-h8 as they are blur is
# 0.7 to 2.0 px and detail 0.42 and more, blurred by 4 px it is 3.3 and more and detail under 0.21.
BLURRED_PX, DETAIL = 2.6, 0.27
ODDS_A_PX, ODDS_A_DETAIL = 5.0, 4.0  # log-odds for each px, and for each factor e of detail
# So many parts of a face, of those that tell, blurred by more than this: h6 as it is shows a fifth above 2.6 px.
BLURRED_PARTS, PART_BLURRED_PX = 0.25, 2.9
GRAVE_TRACKS = 6  # named at most; more are given as a range


def face_doubts(
    side: Side,
    seen: FaceSeen,
    whole: SeenMap,
    verdict: PhotoVerdict,
    tracks_mm: Iterable[float],
    *,
    scanned: bool = False,
) -> list[Doubt]:
    """seen: of the leading photograph; whole: what all photographs of the face leave unseen.

    scanned: the picture is a scan, whose blur is judged in mm (scan/scanner.py): at 1200 dpi eight pixels are little.
    """
    soft = [] if scanned else _soft(side, seen, verdict)
    return [*_hidden(side, whole, seen, list(tracks_mm)), *soft, *_poor(side, whole, verdict)]


def not_photographed(side: Side, job_name: str = "JOB") -> Doubt:
    """A face without a photograph."""
    return Doubt(
        About.FACE,
        f"the {side.value} face was not photographed: none of its pins is known, and none is missing.",
        f"Run: disc read {job_name} --{side.value} PHOTO",
        side,
    )


def _hidden(side: Side, whole: SeenMap, seen: FaceSeen, tracks_mm: list[float]) -> list[Doubt]:
    parts = {why: share for why in (Why.COVERED, Why.FRAME) if (share := whole.share(why)) > LEAST_PART}
    if not parts:
        return []
    said = " and ".join(f"{100 * share:.0f} % is {WORDS[why]}" for why, share in parts.items())
    where = _where(whole) + _tracks(whole, tracks_mm)
    words = f"of the {side.value} face {said}, {where}; no pin there is called missing."
    advice = (
        "Take another photograph of this face with that part free and the whole rim in the frame, and give both: "
        f"disc read JOB --{side.value} PHOTO OTHER"
    )
    sure = seen.cover_sure if Why.COVERED in parts and Why.FRAME not in parts else 1.0
    return [Doubt(About.COVERED, words, advice, side, sure or 1.0)]


def _where(whole: SeenMap) -> str:
    """The sector in which the hidden part lies, in the disc's own angle and radius."""
    letters = whole.letters()
    hidden = np.isin(letters, [Why.COVERED.value, Why.FRAME.value])
    rings, angles = np.nonzero(hidden.any(axis=1))[0], np.asarray(hidden.any(axis=0))
    inner, outer = rings.min() / RINGS * whole.radius_mm, (rings.max() + 1) / RINGS * whole.radius_mm
    if angles.all():
        return f"from r {inner:.1f} to {outer:.1f} mm"
    # The longest stretch of angles without anything hidden ends where the hidden part begins.
    clear = np.nonzero(~angles)[0]
    longest, begins, run = 0, 0, 0
    for k in range(2 * len(angles)):
        run = 0 if angles[k % len(angles)] else run + 1
        if run > longest and run <= len(clear):
            longest, begins = run, (k + 1) % len(angles)
    return f"between {begins} and {(begins - longest) % 360} degrees, r {inner:.1f} to {outer:.1f} mm"


def _tracks(whole: SeenMap, tracks_mm: list[float]) -> str:
    hidden = arcs_hidden(whole, tracks_mm)
    if not hidden:
        return ""
    if len(hidden) > GRAVE_TRACKS:
        return f" ({len(hidden)} of {len(tracks_mm)} tracks, r {min(hidden):.2f} to {max(hidden):.2f} mm)"
    each = ", ".join(
        f"r {r:.2f} mm {' and '.join(f'{a:.0f}-{b % 360:.0f}' for a, b in arcs)} degrees" for r, arcs in hidden.items()
    )
    return f" (tracks {each})"


def _soft(side: Side, seen: FaceSeen, verdict: PhotoVerdict) -> list[Doubt]:
    """Blur, of the whole face or of a part of it."""
    sharp = seen.sharp
    steady = "Focus on the face, rest the camera, use more light or the self-timer"
    advice = f"{steady}; then: disc read JOB --{side.value} PHOTO"
    odds = ODDS_A_PX * (sharp.blur_px - BLURRED_PX) + ODDS_A_DETAIL * float(np.log(DETAIL / max(sharp.detail, 1e-3)))
    if odds > 0:
        wide = 2.56 * sharp.blur_px  # from a tenth to nine tenths of a blurred step
        words = f"the photograph of the {side.value} face is blurred: an edge on it is some {wide:.0f} px wide."
        return [Doubt(About.SHARP, words, advice, side, float(1 / (1 + np.exp(-min(odds, 6.0)))))]
    parts = sharp.parts_px[np.isfinite(sharp.parts_px)]
    soft = float(np.mean(parts > PART_BLURRED_PX)) if len(parts) >= 6 else 0.0
    if soft > BLURRED_PARTS:
        words = f"about {100 * soft:.0f} % of the {side.value} face is out of focus."
        return [Doubt(About.SHARP, words, advice, side, min(0.5 + soft, 0.95))]
    if any(reason.startswith("blurred") for reason in verdict.reasons):
        words = f"the photograph of the {side.value} face is blurred: the rim's edge is {verdict.edge_mm:.2f} mm wide."
        return [Doubt(About.SHARP, words, advice, side, 0.9)]
    return []


def _poor(side: Side, whole: SeenMap, verdict: PhotoVerdict) -> list[Doubt]:
    """What else a photograph can be blamed for, and glare that hides places."""
    found = []
    for reason in verdict.reasons:
        if reason.startswith("blurred"):
            continue
        fault, _, advice = reason.partition(". ")
        found.append(Doubt(About.SHARP, f"the photograph of the {side.value} face: {fault}.", advice, side, 0.9))
    share = whole.share(Why.GLARE)
    if share > LEAST_PART and not any("glare" in reason for reason in verdict.reasons):
        words = f"{100 * share:.0f} % of the {side.value} face is white with glare; nothing is told there."
        advice = "Turn the disc or the lamp, or light it through white paper, and give both photographs."
        found.append(Doubt(About.SHARP, words, advice, side, 0.9))
    return found
