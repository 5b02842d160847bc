"""Melodies laid beside each other as chains of steps: `lay_tunes.py` first.

A version of a tune shares its steps, not its places. chain finds how much of one melody stands in another with notes
left out on either side; tempi, at what tempo a print may lie on the disc; lay_tunes does both for all the prints it is
given.
"""
