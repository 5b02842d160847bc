"""Settings of a dividing head for any list of angles: turns of the crank and holes on one circle of a plate.

In: angles in degrees from the stop slot. Out: the circle that serves the whole job best, and for each angle the turns
and holes from the slot, the step from the hole before, and the error that rounding to a hole leaves. All counts are
cumulative from the slot, so roundings do not add up. One circle is chosen for the whole job because changing the plate
loses the datum. Method: plain indexing as in any machinist's handbook; a worm of ratio 40:1 turns the work once in 40
turns of the crank.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from disc.errors import BadInput
from disc.frame import FULL_TURN_DEG

# Turns of the crank to one of the head: 40 for milling heads, 60 and 90 for rotary tables; common practice, no source.
COMMON_WORMS = (40, 60, 90)
# Circles of the three plates that machinists' handbooks tabulate for a 40:1 head; from memory.
COMMON_CIRCLES = (15, 16, 17, 18, 19, 20, 21, 23, 27, 29, 31, 33, 37, 39, 41, 43, 47, 49)
# More than any head or plate has: a slip in typing. Chosen by hand.
LARGEST_WORM = 1000
LARGEST_CIRCLE = 1000  # holes; likewise


@dataclass(frozen=True, slots=True)
class Setting:
    """The crank at one angle: whole turns and holes from the stop slot, and from the angle before in the list.

    error_deg: angle reached minus angle wanted.
    """

    angle_deg: float
    turns: int
    holes: int
    step_turns: int
    step_holes: int
    error_deg: float


@dataclass(frozen=True, slots=True)
class Dividing:
    """A whole job on one circle. hole_deg: the angle of one hole. worst_deg, rms_deg: of the errors, sign left out."""

    worm: int
    circle: int
    hole_deg: float
    settings: tuple[Setting, ...]
    worst_deg: float
    rms_deg: float


def divide(angles_deg: Sequence[float], worm: int, circle: int) -> Dividing:
    """Settings for these angles (0 to below 360, in the order of the work) on one circle of holes.

    An angle that rounds up to the full turn is reached by the full turn, never by going back to 0, so that the crank
    always goes the same way and its play does not count. A step to a smaller angle goes on through the slot.
    """
    check_head(worm, (circle,))
    settings: list[Setting] = []
    per_turn = worm * circle
    before = 0
    for angle in angles_deg:
        count = round(angle * per_turn / FULL_TURN_DEG)
        step = count - before if count >= before else count - before + per_turn
        error = count * FULL_TURN_DEG / per_turn - angle
        settings.append(Setting(angle, count // circle, count % circle, step // circle, step % circle, error))
        before = count
    errors = [abs(s.error_deg) for s in settings]
    rms = (sum(e * e for e in errors) / len(errors)) ** 0.5 if errors else 0.0
    return Dividing(worm, circle, FULL_TURN_DEG / per_turn, tuple(settings), max(errors, default=0.0), rms)


def best_dividing(angles_deg: Sequence[float], worm: int, circles: Sequence[int] = COMMON_CIRCLES) -> Dividing:
    """The circle with the smallest worst error over the whole job; among equals the one with fewest holes.

    Errors are compared to a thousandth of an arc second, so that the last bits of a float do not choose the plate.
    """
    check_head(worm, circles)
    return min(
        (divide(angles_deg, worm, circle) for circle in sorted(set(circles))),
        key=lambda d: (round(d.worst_deg * 3.6e6), round(d.rms_deg * 3.6e6), d.circle),
    )


def plain_indexing(divisions: int, worm: int, circles: Sequence[int] = COMMON_CIRCLES) -> list[tuple[int, int, int]]:
    """All exact settings for equal divisions as (turns, holes, circle), smallest circle first; empty: none is exact.

    The handbook's own question: worm / divisions turns of the crank for each division.
    """
    if divisions < 1:
        raise BadInput(f"{divisions} divisions cannot be made; give 1 or more.")
    check_head(worm, circles)
    turn = Fraction(worm, divisions)
    whole, part = divmod(turn, 1)
    fits = [circle for circle in sorted(set(circles)) if (part * circle).denominator == 1]
    return [(int(whole), int(part * circle), circle) for circle in fits]


def check_head(worm: int, circles: Sequence[int]) -> None:
    """Raises BadInput if no dividing head has this worm, or no plate such a circle."""
    if not 1 <= worm <= LARGEST_WORM:
        raise BadInput(f"a dividing head of {worm}:1 is not possible; the ratio lies between 1 and {LARGEST_WORM}.")
    if not circles:
        raise BadInput("no circles of holes given. Name those of your plates, for example --plates 15,16,17,18,19,20.")
    for circle in circles:
        if not 1 <= circle <= LARGEST_CIRCLE:
            raise BadInput(f"a circle of {circle} holes is not possible; it has between 1 and {LARGEST_CIRCLE}.")


def parse_circles(text: str) -> tuple[int, ...]:
    """Circles of holes written "15,16,17" or, plate by plate, "15,16;21,23". Raises BadInput."""
    try:
        circles = tuple(sorted({int(part) for part in text.replace(";", ",").split(",") if part.strip()}))
    except ValueError:
        raise BadInput(f"the circles {text!r} cannot be read: write whole numbers like 15,16,17,18,19,20.") from None
    check_head(COMMON_WORMS[0], circles)
    return circles
