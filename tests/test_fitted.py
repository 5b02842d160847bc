"""Fitted numbers: every file says how each of its parts was made, by a script that is there and fits it again."""

from __future__ import annotations

import importlib.util
import json
import math
from pathlib import Path

import pytest

from disc.errors import MissingPart
from disc.fitted import MADE, fitted_part, made_parts
from tests.bench.fit import refit
from tests.bench.fit.fitted_file import text_of, write_parts

PARTS = refit.all_parts()


def test_no_fitted_file_lacks_its_makers():
    others = [path for path in refit.HOUSE.rglob("*.json") if path not in refit.fitted_files()]
    assert others == []
    assert {
        "check/hole",
        "check/gap",
        "photo/slot",
        "photo/sites",
        "photo/tint",
        "photo/covers",
        "listen/buzz",
    } <= PARTS.keys()


@pytest.mark.parametrize("name", PARTS)
def test_a_part_says_by_what_script_on_what_and_how_well(name):
    file, part, made = PARTS[name]
    assert importlib.util.find_spec(made.script), "the script is gone"
    assert made.data and made.score
    assert not made.arguments.split() or not made.arguments.split()[0].isupper() or made.note, "it needs a material"
    assert fitted_part(file, part)
    assert set(json.loads(file.read_text(encoding="utf-8"))) == {MADE, *made_parts(file)}


def test_a_fit_that_comes_out_otherwise_is_told():
    shipped = {"weights": {"a": 2.0, "b": -1.0}, "rows": [[1.0, 2.0], [3.0, 4.0]], "names": ["x"]}
    assert refit.difference(shipped, json.loads(json.dumps(shipped))) == 0.0
    assert refit.difference(shipped, shipped | {"weights": {"a": 2.0, "b": -1.1}}) == pytest.approx(0.05)
    assert refit.difference(shipped, shipped | {"rows": [[1.0, 2.0], [3.0, 5.0]]}) == pytest.approx(0.25)
    assert refit.difference(shipped, shipped | {"rows": [[1.0, 2.0]]}) == math.inf
    assert refit.difference(shipped, {"weights": {"a": 2.0}}) == math.inf


def test_writing_a_part_leaves_the_others_as_they_were(tmp_path):
    file, part, made = PARTS["check/hole"]
    copy = tmp_path / "weights.json"
    copy.write_text(file.read_text(encoding="utf-8"), encoding="utf-8")
    write_parts(copy, {part: {"prior_log_odds": 0.5}}, {part: made})
    content = json.loads(copy.read_text(encoding="utf-8"))
    assert content[part] == {"prior_log_odds": 0.5}
    assert content["gap"] == fitted_part(file, "gap")
    assert text_of(content) == copy.read_text(encoding="utf-8")


def test_a_file_that_is_not_there_is_a_missing_part():
    with pytest.raises(MissingPart, match="Install the package again"):
        fitted_part(Path("nowhere") / "fitted.json", "slot")
