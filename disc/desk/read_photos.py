"""Photographs brought to the page, read into the job."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from disc.errors import MissingPart
from disc.words import Advance


def read_photos(folder: Path, photos: Mapping[str, Path], advance: Advance) -> str:
    """Read the faces given ("upper", "lower") into the job; returns what was found, in words."""
    raise MissingPart("reading photographs is not part of this installation.")
