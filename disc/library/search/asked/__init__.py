"""What is asked of a library, told from the disc alone: `query.py` first.

A query holds the strikes in order of time with what is known of their pitches. Before any tune is looked at, disc_pulse
finds the steady grids on which they may stand, and melody how likely each strike belongs to the upper line
(melody.json, fitted). What comes later asks a print only about these.
"""
