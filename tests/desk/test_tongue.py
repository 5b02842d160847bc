"""The page in the person's language: nothing it says is left in English; what people wrote stays as it is."""

from __future__ import annotations

import pytest

from disc.desk.page.tongue import page_tongue
from disc.errors import BadInput
from disc.locale.said import Said
from disc.locale.update import TRANSLATED
from disc.records import Side
from disc.tables import read_pins

from .sample import lonely

ONE_DESK = True
SPEAKS = "() => document.body.dataset.tongue"
UNSAID = "async () => [...(await import('/static/js/tongue.js')).unsaid]"
TONGUE = "async (words) => (await import('/static/js/tongue.js')).tongue(words)"
PANELS = ("comb", "tune", "findings", "plan", "save", "disc", "history", "pin")


def test_every_view_is_said_in_german_and_notes_are_left_alone(open_desk, checked_job):
    desk = open_desk(checked_job, locale="de-DE")
    page = desk.page
    page.wait_for_function(SPEAKS)
    page.wait_for_selector("#panel-findings article", state="attached")
    for panel in PANELS:
        desk.tab(panel)
    desk.click_pin(lonely(read_pins(checked_job / "pins.csv"), Side.UPPER)[0])
    page.focus("#stage")
    page.keyboard.press("4")
    desk.told("Getan: Stift")
    page.click("#panel-pin summary")
    page.fill("#pin-note", "sound")  # a word that the page would say in German
    page.click("#pin-note-keep")
    desk.told("Notiz zu Stift")
    assert "sound (" in page.locator("#panel-pin").inner_text()
    page.click("#undo")
    desk.told("Zurückgenommen")
    page.click("#more")
    page.click("#help-open")
    page.keyboard.press("Escape")
    # The longer words leave all that the turn is played by in one line, its zoom too.
    tops = "() => ['play', 'roll-out', 'roll-fit'].map((id) => document.getElementById(id).getBoundingClientRect().top)"
    assert len(set(page.evaluate(tops))) == 1
    assert page.evaluate("() => document.documentElement.lang") == "de"
    assert page.locator("#tab-comb").inner_text().startswith("Kamm")
    assert page.evaluate(UNSAID) == []


def test_the_page_says_a_sentence_as_the_papers_do(open_desk, job):
    desk = open_desk(job, locale="fr-FR")
    desk.page.wait_for_function(SPEAKS)
    said = Said(TRANSLATED[1])
    for words in (
        "bent",
        "tooth 7",
        "r 7.31 mm, 121.4 degrees",
        "bar 3 beat 2",
        "its tip stands 0.31 mm off its root.",
    ):
        assert desk.page.evaluate(TONGUE, words) == said(words)
    for words in (  # what was done and what followed stand in one line, each with a full stop of its own
        "Done: pin 33: condition missing. 103 notes became 102.",
        "Done: pin 8: condition sound. pin 8 now sounds tooth 4 at bar 3 beat 2; the upbeat changed; the key changed.",
        "Undone: moved pin 3 to upper 4.20 mm, 31.0 degrees. metre 2/4 became 6/8.",
        "the tune can no longer be read",
        "the tune was read",
        "Filled: sounds. “?”: in doubt.",
        "Ring with a cross: silent, its pin is missing or broken, or its tooth gives no tone.",
        "Filled: heard. Ring with a cross: not heard, or its pin is missing. “?”: in doubt.",
    ):
        desk.page.evaluate(TONGUE, words)
    assert desk.page.evaluate(UNSAID) == []
    desk.page.click("#more")
    desk.page.select_option("#language-choice", "en")  # chosen by hand, and kept
    desk.page.wait_for_function("() => document.documentElement.lang === 'en'")
    assert desk.page.locator("#tab-comb").inner_text().startswith("Comb")


def test_a_language_that_is_not_there_is_refused():
    with pytest.raises(BadInput, match="speaks en, de, fr"):
        page_tongue("xx" * 40)
