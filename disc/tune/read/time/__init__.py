"""A turn's own time made straight before any beat is read: `straighten.py` first.

step_grid finds the finest steady grid that the strikes stand on. Where the turn keeps none, straighten asks what bends
it: a slow drift of the setting (drift), a held note (holds), a slowing end, each of which must gain more than it costs.
"""
