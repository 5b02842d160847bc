"""Which strikes are the melody, and which were meant as one: `voices.py` first.

voices tells melody from accompaniment before any beat is known. figures finds rolled chords by their haste, so that
they count as one moment; small_notes which notes are small ones, of graces, slides, turns and trills, which take no
place of their own in the bar; and ornaments whose they are.
"""
