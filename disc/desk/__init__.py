"""The local page: look, correct, listen, compare."""
