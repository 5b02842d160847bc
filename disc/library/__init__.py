"""Thousands of tunes, searched by what a disc plays.

In: the tunes of the installed music21 corpus and of a person's own folders. Out: ranked tunes with the place, the
transposition, the tempo and the strikes that agree. Open first: search/find_tunes.py (the answer), then
search/ranking/rank_tunes.py (how far to look: chains of steps, then exact places), search/parts.py (several tunes on a
disc) and search/places/align.py (one tune against one disc). index/ keeps the library in the user's cache, read/ takes
it in. accepted.py: the tune that a person said is the disc's.
"""
