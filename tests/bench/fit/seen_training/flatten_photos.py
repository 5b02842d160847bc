"""Photographs with truth files to flattened faces, as train_covers.py takes them.

    python flatten_photos.py FOLDER OUT [NAME,NAME...]

By the reader's own plane: what the net will see. Names part sources: those that judge are left out of training.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import cv2

from disc.photo.image import load_photo
from disc.photo.plane.face_plane import plane_from_ellipse
from disc.photo.plate.find_plate import find_plate
from disc.photo.seen.small_face import small_face

NARROW_PX = 192


def main() -> None:
    folder, out = Path(sys.argv[1]), Path(sys.argv[2])
    names = sys.argv[3].split(",") if len(sys.argv) > 3 else None
    out.mkdir(parents=True, exist_ok=True)
    for path in sorted(folder.glob("*.json")):
        truth = json.loads(path.read_text())
        if "photos" not in truth or (names and path.stem not in names):
            continue
        for shot in truth["photos"]:
            photo = load_photo(folder / shot["file"])
            found = find_plate(photo)
            plane = plane_from_ellipse(found.ellipse, found.centre, 1.0, (photo.width, photo.height))
            cv2.imwrite(str(out / (Path(shot["file"]).stem + ".png")), small_face(photo.pixels, plane, 1.0, NARROW_PX))


if __name__ == "__main__":
    main()
