"""Likeliest first, with no more effort than it takes: `rank_tunes.py` first.

Each tune looked at is rated two ways, by its chain and by its exact places (looked_at); belief.json's fitted curves say
when to stop, and its trees how likely the answer is right once it is laid over the disc (belief); rank_tunes looks
farther, in steps that cost more, until that is enough.
"""
