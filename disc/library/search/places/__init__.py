"""The print itself, found by exact places: `by_pitch.py` first, `by_order.py` where no pitch is known.

Groups of strikes vote for where in which tune they may lie (vote); each such place is rated by its likelihood over all
strikes (rate), or, where only the order of the teeth is known, by solving for the comb with it (rank_search), all on
the disc's pulse; placed holds what came of it. A single tune is tried at many places by trial_places, and align lays it
over the disc note by note.
"""
