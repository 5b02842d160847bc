"""The tune asked for, with what was changed or lost: blue an octave away, orange the nearest pitch, red left out.

The marks are put into the MusicXML (colour and a small word under the note), so that any notation program shows them.
"""

from __future__ import annotations

import re
from xml.etree import ElementTree

from disc.design.arranged import Change, NoteFate

# Dark enough on white paper (contrast above 4.5 : 1, WCAG 2.2, 1.4.3) and told apart also by the words beneath.
COLOURS = {
    Change.HIGHER: "#1f4fbf",
    Change.LOWER: "#1f4fbf",
    Change.NEAREST: "#a85400",
    Change.LEFT_OUT: "#c01020",
}
LEGEND = (
    (Change.LOWER, "blue, 8+ or 8-: played an octave higher or lower (15: two octaves)"),
    (Change.NEAREST, "orange, ~: the nearest pitch the comb has"),
    (Change.LEFT_OUT, "red, x: left out"),
)


def mark_musicxml(musicxml: str, notes: tuple[NoteFate, ...]) -> str:
    """The MusicXML of arranged.asked_tune with colours and words. notes: the fates in the order of the score."""
    head, body = _split_heading(musicxml)
    root = ElementTree.fromstring(body)
    for element in root.iter("note"):
        number = re.match(r"pin-(\d+)", element.get("id", ""))
        if number is None:
            continue
        fate = notes[int(number.group(1)) - 1]
        if fate.change is Change.AS_WRITTEN:
            continue
        colour = COLOURS[fate.change]
        element.set("color", colour)
        for part in ("notehead", "stem"):
            found = element.find(part)
            if found is not None:
                found.set("color", colour)
        if not element.get("id", "").endswith("-held"):
            _add_word(element, _word(fate), colour)
    return head + ElementTree.tostring(root, encoding="unicode")


def _split_heading(musicxml: str) -> tuple[str, str]:
    """The declaration and document type, which a parser drops, and the rest."""
    start = musicxml.index("<score-partwise")
    return musicxml[:start], musicxml[start:]


def _word(fate: NoteFate) -> str:
    if fate.change is Change.LEFT_OUT:
        return "x"
    if fate.change is Change.NEAREST:
        return "~"
    return {1: "8", 2: "15"}.get(abs(fate.octaves), "8") + ("+" if fate.octaves > 0 else "-")


def _add_word(element: ElementTree.Element, word: str, colour: str) -> None:
    lyric = ElementTree.SubElement(element, "lyric", {"number": "1", "color": colour})
    ElementTree.SubElement(lyric, "syllabic").text = "single"
    ElementTree.SubElement(lyric, "text").text = word


def add_legend(page: str, words: str, present: set[Change]) -> str:
    """An engraved A4 page with the legend at its foot. words: one line about the arrangement, shown first."""
    size = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', page)
    if size is None:
        return page
    width, height = float(size.group(1)), float(size.group(2))
    mm = width / 210.0  # A4 across
    lines = [("#000000", words)]
    lines += [(COLOURS[change], text) for change, text in LEGEND if _is_present(change, present)]
    texts = []
    for i, (colour, text) in enumerate(lines):
        y = height - (8.0 + 4.2 * (len(lines) - 1 - i)) * mm
        escaped = text.replace("&", "&amp;").replace("<", "&lt;")
        texts.append(
            f'<text x="{15 * mm:.0f}" y="{y:.0f}" font-family="Libertinus Serif, Georgia, serif" '
            f'font-size="{3.2 * mm:.0f}" fill="{colour}">{escaped}</text>'
        )
    place = page.rindex("</svg>")
    return page[:place] + "".join(texts) + page[place:]


def _is_present(change: Change, present: set[Change]) -> bool:
    return change in present or (change is Change.LOWER and Change.HIGHER in present)
