"""Scans of a request: made ready for the reader, and told in their own pixels again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from disc.photo.combine_photos import FaceTogether, Together
from disc.photo.image import Photo
from disc.photo.scan.scanner import as_scan, evened, in_original_pixels, judged, longer_across


@dataclass(frozen=True, slots=True)
class Scans:
    """originals, ready: by path. longer: how much longer each was drawn across than down."""

    originals: Mapping[Path, Photo]
    ready: dict[Path, Photo]
    longer: dict[Path, float]

    def told_in_originals(self, together: Together) -> Together:
        """The reading in the originals' pixels, with words about the scans."""
        sides = tuple(self._side(side) for side in together.sides)
        notes = [f"{side.side.value}: {note}" for side in sides for note in self._words(side)]
        return replace(together, sides=sides, notes=(*together.notes, *notes))

    def _side(self, side: FaceTogether) -> FaceTogether:
        original = self.originals[side.photo.path]
        return replace(side, photo=original, view=in_original_pixels(side.view, side.photo, original))

    def _words(self, side: FaceTogether) -> tuple[str, ...]:
        path = side.photo.path
        shown = next((r.shown_mm for photo, r in side.readings if photo.path == path), 0.0)
        return judged(side.view, side.verdict.edge_mm, shown, self.longer[path], self.originals[path])


def make_ready(photos: Mapping[Path, Photo], radius_mm: float) -> Scans:
    """All photos as scans, both directions to one scale. Raises BadInput for one too coarse."""
    # One scanner draws all its pictures alike: their rims tell together.
    told = [part for photo in photos.values() if (part := longer_across(photo, radius_mm)) is not None]
    common = sum(told) / len(told) if told else 0.0
    ready, longer = {}, {}
    for path, photo in photos.items():
        ready[path], longer[path] = evened(as_scan(photo), common)
    return Scans(photos, ready, longer)
