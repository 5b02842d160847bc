"""A flatbed scanner's pictures: no perspective, their scale in the file. `scanner.py` is all there is to it."""
