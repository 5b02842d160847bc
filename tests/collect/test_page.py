"""Reasons of empty cells, the same disc under two names, and a page that needs no network."""

from __future__ import annotations

import csv
import json
import re
import shutil
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from disc.collect.collect import collect
from disc.collect.page import collection_page
from disc.collect.reasons import NO_COMB, NO_PHOTOGRAPH, NO_THICKNESS
from disc.collect.rows import DONE, DiscRow, shown_names
from disc.collect.same_disc import layout_of, same_disc
from disc.job import create_job, open_for_writing
from disc.locale.catalogue import Language
from disc.object.store import change_object
from disc.records import Condition, Pin, Plate, Side


def holes(seed, count=120):
    """Invented: pins on twenty tracks of each face, as one maker sets them out."""
    rng = np.random.default_rng(seed)
    sides = rng.choice(list(Side), count)
    radii = 4.0 + 0.4 * rng.integers(0, 20, count) + rng.normal(0, 0.02, count)
    return tuple(
        Pin(n + 1, Side(side), float(r), float(rng.uniform(20, 340)), 0.25)
        for n, (side, r) in enumerate(zip(sides, radii, strict=True))
    )


def read_again(pins, seed, turn_deg=0.0, lost=0.04):
    """The same disc photographed again: places a little off, some not found, the slot taken for another notch."""
    rng = np.random.default_rng(seed)
    return tuple(
        replace(
            pin,
            r_mm=pin.r_mm + rng.normal(0, 0.03),
            theta_deg=(pin.theta_deg + turn_deg + np.degrees(rng.normal(0, 0.03) / pin.r_mm)) % 360.0,
        )
        for pin in pins
        if rng.random() > lost
    )


def row(name, pins, photographs=""):
    return DiscRow(name, f"/{name}", DONE, layout=layout_of(pins), photographs=photographs)


@pytest.mark.parametrize("turn_deg", [0.0, 137.3])
def test_one_disc_under_two_names_is_told_and_others_are_not(turn_deg):
    discs = {f"d{seed}": holes(seed) for seed in range(12)}
    discs["again"] = read_again(discs["d3"], 77, turn_deg)
    rows = [row(name, pins) for name, pins in discs.items()]
    found = same_disc(rows, lambda one: discs[one.name])
    assert [pair["discs"] for pair in found] == [["d3", "again"]]
    assert found[0]["share"] >= 0.9 and found[0]["apart_mm"] < 0.08


def test_other_pins_damaged_or_the_same_photograph_is_said():
    pins = holes(1)
    bent = tuple(replace(pin, condition=Condition.BENT) if pin.id < 9 else pin for pin in pins)
    both = {"a": bent, "b": read_again(pins, 5)}
    (pair,) = same_disc([row(name, some) for name, some in both.items()], lambda one: both[one.name])
    assert pair["why"] == "the same holes, other pins damaged"
    both["b"] = read_again(bent, 5)
    (pair,) = same_disc([row(name, some) for name, some in both.items()], lambda one: both[one.name])
    assert pair["why"] == "the same holes, and the same pins damaged"
    (pair,) = same_disc([row("a", pins, "12 34"), row("b", holes(2), "34")], lambda one: ())
    assert pair["why"] == "the same photograph"
    assert layout_of(pins[:5]) == ""  # too few to tell


@pytest.fixture(scope="module")
def collected(tmp_path_factory):
    folder = tmp_path_factory.mktemp("collection")
    for name, pins in (("one", holes(1)), ("<b>two</b>", holes(2))):
        job = create_job(folder / name.replace("/", "_"), Plate(28.0))
        with job.step("read") as stage:
            job.content.faces = {"upper": {}}
            job.stage_reading(stage, [pin for pin in pins if pin.side is Side.UPPER])
    with open_for_writing(folder / "one") as job:
        change_object(job, {"maker": 'Brown & "Sons" </p>'})
    shutil.copytree(folder / "one", folder / "one again")
    collect(folder, identify=False, workers=1, language=Language.DE)
    return folder / "collection"


