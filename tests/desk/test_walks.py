"""New job to report from the page alone: by keyboard alone, by fingers alone on a phone, by mouse alone.

By fingers and mouse, and with other discs than the sample, where DISC_WALKS names folders, parted by colons ("sample"
alone: only the sample), each with upper.jpg, lower.jpg, given.json (diameter_mm, turns, revolution_s, rest_arc_deg)
and, if there is one, comb.csv: a walk reads photographs and makes all papers, which CI has no time for twice.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from .sample import GIVEN, SAMPLE
from .walk import PHONE, Fingers, Keys, Mouse, walk

OTHERS = [Path(folder) for folder in os.environ.get("DISC_WALKS", "").split(":") if folder not in ("", "sample")]
DISCS = [SAMPLE, *OTHERS]


def given_of(folder):
    comb = folder / "comb.csv"
    known = GIVEN if folder == SAMPLE else json.loads((folder / "given.json").read_text(encoding="utf-8"))
    return known | {"comb": comb if comb.is_file() else None}


@pytest.mark.slow
@pytest.mark.parametrize("disc", DISCS, ids=lambda folder: folder.name)
@pytest.mark.parametrize("hands", [Keys, *([Fingers, Mouse] if os.environ.get("DISC_WALKS") else [])])
def test_from_a_new_job_to_the_report_with_one_kind_of_hands(open_desk, tmp_path, disc, hands):
    desk = open_desk(tmp_path / "watch", **(PHONE if hands is Fingers else {}))
    walk(desk, hands(desk), (disc / "upper.jpg", disc / "lower.jpg"), given_of(disc))
