"""From a disc's strikes to ranked tunes: vote, rate, belief; `find_tunes.py` first."""
