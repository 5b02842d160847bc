"""Strikes of a turn to written music: sections, figures, grid, voices, metre, quarters, key; `read_turn.py` first."""
