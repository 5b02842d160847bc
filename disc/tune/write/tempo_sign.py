"""The tempo over a score: beats in a minute, and the sign of the beat drawn.

Comes in: a section. Goes out: which value is counted, how many there are in a minute, and its sign as SVG where the
engraver put a letter of its music font, which is missing in the PDF and in a page that holds no fonts.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from disc import svg
from disc.records import Metre
from disc.tune.write.lengths import beat_quarter, is_compound

# Beats in a minute that are counted at most before a longer value is: above it nobody beats. Maelzel's metronome ends
# at 160 (patent of 1815; from memory).
FASTEST = 160.0
# Letters for notes in a line of text: Standard Music Font Layout 1.4, range U+ECA0 (metronome marks).
LETTERS = {"\ueca3": Fraction(2), "\ueca5": Fraction(1), "\ueca7": Fraction(1, 2)}
DOT = "\uecb7"
# Drawn in parts of the letters' height (those of the figures beside them); by eye, after the heads of the score.
HEAD_WIDE, HEAD_HIGH, STEM_HIGH, SLANT_DEG = 0.42, 0.28, 1.0, -20.0
STROKE, INNER, GAP = 0.05, 0.6, 0.35  # likewise: lines, an open head's hole, what is left free behind the note


@dataclass(frozen=True, slots=True)
class Beat:
    """quarter: the counted value without its dot; a_minute: how many of it, dotted or not, go in a minute."""

    quarter: Fraction
    dotted: bool
    a_minute: int


def beat_of(metre: Metre, quarter_s: float) -> Beat:
    """What is counted: the metre's beat; where it goes too fast to be beaten, half a bar or a whole one."""
    beat = beat_quarter(metre)
    if not is_compound(metre) and 60.0 / (quarter_s * float(beat)) > FASTEST:
        beat = metre.bar_quarter / (2 if metre.beats == 4 else 1)
    dotted = beat.numerator == 3
    return Beat(beat * Fraction(2, 3) if dotted else beat, dotted, round(60.0 / (quarter_s * float(beat))))


# An engraved tempo: its place, the size of its words, and the line of letters of the music font before them.
_ENGRAVED = re.compile(
    r'(?P<open><text x=")(?P<x>-?[\d.]+)(?P<at>" y="(?P<y>-?[\d.]+)" font-size="0px")>\s*'
    r'<tspan id="\w+" class="rend"[^>]*>\s*<tspan id="\w+" class="text">\s*'
    r'<tspan font-family="Leipzig" font-size="\d+px">(?P<letters>[^<]+)</tspan>'
    r"\s*</tspan>\s*</tspan>(?P<rest>.*?font-size=\"(?P<size>\d+)px\".*?</text>)",
    re.DOTALL,
)


def with_drawn_beats(page: str) -> str:
    """An engraved page whose tempo marks show drawn notes instead of letters of a music font."""
    return _ENGRAVED.sub(_drawn, page)


def _drawn(match: re.Match[str]) -> str:
    letters, size = match["letters"], float(match["size"])
    value = next((LETTERS[letter] for letter in letters if letter in LETTERS), None)
    if value is None:
        return match[0]
    x, y = float(match["x"]), float(match["y"])
    parts, wide = _note(x, y, size, value, DOT in letters)
    words = re.sub("(?<=>)\u00a0=", "=", match["rest"])
    opened = f'{match["open"]}{svg.number(x + wide)}{match["at"]} font-weight="bold">'
    return "".join(parts) + opened + words


def _note(x: float, y: float, size: float, quarter: Fraction, dotted: bool) -> tuple[list[str], float]:
    """A note standing on the line y from x on, and how far it and the room behind it reach."""
    wide, high, stroke = HEAD_WIDE * size, HEAD_HIGH * size, STROKE * size
    middle_x, middle_y = x + wide / 2, y - high / 2
    turned = f"rotate({SLANT_DEG:g} {svg.number(middle_x)} {svg.number(middle_y)})"
    head: dict[str, svg.Value] = {"rx": wide / 2, "ry": high / 2, "transform": turned}
    parts = [svg.element("ellipse", cx=middle_x, cy=middle_y, fill="currentColor", stroke="none", **head)]
    if quarter >= 2:
        hole: dict[str, svg.Value] = head | {"rx": wide / 2 * 0.86, "ry": high / 2 * INNER}
        parts.append(svg.element("ellipse", cx=middle_x, cy=middle_y, fill="#ffffff", stroke="none", **hole))
    stem_x, top = x + wide - stroke / 2, y - STEM_HIGH * size
    stem: dict[str, svg.Value] = {"stroke": "currentColor", "stroke_width": stroke}
    parts.append(svg.path(f"M{svg.points([(stem_x, middle_y)])} L{svg.points([(stem_x, top)])}", fill="none", **stem))
    right = x + wide
    if quarter < 1:
        bend, end = (stem_x + 0.1 * size, top + 0.3 * size), (stem_x + 0.24 * size, top + 0.42 * size)
        tip = (stem_x + 0.18 * size, top + 0.66 * size)
        flag = f"M{svg.points([(stem_x, top)])} C{svg.points([bend, end, tip])}"
        parts.append(svg.path(flag, fill="none", stroke="currentColor", stroke_width=2 * stroke))
        right += 0.26 * size
    if dotted:
        parts.append(svg.circle(right + 0.1 * size, middle_y, 0.07 * size, fill="currentColor", stroke="none"))
        right += 0.2 * size
    return parts, right - x + GAP * size