def test_every_empty_cell_has_its_reason(collected):
    with (collected / "collection.csv").open(encoding="utf-8") as file:
        rows = {line["name"]: line for line in csv.DictReader(file)}
    first = rows["one"]
    assert list(first) == list(shown_names())
    assert first["pins_lower"] == "" and f"pins_lower: {NO_PHOTOGRAPH}" in first["empty"]
    assert NO_COMB in first["empty"] and NO_THICKNESS not in first["empty"]
    assert "seconds" not in first["empty"]
    for line in rows.values():
        named = set(re.split(r"[,:;] ?", line["empty"]))
        assert {name for name, cell in line.items() if cell == "" and name != "reason"} <= named


class Parts(HTMLParser):
    """Tags with their attributes, and the text."""

    def __init__(self):
        super().__init__()
        self.tags, self.text = [], ""

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.text += data


def test_the_page_stands_by_itself_and_escapes_the_words_of_others(collected):
    parts = Parts()
    parts.feed((collected / "index.html").read_text(encoding="utf-8"))
    kinds = [tag for tag, _ in parts.tags]
    assert kinds.count("article") == 3 and "b" not in kinds and "link" not in kinds
    assert 'Brown & "Sons" </p>' in parts.text and "<b>two<_b>" in parts.text
    for tag, attrs in parts.tags:
        for place in (attrs.get("src"), attrs.get("href")):
            assert place is None or "://" not in place
        if tag == "img":
            assert (collected / attrs["src"]).is_file()
    assert parts.text.count("Vielleicht dieselbe Scheibe wie") == 2
    shared = json.loads((collected / "groups.json").read_text(encoding="utf-8"))["same_disc"]
    assert [set(pair["discs"]) for pair in shared] == [{"one", "one again"}]


def test_one_photograph_twice_in_a_job_or_in_its_log_makes_no_pair(tmp_path):
    """Seen in a real folder: two log entries with one picture made a disc "perhaps the same as" itself."""
    assert same_disc([row("a", holes(1), "12 12"), row("b", holes(2), "34")], lambda one: ()) == []
    three = [row(name, (), "7") for name in "abc"]
    assert [pair["discs"] for pair in same_disc(three, lambda one: ())] == [["a", "b"], ["a", "c"], ["b", "c"]]
    for name in ("one", "two"):
        job = create_job(tmp_path / name, Plate(28.0))
        with job.step("read") as stage:
            job.stage_reading(stage, holes(1 if name == "one" else 2))
            job.content.photos["log/001-1.jpg"] = "ab" * 32
    assert collect(tmp_path, identify=False, workers=1).twice == 0


def test_the_page_speaks_as_a_person_does(tmp_path):
    one = replace(
        row("x", ()), bent=1, missing=2, sound=30, maker="Brown", number="No 12", tune_title="A",
        tune_probability=0.9999, empty="pin_diameter_mm, teeth: there is no comb yet; tune_file: not known",
    )  # fmt: skip
    page = collection_page(tmp_path, [one], ())
    assert "30 sound pins, 1 bent pin, 2 missing pins" in page and "Brown, No 12" in page
    assert "Tune: A (&gt; 99\u00a0% sure)" in page
    assert (
        "Not known: the pins&#x27; thickness and teeth (there is no comb yet)." in page
        and "_" not in page[page.index("<main>") : page.index("<script>")]
    )
    failed = DiscRow("y", "/y", "failed", "a/y: no pins yet. Run: disc read a/y --upper PHOTO --lower PHOTO")
    german = collection_page(tmp_path, [one, failed], (), Language.DE)
    assert "30 heile Stifte, 1 verbogener Stift, 2 fehlende Stifte" in german
    newer = "a/y/job.json: made by a newer version of this program (schema 99, this one knows 2). Update the program."
    assert "(Schema 99, diese kennt 2)" in collection_page(tmp_path, [replace(failed, reason=newer)], (), Language.DE)
    assert "noch keine Stifte" in german and "disc read a/y --upper PHOTO --lower PHOTO" in german


def test_a_disc_that_failed_says_why_on_the_page(tmp_path):
    page = collection_page(tmp_path, [DiscRow("x", str(tmp_path / "x"), "failed", "its table is <damaged>")], ())
    assert "Not done: its table is &lt;damaged&gt;" in page
