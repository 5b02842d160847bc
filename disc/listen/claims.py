"""How sure a claim is that brings no probability of its own: how often the like was true on sources left out.

tests/bench/measure/listen.py prints beside each set how often each was true.
"""

from __future__ import annotations

# Precision on turns of the benchmark not used for choosing. Silent 109 of 116, extra 83 of 90 ("turns"); weak 29 of 31
# (eight of "weak-unseen"); early or late 74 of 100 (fourth to seventh set).
SILENT_PROBABILITY, EXTRA_PROBABILITY, LATE_PROBABILITY, WEAK_PROBABILITY = 0.94, 0.92, 0.74, 0.94
OFF_TABLE_PROBABILITY = 0.9
# Of a plucked tooth.
CONDITION_PROBABILITY = {"dead": 0.95, "buzzing": 0.85}
MOST_SURE = 0.99  # no bench has shown more
