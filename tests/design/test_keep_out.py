"""The keep-out table: two kinds of lines, and a clear word for each wrong one."""

from __future__ import annotations

from pathlib import Path

import pytest

from disc.design.keep_out import read_keep_out
from disc.design.settings import Opening, Spot
from disc.errors import BadInput

HEAD = "r_mm;theta_deg;diameter_mm;from_r_mm;to_r_mm;from_theta_deg;to_theta_deg\n"


def table(tmp_path: Path, lines: str) -> Path:
    path = tmp_path / "keep-out.csv"
    path.write_text(HEAD + lines)
    return path


def test_screws_and_openings(tmp_path: Path) -> None:
    screw, opening = read_keep_out(table(tmp_path, "7,5;100;2;;;;\n;;;5;9;350;20\n"))
    assert isinstance(screw, Spot) and (screw.r_mm, screw.theta_deg, screw.diameter_mm) == (7.5, 100.0, 2.0)
    assert isinstance(opening, Opening) and (opening.from_theta_deg, opening.to_theta_deg) == (350.0, 20.0)


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ("7;100;;;;;\n", "line 2: fill in either r_mm, theta_deg, diameter_mm"),
        ("7;100;2;5;9;0;20\n", "line 2: fill in either"),
        (";;;9;5;0;20\n", "from_r_mm must be less"),
        ("7;400;2;;;;\n", "theta_deg is 400"),
        ("far;10;2;;;;\n", "r_mm is 'far'"),
    ],
)
def test_wrong_lines_are_named(tmp_path: Path, lines: str, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        read_keep_out(table(tmp_path, lines))
