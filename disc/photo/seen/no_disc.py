"""Is it a pinned disc at all? By what the finder's outline, the slot and the sites have to say together."""

from __future__ import annotations

from collections.abc import Sequence

from disc.photo.plate.find_plate import CoarsePlate
from disc.records import Pin

# On p1-p8 and h1-h8 at most 0.01 of the outline lies off the rim's ellipse where nothing covers it, 18 sites and more
# are sure, and the slot is seen with a heat of 0.5 and more. Of pictures of other things 0.33 and more of the outline
# strays, or the slot's heat is under 0.4, and at most 2 sites are sure.
STRAYS, FAINT_SLOT, SURE, FEWEST_SURE = 0.25, 0.40, 0.9, 5


def is_no_disc(found: CoarsePlate, pins: Sequence[Pin]) -> bool:
    """Whether nothing looks like a pinned disc: no sure sites, and either no round rim or no slot in it.

    A blank plate with a rim and a slot passes, and so does a disc half of which a hand covers.
    """
    sure = sum((pin.confidence or 0.0) > SURE for pin in pins)
    return sure < FEWEST_SURE and (found.covered > STRAYS or found.slot_heat < FAINT_SLOT)
