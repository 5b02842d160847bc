"""A tune from a file to exact quarters, read safely: `read_score.py` first."""
