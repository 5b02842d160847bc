"""Thousands of tunes, searched by what a disc plays.

In: the tunes of the installed music21 corpus and of a person's own folders. Out: ranked tunes with the place, the
transposition, the tempo and the strikes that agree. Open first: search.py (find_tunes); then align.py (one tune against
one disc); store.py and build.py keep the library in the user's cache.
"""
