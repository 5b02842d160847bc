"""What rooms say of work, findings and recordings, read from their sources, is known to the papers' languages."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import disc
from disc.locale.catalogue import Language
from disc.locale.said import Said

HOUSE = Path(disc.__file__).parent
ROOMS = ("repin/work", "check/music", "check/photo", "check/mechanics", "listen/findings.py", "photo/faces_fit.py")
# Raised or printed by a command; no paper shows them.
NOT_ON_PAPER = ("BadInput", "MissingPart", "ValueError")
# Parts that are only said within a longer sentence, which is known whole; and what only a command says.
PARTS = {
    "look with a loupe first",
    "1 place is",
    "not found again",
    "off its track",
    "with the turning",
    "against the turning",
    ", 1.5 mm of it stand",
    "Run disc check JOB again.",
}


def plain_sentences(source: str) -> Iterator[str]:
    """Every string of three words or more whose values, if it has any, are numbers; those filled in as 1.5."""
    tree = ast.parse(source)
    passed: set[int] = set()
    for node in ast.walk(tree):
        name = getattr(getattr(node, "func", None), "id", "")
        documented = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        if documented or (isinstance(node, ast.Call) and name in NOT_ON_PAPER):
            passed |= {id(inner) for inner in ast.walk(node)}
        if isinstance(node, ast.JoinedStr):
            passed |= {id(inner) for inner in ast.walk(node) if inner is not node}
    for node in ast.walk(tree):
        words = ""
        if id(node) in passed:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            words = node.value
        elif isinstance(node, ast.JoinedStr) and all(
            isinstance(part, ast.Constant) or part.format_spec for part in node.values
        ):
            words = "".join(part.value if isinstance(part, ast.Constant) else "1.5" for part in node.values)
        if len(words.split()) >= 3 and any(letter.islower() for letter in words):
            yield words


def test_sentences_are_found_in_a_source():
    source = """def f(x, y):
    '''A docstring of some words.'''
    if x: raise BadInput("this is an error")
    return f"{x:.2f} mm of metal", f"{y} of the comb", "a plain sentence here"
"""
    assert sorted(plain_sentences(source)) == ["1.5 mm of metal", "a plain sentence here"]


@pytest.mark.parametrize("room", ROOMS)
def test_what_a_room_says_can_be_said_in_other_languages(room):
    said = Said(Language.DE)
    place = HOUSE / room
    for path in sorted(place.rglob("*.py")) if place.is_dir() else [place]:
        for words in plain_sentences(path.read_text(encoding="utf-8")):
            if words not in PARTS and not words.endswith(":"):
                said(words)
    assert said.unknown == set()


@pytest.mark.parametrize("language", [Language.DE, Language.FR])
@pytest.mark.parametrize(
    "words",
    [
        "look with a loupe first (likely): is there a filled or plugged hole, or bare metal where a pin is wanted? If "
        "a pin belongs here: drill and set; if not, nothing is done here",
        "settle first what was likely given wrongly, then look with a loupe (likely): is the pin really at the wrong "
        "place? If so: pull and set; if not, nothing is done here",
        "a mark that looks like a broken pin, more likely dirt, a plug or a pin of the other face: nothing is done",
        "no deeper: hole 3 (upper) comes from the other face",
        "pin 12 (lower) of the other face may come through here: gauge its depth first",
        "the hole is 0.31 mm off its nominal place: is it this tooth's hole?",
        "off its track: set the pin upright, then bring its tip over, 0.07 mm against the turning and 0.05 mm outward",
        "a pin that stands and that neither track nor tune explains; left until somebody decides. It sounds tooth 5.",
        "0.12 mm outside its tooth's track; its neighbours lie within 0.05 mm",
        "the known tune has this note 120 ms before it",
        "no sound of tooth 4 where its pin passes, 12.30 s into the recording: one of the teeth 4 and 5, of one note, "
        "or both; the comb's table says that the tooth is dead",
        "heard 103 ms early against the movement's own course; again at 61.20 s",
        "the upper and the lower face may be two different discs: one rim cut with 96 teeth, the other plain; stop "
        "slots 1.20 and 0.80 mm wide.",
        "was here (sound), not found again: upper face, r 5.40 mm, 20.0 degrees, tooth 3",
    ],
    ids=lambda words: words[:40],
)
def test_sentences_put_together_are_said_whole(words, language):
    said = Said(language)
    assert said(words) != words and said.unknown == set()
