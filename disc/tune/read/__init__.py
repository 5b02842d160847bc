"""Strikes of a turn to written music: sections, figures, grid, voices, metre, quarters, key; `read_turn.py` first.

How sure may be said of metre and key is put straight by `certainty.py`.
"""
