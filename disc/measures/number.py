"""A number as people write it: a comma or a point for the decimals, a plain or a mixed fraction."""

from __future__ import annotations

import re

from disc.errors import BadInput

_MINUS = str.maketrans({"−": "-", "–": "-", "‒": "-", "\u00a0": " ", "\u202f": " ", "⁄": "/", "∕": "/"})
_SIGNS = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8", "⅓": "1/3", "⅔": "2/3"}
_DECIMAL = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d{1,2})?", re.IGNORECASE)
_FRACTION = re.compile(r"(?P<sign>[+-]?)((?P<whole>\d{1,6})(\s+|\s*-\s*))?(?P<above>\d{1,6})\s*/\s*(?P<below>\d{1,6})")
# Unless said otherwise: chosen by hand, not measured.
LONGEST = 60  # characters; no measure is longer, and a message quotes what was given


def tidy(text: str) -> str:
    """One spelling of dashes, spaces and ready-made fractions."""
    words = text.translate(_MINUS).strip()
    for sign, written in _SIGNS.items():
        words = words.replace(sign, f" {written}")
    return " ".join(words.split())


def number_from(text: str, what: str = "the number", fractions: bool = True) -> float:
    """The number in the text. Raises BadInput for anything else, a grouped one ("1.234,5") included.

    fractions: whether "3/8", "1 3/8" and "1-3/8" are taken.
    """
    words = tidy(text)
    if len(words) <= LONGEST:
        if _DECIMAL.fullmatch(words):
            return float(words.replace(",", "."))
        found = _FRACTION.fullmatch(words) if fractions else None
        if found and int(found["below"]):
            value = int(found["whole"] or 0) + int(found["above"]) / int(found["below"])
            return -value if found["sign"] == "-" else value
    raise BadInput(f"{what}: {shown(text)} is not a number. Write it like 12.5 or 12,5, without points for thousands.")


def shown(text: str) -> str:
    """What was given, quoted, short enough for a line."""
    return repr(text if len(text) <= LONGEST else text[:LONGEST] + "…")
