"""A turn's own time made straight before any beat is read: `straighten.py` first.

step_grid finds the finest steady grid that the strikes stand on. Where the turn keeps none, straighten asks what bends
it: a slow drift of the setting (drift), a slowing end (slowing), held notes (holds: hold_places looks at every gap,
hold_odds tells what speaks for one), each of which must gain more than it costs. weighed_turn carries what
weighs them.
"""
