"""Pixels to millimetres of one face:

`view.py` is the finished camera, `face_plane.py` the one being worked out; `settle.py` then `joint.py` make it
exact.
"""
