"""What the desk refuses is said in the page's language: read from the sources, so that none is forgotten."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import disc
from disc.desk.page.said.all_said import PAGE_PATTERNS
from disc.locale.said import pattern_regex
from disc.locale.terms.all_terms import PATTERNS

HOUSE = Path(disc.__file__).parent
SAID_TO_A_PERSON = ("BadInput", "MissingPart", "JobBusy")
PLACES = ("desk/work", "desk/open_job", "listen/sound/audio.py", "photo/image.py")
# What only a request made by hand, or a damaged folder, brings about: no act on the page leads there.
BY_NO_ACT = {
    "a tooth is named by its number, not 7.",
    "7 is not a list.",
    "a row of the comb's table cannot be read.",
    "the pitches cannot be read.",
    "there is no earlier reading called 7.",
    "there is no kind of finding called 7.",
    "a finding is accepted, rejected or left in doubt, not 7.",
    "the mark has no place.",
    "the marks have no places.",
    "7 cannot be set here.",
    "the desk knows no step called 7.",
    "the photographs are not named by face.",
    "the plate's values are not given by name.",
    "the file has no name.",
    "the plate has no 7 that can be set here.",
    "the history names 7, which this program does not know.",
    "the desk marks slot or centre, not 7.",
    "the desk knows no edit called 7.",
    "a pin is named by its number.",
    "side is 7; it must be upper or lower.",
    "7 cannot be changed here.",
    "7: this is a link that leads out of the job; only the job's own files are given.",
    "7: there is no such recording. Check the name.",
    "7: there is no such file. Check the name of the photo.",
    "7: 7 x 7 pixels in 7 MB hold next to nothing; this is no photo. Copy it from the camera again.",
    "OpenCV cannot start (7). Run: pip install opencv-python",
    "OpenCV cannot start (7). Install the system library: apt-get install libgl1 libglib2.0-0",
}

# One thing or several, put together beside it; and a sentence as it then is.
PUT_TOGETHER = {
    "7 too few: mark 7 or more, all around.": "3 points of the rim are too few: mark 5 or more, all around.",
}


def refusals(source: str) -> Iterator[str]:
    """Every refusal written out where it is raised, its values filled in as 7."""
    for node in ast.walk(ast.parse(source)):
        raised = node.exc if isinstance(node, ast.Raise) else None
        if not isinstance(raised, ast.Call) or getattr(raised.func, "id", "") not in SAID_TO_A_PERSON:
            continue
        words = raised.args[0] if raised.args else None
        if isinstance(words, ast.Constant):
            yield str(words.value)
        elif isinstance(words, ast.JoinedStr):
            yield "".join(str(part.value) if isinstance(part, ast.Constant) else "7" for part in words.values)


REGEXES = [pattern_regex(pattern) for pattern in (*PAGE_PATTERNS, *PATTERNS)]


def is_said(words: str) -> bool:
    """Whether the page says this anew, whole or sentence by sentence."""
    if any(regex.fullmatch(words) for regex in REGEXES):
        return True
    first, stop, rest = words.partition(". ")
    return bool(stop) and is_said(first + ".") and is_said(rest)


def test_refusals_are_found_in_a_source():
    source = 'raise BadInput(f"{name}: too {n} for us. "\n "Leave it.")\nraise ValueError("not these")'
    assert list(refusals(source)) == ["7: too 7 for us. Leave it."]
    assert not is_said("7: too 7 for us. Leave it.")


@pytest.mark.parametrize("place", PLACES)
def test_every_refusal_that_an_act_on_the_page_can_meet_is_translated(place):
    path = HOUSE / place
    files = [path] if path.is_file() else sorted(path.rglob("*.py"))
    found = {words for file in files for words in refusals(file.read_text(encoding="utf-8"))}
    assert len(found) > 5
    assert [
        words for words in sorted(found) if words not in BY_NO_ACT and not is_said(PUT_TOGETHER.get(words, words))
    ] == []
