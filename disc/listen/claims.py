"""How sure a claim is that brings no probability of its own: how often the like was true on sources left out.

tests/bench/measure/listen.py prints beside each set how often each was true.
"""

from __future__ import annotations

# Precision. Silent 433 of 475 and extra 267 of 314, on 76 turns of 34 sources, each left out in turn; weak 51 of 56
# (eight turns of "weak-unseen", five of "make-last"); early or late 28 of 31 (eight each of
# "make-end", once, "make-final" and "make-after"; of modelled teeth, draw_ringing, 324 of 349).
SILENT_PROBABILITY, EXTRA_PROBABILITY, LATE_PROBABILITY, WEAK_PROBABILITY = 0.91, 0.85, 0.9, 0.91
# What the bench holds its counts against where the program says no number: off the table, and of a plucked tooth.
OFF_TABLE_PROBABILITY = 0.9
# Of a plucked tooth; chosen by hand, not fitted.
CONDITION_PROBABILITY = {"dead": 0.95, "buzzing": 0.85}
# No bench has shown more: of 390 strikes said to be surer of silence, on sources left out, .944 were silent.
MOST_SURE = 0.95
