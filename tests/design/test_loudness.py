"""Loudness by overlap: heights on a small disc by hand, through the command to the work list; refusals in a line."""

from __future__ import annotations

import json
from math import log10

import pytest

from disc.design.loudness import parse_overlap
from disc.errors import BadInput
from disc.job import open_job
from disc.tables import format_comb

from .small import comb_of
from .test_command import disc_here

# Two parts: a melody of four quarters, and under it a bass on the first and third beat of a bar of four.
SCORE = """X:1
T:Loud
M:4/4
L:1/4
Q:1/4=100
K:C
V:1
c d e f|g4|]
V:2
C2 E2|G4|]
"""


def test_melody_accents_and_the_rest_stand_by_the_makers_range(tmp_path, monkeypatch, capsys) -> None:
    (tmp_path / "loud.abc").write_text(SCORE)
    (tmp_path / "comb.csv").write_text(format_comb(comb_of([60, 64, 67, 72, 74, 76, 77, 79])))
    words = ["design", f"{tmp_path}/loud.abc", "--comb", f"{tmp_path}/comb.csv", "--melody", "1", "--transpose", "0"]
    sizes = ["--pin-height-mm", "0.50", "--overlap-mm", "0.06-0.14", "--thickness-mm", "1"]
    code, out, err = disc_here(monkeypatch, capsys, *words, *sizes, "--out", f"{tmp_path}/job", "--json")
    assert (code, err) == (0, "")
    said = json.loads(out)["design"]["loudness"]
    assert said["range_db"] == round(20 * log10(0.14 / 0.06), 1)
    job = open_job(tmp_path / "job")
    pitch = {tooth.number: round(tooth.pitch) for tooth in job.comb().teeth if tooth.pitch is not None}
    stands = {pitch[pin.tooth]: pin.height_mm for pin in job.pins() if pin.tooth is not None}
    # melody (72 and above) 0.50; bass at a bar line 0.50 - 0.04; the bass on the third beat 0.50 - 0.08
    assert stands == {72: 0.5, 74: 0.5, 76: 0.5, 77: 0.5, 79: 0.5, 60: 0.46, 64: 0.42, 67: 0.46}
    assert {row["stands_mm"]: row["count"] for row in said["pins"]} == {0.5: 5, 0.46: 2, 0.42: 1}
    code, out, err = disc_here(monkeypatch, capsys, "repin", f"{tmp_path}/job")
    assert code == 0, err
    table = (tmp_path / "job/out/drawings/drill-table.csv").read_text()
    column = table.splitlines()[0].split(",").index("standing_mm")
    assert sorted(float(line.split(",")[column]) for line in table.splitlines()[1:]) == sorted(stands.values())


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("0.1", "is no range: loudness needs the maker's least and most"),
        ("", "is no range"),
        ("0.14-0.06", "cannot be right"),
        ("0.1-0.6", "less than the pins' height of 0.5 mm"),
        ("0-0.1", "the least is above 0"),
    ],
)
def test_a_range_that_is_absent_or_impossible_is_refused_in_a_line(text: str, why: str) -> None:
    with pytest.raises(BadInput, match=why) as said:
        parse_overlap(text, 0.5)
    assert "\n" not in str(said.value)


def test_a_range_in_other_units() -> None:
    assert parse_overlap("2 thou - 4 thou", 0.5) == pytest.approx((0.0508, 0.1016))
    assert parse_overlap("0,06 to 0,14", 0.5) == pytest.approx((0.06, 0.14))
