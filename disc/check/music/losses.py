"""How likely this disc is to have lost pins without a trace, before any one place is looked at.

A disc that shows no empty hole, no stub and no leaning pin has hardly lost pins elsewhere: what looks like a gap in
its music is then a varied repeat. (Estimating the share of losses from the candidates themselves, by expectation and
maximisation, was tried and dropped: tunes of many varied repeats drew the share up, and recall at a precision of 0.85
fell from 0.55 to 0.43 on the training discs.)
"""

from __future__ import annotations

from collections.abc import Iterable

from disc.check.photo.holes import is_empty_hole
from disc.records import Condition, Pin

# ln odds for losses where no sign of damage is seen on any pin. On invented discs with 3 to 12 % of the pins gone, half
# of them with a hole, and 2 to 5 leaning, none was without a sign; the value keeps undamaged discs free of findings.
NO_SIGN_LOG_ODDS = -5.0


# The reader's or a person's word alone (0.74) is a sign; a word that the measured lean speaks against is none: of some
# 200 sound pins one is called bent now and then.
LIKELY_LEAN = 0.7


def has_signs(pins: Iterable[Pin], bent_ids: set[int]) -> bool:
    """Whether any pin shows damage: an empty hole, a stub, or a likely leaning pin (by id, as judged in seen.py)."""
    return any(is_empty_hole(pin) or pin.condition is Condition.STUB or pin.id in bent_ids for pin in pins)
