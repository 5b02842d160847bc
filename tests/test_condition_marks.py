"""One set of marks: every condition has one, told apart in shape alone at 8 px, and the page draws the same."""

from __future__ import annotations

import itertools
import json
import re
from pathlib import Path

import cv2
import numpy as np
import pytest

from disc.condition_marks import MARKS, Mark
from disc.records import Condition

MARKS_JS = Path(__file__).parents[1] / "disc/desk/page/static/js/marks.js"
SMALL_PX = 8
# Share of the ink that two shapes must not have in common. Chosen: with the same shape twice it is 0.
APART = 0.25
PAPER, BRASS = "#fbf7ea", "#b5a642"


def drawn(mark: Mark) -> np.ndarray:
    """The mark's ink alone, 8 px across, 0 to 1; the colour has no part in it."""
    fine = np.zeros((SMALL_PX * 16,) * 2, np.uint8)
    reach = max(abs(c) for stroke in mark.strokes for point in stroke for c in point) + 0.2
    for stroke in mark.strokes:
        points = np.round((np.array(stroke) / reach + 1) * SMALL_PX * 8).astype(np.int32)
        cv2.polylines(fine, [points], False, 255, 16)
    return cv2.resize(fine, (SMALL_PX, SMALL_PX), interpolation=cv2.INTER_AREA) / 255.0


def luminance(colour: str) -> float:
    """Relative luminance; W3C, Web Content Accessibility Guidelines 2.1, definition of relative luminance."""
    parts = [c / 255 for c in bytes.fromhex(colour[1:])]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return float(np.dot(linear, [0.2126, 0.7152, 0.0722]))


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_every_condition_has_a_mark_and_a_colour_of_its_own():
    assert set(MARKS) == set(Condition)
    assert len({mark.colour for mark in MARKS.values()}) == len(Condition)
    json.dumps([mark.strokes for mark in MARKS.values()])


@pytest.mark.parametrize("one, other", list(itertools.combinations(Condition, 2)))
def test_shapes_are_told_apart_small_and_without_colour(one, other):
    a, b = drawn(MARKS[one]), drawn(MARKS[other])
    assert np.abs(a - b).sum() / (a.sum() + b.sum()) > APART


@pytest.mark.parametrize("condition", Condition)
def test_marks_stand_out_from_paper_and_brass(condition):
    assert contrast(MARKS[condition].colour, PAPER) >= 4.5  # W3C, WCAG 2.1, 1.4.3
    assert contrast(MARKS[condition].colour, BRASS) >= 1.5  # with the casing between: only not to be lost without it


def test_the_page_has_the_same_colours_and_conditions():
    script = MARKS_JS.read_text(encoding="utf-8")
    listed = re.search(r"export const COLOURS = \{(.*?)\}", script)
    assert listed is not None
    colours = dict(re.findall(r'(\w+): "(#[0-9a-f]{6})"', listed[1]))
    assert colours == {condition.value: mark.colour for condition, mark in MARKS.items()}
    shapes = script[script.index("const SHAPES = {") : script.index("// The lean is drawn")]
    assert set(re.findall(r"^  (\w+): \(c,", shapes, re.MULTILINE)) == set(colours)
