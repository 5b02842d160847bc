"""Strikes of a turn to written music: figures, grid, voices, metre, quarters, key; `read_tune.py` first."""
