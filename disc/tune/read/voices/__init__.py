"""Which strikes are the melody, and which were meant as one: `voices.py` first.

voices tells melody from accompaniment before any beat is known. figures finds rolled chords by their haste, so that
they count as one moment; ornaments says whose the grace notes, slides, turns and trills are, which take no place of their
own in the bar, and small_notes which notes are such.
"""
