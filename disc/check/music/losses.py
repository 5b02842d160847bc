"""How likely this disc is to have lost pins without a trace, before any one place is looked at.

A disc that shows no empty hole, no stub and no leaning pin has hardly lost pins elsewhere: what looks like a gap in
its music is then a varied repeat. (Estimating the share of losses from the candidates themselves, by expectation and
maximisation, was tried and dropped: tunes of many varied repeats drew the share up, and recall at a precision of 0.85
fell from 0.55 to 0.43 on the training discs.)
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from disc.check.photo.holes import is_empty_hole
from disc.records import Condition, Pin

# ln odds for losses where no sign of damage is seen on any pin. On invented discs with 3 to 12 % of the pins gone, half
# of them with a hole, and 2 to 5 leaning, none was without a sign; the value keeps undamaged discs free of findings.
NO_SIGN_LOG_ODDS = -5.0  # measured as said above


# The reader's or a person's word alone (0.74) is a sign; a word that the measured lean speaks against is none: of some
# 200 sound pins one is called bent now and then.
LIKELY_LEAN = 0.7


# The least share of pins that showed damage on the invented discs that the weights were fitted on; one sign among a
# hundred pins is a slip, and losses without a trace are as much rarer then.
USUAL_SHARE = 0.03
# Of the pins lost on those discs half left no hole. On photographs a lost pin's hole is seen: 43 of 44 on sixteen
# rendered discs, and of 13 places that the music alone asked for none was one (tests/bench/measure/calibration.py).
NO_HOLE_FITTED, NO_HOLE_IN_PHOTOGRAPHS = 0.5, (1 + 0.5) / (44 + 1)


def signs_share(pins: Sequence[Pin], bent_ids: set[int]) -> float:
    """Share of the pins that show damage: empty holes, stubs, likely leaning pins (by id, as judged in seen.py)."""
    signs = (is_empty_hole(pin) or pin.condition is Condition.STUB or pin.id in bent_ids for pin in pins)
    return sum(signs) / max(len(pins), 1)


def without_trace_log_odds(signs: float, in_photographs: bool) -> float:
    """What to add to the log-odds of a pin lost without a hole. signs: see signs_share; in_photographs: were holes
    looked for on photographs, rather than told by a table?"""
    few = NO_SIGN_LOG_ODDS if not signs else max(NO_SIGN_LOG_ODDS, math.log(min(signs / USUAL_SHARE, 1.0)))
    return few + (math.log(NO_HOLE_IN_PHOTOGRAPHS / NO_HOLE_FITTED) if in_photographs else 0.0)
