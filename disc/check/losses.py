"""How likely this disc is to have lost pins without a trace, before any one place is looked at.

A disc that shows no empty hole, no stub and no leaning pin has hardly lost pins elsewhere: what looks like a gap in
its music is then a varied repeat. And if many places of a disc look like gaps, each of them is likelier to be one: the
share is estimated from all of them together (expectation and maximisation, with a prior).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from disc.check.evidence import log_odds, probability_of
from disc.check.holes import is_empty_hole
from disc.records import Condition, Pin

# ln odds for losses where no sign of damage is seen on any pin. On invented discs with 3 to 12 % of the pins gone, half
# of them with a hole, and 2 to 5 leaning, none was without a sign; the value keeps undamaged discs free of findings.
NO_SIGN_LOG_ODDS = -3.5
# The share found on a disc is drawn towards the usual one as if so many candidates had been seen before. No source.
CANDIDATES_BEFORE = 10.0
ROUNDS = 40


def has_signs(pins: Iterable[Pin], bent_ids: set[int]) -> bool:
    """Whether any pin shows damage: an empty hole, a stub, or a leaning pin (by id, as judged in seen.py)."""
    return any(is_empty_hole(pin) or pin.condition is Condition.STUB or pin.id in bent_ids for pin in pins)


def shift_of_share(worth: Sequence[float], prior_log_odds: float, signs: bool) -> float:
    """What to add to the ln odds of every candidate of this disc. worth: each candidate's evidence, nats."""
    usual = prior_log_odds + (0.0 if signs else NO_SIGN_LOG_ODDS)
    if not worth:
        return usual - prior_log_odds
    evidence = np.asarray(worth, dtype=float)
    start = probability_of(usual)
    share = start
    for _ in range(ROUNDS):
        odds = np.clip(evidence + log_odds(share), -40.0, 40.0)
        expected = float((1.0 / (1.0 + np.exp(-odds))).sum())
        share = (expected + CANDIDATES_BEFORE * start) / (len(evidence) + CANDIDATES_BEFORE)
    shift = log_odds(share) - prior_log_odds
    # Without a sign of damage, many gaps are a tune of many varied repeats; they may lower the share, not raise it.
    return shift if signs else min(shift, usual - prior_log_odds)
