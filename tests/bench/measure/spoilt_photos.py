"""Photographs spoilt or left out, through the whole reading: is the cause named, and nothing of the kind otherwise?

    python -m tests.bench.measure.spoilt_photos FOLDER [--names p1,h2] [--kinds dark,tape] [--seed 0]

FOLDER holds NAME.json (truth) beside its photographs. Each disc is read as a person would read it, in a job of its own,
with its true slot: as it is, with one face only, with something over 12 % of the upper face (kinds of
tests/bench/truth/seen_cases.py) and with the upper face blurred by 4 px. Named: a doubt of the right kind stands in the
resolved turn. That pins are seen from straight above, or from one side only, is true of several photographs as they
are, and does not count; things really lie over h8.
Bars: .95 named; said of the untouched .02. What is given wrongly besides is measured by fits.py.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2

from disc.errors import DiscError
from disc.job import open_job
from disc.photo.image import Photo
from disc.records import About, Side
from disc.turn.turn_of_job import turn_of_job
from tests.bench.measure.chain import job_of
from tests.bench.truth.seen_cases import KINDS, blurred, covered, sources

JPEG_QUALITY = 92  # as telephones write; the blur of 4 px is far coarser
# How the program says what is true of several photographs as they are: that it knows pins from one direction only.
TRUE_AS_THEY_ARE = ("straight above", "from one side only")
ABOUT = {"one face": About.FACE, "covered": About.COVERED, "blurred": About.SHARP}


def cases(
    folder: Path, truth: dict[str, Any], kinds: list[str], seed: int
) -> Iterator[tuple[str, dict[str, Any], Any]]:
    """(what was done, the truth file's content as it then is, another upper photograph or None)."""
    upper = next(s for s in sources(folder, [truth["name"]]) if s.side is Side.UPPER)
    yield "as it is", truth, None
    yield "one face", truth | {"photos": [p for p in truth["photos"] if p["side"] == "upper"]}, None
    yield "one face", truth | {"photos": [p for p in truth["photos"] if p["side"] == "lower"]}, None
    for kind in kinds:
        yield f"covered ({kind})", truth, covered(upper, kind, seed)[0]
    yield "blurred", truth, blurred(upper, 4.0)


def said_of(folder: Path, truth: dict[str, Any], spoilt: Photo | None) -> set[About]:
    """What the resolved turn doubts after a whole reading; a refusal is told as such."""
    with tempfile.TemporaryDirectory() as scratch:
        photos = Path(scratch) / "photos"
        photos.mkdir()
        shots = [shot for shot in truth["photos"] if "sheet" not in shot]
        for shot in shots:
            if spoilt is not None and shot["side"] == "upper":
                cv2.imwrite(str(photos / shot["file"]), spoilt.pixels, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
            else:
                (photos / shot["file"]).symlink_to((folder / shot["file"]).resolve())
        at = job_of(truth | {"photos": shots}, photos, Path(scratch) / "job", own_slot=False)
        doubts = turn_of_job(open_job(at)).doubts
        return {doubt.about for doubt in doubts if not any(words in doubt.say for words in TRUE_AS_THEY_ARE)}


def main() -> None:
    """Print how often each cause was named, and what was said of the untouched."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--names", default="")
    parser.add_argument("--kinds", default=",".join(KINDS))
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    names = set(filter(None, given.names.split(",")))
    named: dict[str, list[bool]] = defaultdict(list)
    false: Counter[str] = Counter()
    for path in sorted(given.folder.glob("*.json")):
        truth = json.loads(path.read_text(encoding="utf-8"))
        if "photos" not in truth or (names and path.stem not in names):
            continue
        for what, content, spoilt in cases(given.folder, truth, list(filter(None, given.kinds.split(","))), given.seed):
            try:
                said = said_of(given.folder, content, spoilt)
            except DiscError as error:
                print(f"{path.stem} {what}: refused: {error}", flush=True)
                named[what].append(True)
                continue
            if what == "as it is":
                false.update(about.value for about in said & set(ABOUT.values()))
                named[what].append(not said & set(ABOUT.values()))
            else:
                named[what].append(ABOUT[what.partition(" (")[0]] in said)
            if not named[what][-1]:
                print(f"{path.stem} {what}: said {sorted(about.value for about in said)}", flush=True)
    for what, values in named.items():
        print(f"{what:20s} {sum(values):3d} of {len(values)}")
    print("said of the untouched:", dict(false))


if __name__ == "__main__":
    main()
