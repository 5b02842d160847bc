"""From a disc's strikes to ranked tunes; `find_tunes.py` first.

find_tunes, parts   the answer: matches with their probability; several tunes on one disc
asked/              what is asked: the strikes, the disc's own pulse, which strikes are the melody
places/             exact places: vote, then rate, by pitch or by the order of teeth; one tune against one disc
chains/             melodies laid beside each other as chains of steps, as singers vary them
ranking/            the two ways of looking brought together, how far to look, and how sure the first one is
"""
