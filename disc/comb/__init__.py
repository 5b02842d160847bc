"""The comb: its table, its tracks on the disc, which pin sounds which tooth, the physics of a tooth.

In: pins and a comb table (or pins alone, from_pins.py). Out: pins with their teeth and how sure that is (assign.py),
strikes in order of the turn (strikes.py). Open assign.py first.
"""
