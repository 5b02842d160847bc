"""How sure a claim is that brings no probability of its own: how often the like was true on sources left out.

tests/bench/measure/listen.py prints beside each set how often each was true.
"""

from __future__ import annotations

# Precision on turns of the benchmark not used for choosing. Silent 109 of 116, extra 83 of 90 ("turns"); weak 51 of 56
# (eight of "weak-unseen", five of "make-last"); early or late 17 of 25 (seven of "make-fresh", eight of "make-after";
# of modelled teeth, draw_ringing, 324 of 349).
SILENT_PROBABILITY, EXTRA_PROBABILITY, LATE_PROBABILITY, WEAK_PROBABILITY = 0.94, 0.92, 0.7, 0.91
# What the bench holds its counts against where the program says no number: off the table, and of a plucked tooth.
OFF_TABLE_PROBABILITY = 0.9
# Of a plucked tooth; chosen by hand, not fitted.
CONDITION_PROBABILITY = {"dead": 0.95, "buzzing": 0.85}
MOST_SURE = 0.99  # no bench has shown more
