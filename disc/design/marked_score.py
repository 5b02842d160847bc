"""The tune asked for, with what was changed or lost: blue an octave away, orange the nearest pitch, red left out.

The marks are put into the MusicXML (colour and a small word under the note), so that any notation program shows them.
"""

from __future__ import annotations

import re
from xml.etree import ElementTree

from disc import svg
from disc.design.arranged import NoteChange, NoteFate

# Dark enough on white paper (contrast above 4.5 : 1, WCAG 2.2, 1.4.3) and told apart also by the words beneath.
COLOURS = {
    NoteChange.HIGHER: "#1f4fbf",
    NoteChange.LOWER: "#1f4fbf",
    NoteChange.NEAREST: "#a85400",
    NoteChange.LEFT_OUT: "#c01020",
}
LEGEND = (
    (NoteChange.LOWER, "blue, ↑ or ↓: played an octave higher or lower (⇑ ⇓: two octaves)"),
    (NoteChange.NEAREST, "orange, ≈: the nearest pitch the comb has"),
    (NoteChange.LEFT_OUT, "red, ×: left out"),
)


def mark_musicxml(musicxml: str, notes: tuple[NoteFate, ...]) -> str:
    """The MusicXML of arranged.asked_tune with colours and words. notes: the fates in the order of the score."""
    head, body = _split_heading(musicxml)
    root = ElementTree.fromstring(body)
    said: set[str] = set()  # words under the chord being read: each stands once, one below the other
    for element in root.iter("note"):
        if element.find("chord") is None:
            said = set()
        number = re.match(r"pin-(\d+)", element.get("id", ""))
        if number is None:
            continue
        fate = notes[int(number.group(1)) - 1]
        if fate.change is NoteChange.AS_WRITTEN:
            continue
        colour = COLOURS[fate.change]
        element.set("color", colour)
        for part in ("notehead", "stem"):
            found = element.find(part)
            if found is not None:
                found.set("color", colour)
        word = _word(fate)
        if not element.get("id", "").endswith("-held") and word not in said:
            said.add(word)
            _add_word(element, word, colour, len(said))
    return head + ElementTree.tostring(root, encoding="unicode")


def _split_heading(musicxml: str) -> tuple[str, str]:
    """The declaration and document type, which a parser drops, and the rest."""
    start = musicxml.index("<score-partwise")
    return musicxml[:start], musicxml[start:]


def _word(fate: NoteFate) -> str:
    if fate.change is NoteChange.LEFT_OUT:
        return "×"
    if fate.change is NoteChange.NEAREST:
        return "≈"
    return ("↑" if fate.octaves > 0 else "↓") if abs(fate.octaves) < 2 else ("⇑" if fate.octaves > 0 else "⇓")


def _add_word(element: ElementTree.Element, word: str, colour: str, line: int) -> None:
    lyric = ElementTree.SubElement(element, "lyric", {"number": str(line), "color": colour})
    ElementTree.SubElement(lyric, "syllabic").text = "single"
    ElementTree.SubElement(lyric, "text").text = word


def add_legend(page: str, title: str, words: str, present: set[NoteChange]) -> str:
    """An engraved A4 page with title and legend. words: one line about the arrangement, first at the foot."""
    size = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', page)
    if size is None:
        return page
    width, height = float(size.group(1)), float(size.group(2))
    mm = width / 210.0  # A4 across
    lines = [("#000000", words)]
    lines += [(COLOURS[change], text) for change, text in LEGEND if _is_present(change, present)]
    texts = [_text(width / 2, 12 * mm, 5 * mm, "#000000", title, "middle")]
    for i, (colour, text) in enumerate(lines):
        y = height - (8.0 + 4.2 * (len(lines) - 1 - i)) * mm
        texts.append(_text(15 * mm, y, 3.2 * mm, colour, text, "start"))
    return svg.added(page, texts)


def _text(x: float, y: float, size: float, colour: str, words: str, anchor: str) -> str:
    return svg.text(
        x, y, words, font_family="Libertinus Serif, Georgia, serif", font_size=size, text_anchor=anchor, fill=colour
    )


def _is_present(change: NoteChange, present: set[NoteChange]) -> bool:
    return change in present or (change is NoteChange.LOWER and NoteChange.HIGHER in present)
