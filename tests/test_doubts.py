"""A doubt reads the same everywhere: its line, its JSON and back."""

import pytest

from disc.doubts import ORDER, doubt_lines, doubts_from_json, doubts_to_json
from disc.errors import BadInput
from disc.records import About, Doubt, Side

COVERED = Doubt(About.COVERED, "12 % of the face is hidden.", "Photograph it again.", Side.UPPER, 0.97)
FACE = Doubt(About.FACE, "the lower face was not photographed.", "Run: disc read.", Side.LOWER)
SWAPPED = Doubt(About.FACES, "the faces may be swapped.", probability=0.6)


def test_every_kind_of_doubt_has_its_place():
    assert sorted(ORDER) == sorted(About)


def test_lines_gravest_first_each_once():
    lines = doubt_lines([COVERED, FACE, SWAPPED, COVERED])
    assert lines == [
        "In doubt (faces): the faces may be swapped. (60 %)",
        "In doubt (face, lower side): the lower face was not photographed. Run: disc read.",
        "In doubt (covered, upper side): 12 % of the face is hidden. (97 %) Photograph it again.",
    ]
    assert doubt_lines([]) == []


def test_json_is_the_form_that_was_promised_and_reads_back():
    items = doubts_to_json([COVERED, SWAPPED])
    assert [sorted(item) for item in items] == [["about", "advice", "probability", "say", "side"]] * 2
    assert items[0]["about"] == "faces" and items[0]["side"] is None and items[1]["side"] == "upper"
    assert doubts_from_json(items) == (SWAPPED, COVERED)


@pytest.mark.parametrize("items", [[{"about": "weather", "say": "rain"}], [{"say": "x"}], [3], 7])
def test_damaged_ones_are_refused(items):
    with pytest.raises(BadInput, match=r"job\.json: damaged .* Read the photographs again"):
        doubts_from_json(items, "job.json")
