"""One note is no notes: every counting sentence has its singular, in English and in what it is turned into."""

from __future__ import annotations

import re

import pytest

from disc.desk.page.said.all_said import PAGE_PATTERNS
from disc.locale.catalogue import Language
from disc.locale.said import Said
from disc.locale.terms.all_terms import PATTERNS
from disc.locale.update import TRANSLATED
from disc.words import counted

# What is counted, and what one of it is called, with the verb that follows.
MANY = re.compile(r"(?<!pin )(?<!tooth )\{n\} (?:more |numbered |earlier )?(?!is |has |was )([a-z]+s|teeth)\b")
# Sentences in which what is counted is never one, and why.
NEVER_ONE = {
    "{n} pins picked.": "one pin that is picked is told with its number",
    "removed {n} pins": "one is told with its number",
    "note on {n} pins": "one is told with its number",
    "{n} pins: condition {words}": "one is told with its number",
    "{n} pins: tooth {q}": "one is told with its number",
    "Keep note on {n} pins": "one has a button of its own",
    "{n} strikes changed": "up to three are told one by one",
    "Disc and print differ in {n} bars": "up to a dozen are told by their numbers",
    "a section of {n} strikes is too short to be read as a tune of its own. Give another bar, or none.": "a dozen",
    "A draft comb of {n} teeth, from the tracks of the pins; its pitches are not known.": "a comb has several teeth",
    "The comb now has {n} teeth; {other} tips are as marked.": "a comb has several teeth",
    "The comb's table is kept: {n} teeth.": "a comb has several teeth",
    "{name}: a comb of {n} teeth.": "a comb has several teeth",
    "a comb has at most {n} teeth.": "the limit",
    "the note has {n} letters; at most {q} are kept.": "above the limit",
    "{n} points are too many; {q} are enough.": "above the limit",
    "the key {name} would need {n} signs. Write it by its other name.": "above seven",
    "{name}: the recording lasts {n} minutes; cut it to half an hour at most.": "above half an hour",
    "{name}: {n} samples a second are too few to hear teeth. Record at 16000 or more.": "a recording has thousands",
    "{n} teeth": "a comb has several teeth",
    "{n} teeth have the pitches of {name}.": "a comb has several teeth",
    "Read as {metre}, {key}, upbeat {q}, {n} notes.": "a dozen strikes at least make a tune",
    "{n} marks beside it look so, too: sooner the light or the focus than so many breaks": "three at least are told",
    "one rim cut with {n} teeth, the other plain": "a rim is cut with many teeth",
    "The work list, {n} files in all, is made.": "there are always several drawings",
}


SAID = (*PATTERNS, *PAGE_PATTERNS)


def singular(sentence: str) -> re.Pattern[str]:
    """What the sentence looks like of one thing: its noun in the singular, the verb after it free."""
    noun = MANY.search(sentence)
    assert noun is not None
    one = {"teeth": "tooth"}.get(noun[1], noun[1].removesuffix("s"))
    before, after = sentence[: noun.start(1)], sentence[noun.end(1) :]
    before = before.replace("{n}", "§")
    return re.compile(re.escape(before).replace("§", r"(?:\{n\}|1|one)") + one + rf"\b.{{0,{len(after) + 6}}}")


def counting() -> list[str]:
    return sorted({one for one in SAID if MANY.search(one) and one not in NEVER_ONE})


@pytest.mark.parametrize("sentence", counting())
def test_a_counting_sentence_has_its_singular(sentence):
    assert any(singular(sentence).fullmatch(one) for one in SAID), sentence


@pytest.mark.parametrize("language", TRANSLATED)
def test_the_singular_is_one_in_every_language(language):
    """What is said of one thing differs from what is said of five by more than the number."""
    said = Said(language)
    for one, many in (
        ("Left as they are: 1 pin without a number.", "Left as they are: 5 pins without a number."),
        ("1 note, 6/8, G major (1 sharp), a quarter lasts 2 s", "5 notes, 6/8, G major (1 sharp), a quarter lasts 2 s"),
        ("1 semitone higher", "5 semitones higher"),
        ("1 decision no longer fits any finding and was not used.",
         "5 decisions no longer fit any finding and were not used."),
        ("Corrected by hand: 1 change, kept in corrections.json beside the reading.",
         "Corrected by hand: 5 changes, kept in corrections.json beside the reading."),
        ("1 pin would sound within the rest arc", "5 pins would sound within the rest arc"),
    ):  # fmt: skip
        assert said(one) != one and said(one) != said(many).replace("5", "1"), one
    assert not said.unknown


def test_counted():
    assert counted(1, "note") == "1 note" and counted(0, "note") == "0 notes" and counted(2, "note") == "2 notes"
    assert counted(1, "tooth", "teeth") == "1 tooth" and counted(7, "tooth", "teeth") == "7 teeth"
    assert Language.EN not in TRANSLATED
