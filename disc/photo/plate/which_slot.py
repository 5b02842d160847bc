"""The stop slot decided over all photographs of a disc together, and how sure that is.

The slot is one cut through the plate: every photograph must show it, with one width, and with the slots of two
photographs laid on one another what both show must agree: two photographs of a face show the same pins, and of the two
faces' photographs one's pins show on the other as tails, its empty holes perhaps as holes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np

from disc.frame import FloatArray, to_polar, view_to_disc_mm, wrap_deg
from disc.photo.plate.one_width import KnownWidth
from disc.photo.plate.slot_signs import SlotPlace
from disc.records import About, Doubt, Side

# One cut, measured on two photographs: widths differ by this, one sigma; beyond some sigmas one was not read right.
WIDTH_MM, WIDTH_COUNTS_MOST = 0.06, 6.0
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Marks of two photographs nearer than this are the same; each beyond what chance gives counts this much, up to so much.
SAME_MM, EACH, AGREEMENT_COUNTS_MOST = 0.15, 1.0, 12.0
MOST_EACH = 4  # places of a photograph that are weighed together
# What is always left open: on none of 66 rendered photographs, their plate rightly found, was a place said with more
# than 97 % the wrong one, so that no more than this is known of what lies beyond.
LEFT_OPEN = 0.005
UNSEEN_ODDS = -3.0  # of a photograph that shows the slot nowhere


@dataclass(frozen=True, slots=True)
class FaceMarks:
    """What a photograph shows, for laying it on another: side, radius, and marks (n, 2) in its plane's view mm."""

    upper: bool
    radius_mm: float
    xy: FloatArray


@dataclass(frozen=True, slots=True)
class ChosenSlot:
    """place: the slot, None where a photograph shows none; probability: that it is the right one.

    runner_up_rad: the next likely place, in the plane's axes; None where there is none. runner_up: its probability.
    by_pins: the place was told by the face's other photographs, laid on this one.
    width: of the slot, as the disc's other photographs show it; None where there are none.
    """

    place: SlotPlace | None
    probability: float
    runner_up_rad: float | None = None
    runner_up: float = 0.0
    by_pins: bool = False
    width: KnownWidth | None = None


@dataclass(frozen=True, slots=True)
class SlotOdds:
    """How sure the slot is, for other rooms: the probability that it is the right one, and the runner-up.

    other_theta_deg: where the next likely place lies, in the disc's axes as they are counted now; taking it for the
    slot takes so much off every angle of the face. None where there is none.
    """

    probability: float
    other_theta_deg: float | None = None
    other_probability: float = 0.0


# That a mark is wrong where its photograph shows no notch: on all of 32 rendered faces whose slot was rightly marked
# one was seen there.
NO_NOTCH = 0.95
# Below this probability a person is asked to look at the slot.
SLOT_SURE = 0.97


def slot_doubts(odds: SlotOdds | None, side: Side, is_seen: bool = True) -> tuple[Doubt, ...]:
    """The doubt of a face's slot where it is not sure.

    odds: None where a person named it; then is_seen says whether the photograph shows a notch there.
    """
    if odds is None and not is_seen:
        words = f"no notch is seen where the stop slot of the {side.value} face was marked: all angles count from it."
        advice = (
            f"Look at the overlay; mark the slot's middle again: disc read JOB ... --slot-{side.value} u,v (pixels)"
        )
        return (Doubt(About.SLOT, words, advice, side, NO_NOTCH),)
    if odds is None or odds.probability >= SLOT_SURE:
        return ()
    if odds.other_probability >= SLOT_SURE:  # only where a person marked the slot elsewhere
        words = (
            f"the stop slot of the {side.value} face was marked where the photograph shows none: it shows one at "
            f"{odds.other_theta_deg:.0f} degrees from there."
        )
        advice = (
            f"Look at the overlay; to have it found: disc read JOB --{side.value} PHOTO without --slot-{side.value}."
        )
        return (Doubt(About.SLOT, words, advice, side, 1 - odds.probability),)
    other = (
        "" if odds.other_theta_deg is None else f"; the next likely place lies at {odds.other_theta_deg:.0f} degrees"
    )
    words = f"the stop slot of the {side.value} face is not plain to see{other}: all angles of the face count from it."
    advice = (
        "Check on the overlay that the arrow points to the slot, or mark it: disc read JOB ... "
        f"--slot-{side.value} u,v (pixels), or at the desk."
    )
    return (Doubt(About.SLOT, words, advice, side, 1 - odds.probability),)


