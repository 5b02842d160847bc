"""The lens's distortion by straight lines: photographs bent through a known lens, against what the lines tell.

    python -m tests.bench.measure.lens FOLDER

FOLDER: photographs with their truth (NAME.json), as tests/bench/measure/read.py takes them. Each is bent anew by each
of BENDS, on top of its own k1. The photographs of the development set were looked at while the rules were chosen.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from pathlib import Path

import numpy as np

from disc.photo.image import Photo, load_photo, opencv
from disc.photo.plane.straight_lines import lines_told
from disc.photo.plane.view import undistort

BENDS = (-0.03, -0.015, 0.0, 0.005, 0.012, 0.025)


def bent(photo: Photo, k1: float) -> Photo:
    """The photograph as a lens with this distortion more would have taken it."""
    if not k1:
        return photo
    v, u = np.mgrid[0 : photo.height, 0 : photo.width]
    x, y = (part.astype(np.float32) for part in undistort(k1, (photo.width, photo.height), u, v))
    cv2 = opencv()
    return replace(photo, pixels=cv2.remap(photo.pixels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("folder", type=Path)
    errors, ratios, silent = [], [], 0
    for truth in sorted(ask.parse_args().folder.glob("*.json")):
        for item in json.loads(truth.read_text())["photos"]:
            photo = load_photo(truth.parent / item["file"])
            own = float(item["camera"].get("k1", 0.0))
            told = [(k1, lines_told(bent(photo, k1))) for k1 in (BENDS if not own else (0.0,))]
            said = [(lines.k1 - own - k1, lines.sigma, lines.lines) for k1, lines in told if lines is not None]
            silent += len(told) - len(said)
            errors += [error for error, _, _ in said]
            ratios += [abs(error) / sigma for error, sigma, _ in said]
            if said:
                print(f"{item['file']:20s}", "  ".join(f"{e:+.4f} of {s:.4f} ({n} lines)" for e, s, n in said))
    one, two = (float(np.mean(np.array(ratios) < sigmas)) for sigmas in (1, 2))
    print(
        f"{len(errors)} told, {silent} not; r.m.s. {np.sqrt(np.mean(np.square(errors))):.4f}, worst "
        f"{np.abs(errors).max():.4f}; within 1 sigma {one:.2f}, 2: {two:.2f}"
    )


if __name__ == "__main__":
    main()
