"""From a disc's strikes to ranked tunes; `find_tunes.py` first.

find_tunes, parts          the answer: matches with their probability; several tunes on one disc
rank_tunes, looked_at      how far to look, and what is known of each tune so far; belief: when that is enough
lay_tunes, chain, tempi    melodies laid beside each other as chains of steps; melody: which strikes are the melody
by_pitch, by_order         exact places: vote, then rate (by pitch) or rank_search (by order), on the disc's pulses
align, trial_places        one tune against one disc, note by note
"""
