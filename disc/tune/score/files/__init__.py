"""A file from anywhere, made safe before a reader sees it: `safety.py` first.

A score may come from the net or from thirty years ago. safety tells its kind, bounds its size, what it would unfold to
and what a reader would make of it; old_text decodes the code pages that old collections were typed in.
"""
