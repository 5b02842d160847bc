"""A recorded turn against the strikes to be expected: `hear_turn.py` first; place, path, matching, telling."""
