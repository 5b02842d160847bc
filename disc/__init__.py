"""Reads the pinned disc of a musical watch from photographs, and lays out new ones.

Two chains meet in records.py and frame.py: photo/ -> comb/ -> tune/ reads an old disc, design/ -> repin/ makes a new
one. Open cli.py to see the commands.
"""

__version__ = "0.2.0"
