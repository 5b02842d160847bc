"""The plate in a photo: the rim as an ellipse, the arbor, the stop slot, turned marks; `find_plate.py` first."""
