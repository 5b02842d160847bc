"""Plucks of a comb plucked in turn: attacks in, plucks with their teeth out.

`find_plucks.py` is the way in: attacks and quiet tones -> what begins at each (`judge_starts.py`, without what is no
pluck: `no_plucks.py`; tones known already that begin anew: `renewed.py`) -> the hand's pace (`pace.py`) -> one best
path over all of them (`best_path.py`), how sure it is (`numbering_odds.py`), and what rings though only clicks were
taken (`rings_after_all.py`).
"""