def odds_in_disc(chosen: ChosenSlot, angle_rad: float, side: Side) -> SlotOdds:
    """In the disc's axes. angle_rad: of the slot as it was taken, in the plane's axes."""
    if chosen.place is None:
        return SlotOdds(0.0)
    if chosen.runner_up_rad is None:
        return SlotOdds(chosen.probability)
    off = chosen.runner_up_rad - angle_rad
    _, theta = to_polar(*view_to_disc_mm(np.cos(off), np.sin(off), side))
    return SlotOdds(chosen.probability, float(wrap_deg(float(theta))), chosen.runner_up)


def odds_against_mark(shown: ChosenSlot, mark_rad: float, side: Side, near_rad: float) -> SlotOdds | None:
    """What a photograph says against a slot that a person marked; None where it does not plainly show another place.

    shown: the place that the photograph shows, by itself. near_rad: a mark so near is the same place.
    """
    if shown.place is None or shown.probability < SLOT_SURE:
        return None
    off = shown.place.slot.angle_rad - mark_rad
    if abs(np.angle(np.exp(1j * off))) < near_rad:
        return None
    _, theta = to_polar(*view_to_disc_mm(np.cos(off), np.sin(off), side))
    return SlotOdds(1.0 - shown.probability, float(wrap_deg(float(theta))), shown.probability)


def choose_slots(places: Sequence[Sequence[SlotPlace]], marks: Sequence[FaceMarks]) -> list[ChosenSlot]:
    """One place for each photograph, weighed together; all photographs show one disc."""
    few: list[list[SlotPlace | None]] = [[*some[:MOST_EACH], None] for some in places]
    between = {(a, b): _agreement(few[a], few[b], marks[a], marks[b]) for a, b in combinations(range(len(few)), 2)}
    ways, odds = [], []
    for way in product(*(range(len(some)) for some in few)):
        own = [few[k][i] for k, i in enumerate(way)]
        alone = sum(place.odds if place else UNSEEN_ODDS for place in own)
        ways.append(way)
        odds.append(alone + sum(table[way[a], way[b]] for (a, b), table in between.items()))
    weight = np.exp(np.array(odds) - max(odds))
    weight /= weight.sum()
    return [_chosen(some, np.array([way[k] for way in ways]), weight) for k, some in enumerate(few)]


def _chosen(some: list[SlotPlace | None], index: FloatArray, weight: FloatArray) -> ChosenSlot:
    share = np.bincount(index.astype(int), weight, len(some))
    order = np.argsort(-share, kind="stable")
    place = some[order[0]]
    other = next((k for k in order[1:] if some[k] is not None), None)
    second = None if other is None else some[other]
    sure = float(share[order[0]] * (1 - LEFT_OPEN))
    return ChosenSlot(place, sure, second.slot.angle_rad if second else None, float(share[other]) if second else 0.0)


def _agreement(a: list[SlotPlace | None], b: list[SlotPlace | None], at_a: FaceMarks, at_b: FaceMarks) -> FloatArray:
    """Log-odds of every pair of places of two photographs, (len(a), len(b))."""
    table = np.zeros((len(a), len(b)))
    for i, j in product(range(len(a)), range(len(b))):
        one, two = a[i], b[j]
        if one is None or two is None:
            continue
        off = (one.slot.width_mm - two.slot.width_mm) / WIDTH_MM
        table[i, j] = -min(off**2 / 2, WIDTH_COUNTS_MOST)
        table[i, j] += _same_marks(_from_slot(at_a, one.slot.angle_rad), _from_slot(at_b, two.slot.angle_rad), at_a)
    return table


def _from_slot(marks: FaceMarks, angle_rad: float) -> FloatArray:
    """Marks (n, 2) counted from a slot, as seen on the upper side."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    turned = marks.xy @ np.array([[c, -s], [s, c]])
    return turned * (1.0, 1.0 if marks.upper else -1.0)


def _same_marks(a: FloatArray, b: FloatArray, marks: FaceMarks) -> float:
    """How much more of the marks fall on each other than chance would have it, as log-odds."""
    if not len(a) or not len(b):
        return 0.0
    near = np.linalg.norm(a[:, None] - b[None], axis=2).min(1) < SAME_MM
    chance = len(a) * min(len(b) * (SAME_MM / (0.9 * marks.radius_mm)) ** 2, 1.0)
    over = float(near.sum()) - chance
    return float(min(EACH * max(over - 2 * np.sqrt(chance + 1), 0.0), AGREEMENT_COUNTS_MOST))
