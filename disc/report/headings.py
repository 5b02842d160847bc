"""Headings of the report; their words in other languages are in the catalogues (locale/)."""

from __future__ import annotations

from disc.locale.catalogue import Language, mark, reader

__all__ = ["HEADINGS", "PARTS", "Language", "heading"]

# In the order in which the parts stand in the report.
PARTS = (
    "doubts",
    "object",
    "map",
    "photographs",
    "comb",
    "tune",
    "findings",
    "plan",
    "estimate",
    "comparison",
    "log",
    "measuring",
    "cautions",
    "provenance",
)

HEADINGS: dict[str, str] = {
    "title": mark("Condition report"),
    "doubts": mark("What was not seen, and what was assumed"),
    "object": mark("The object"),
    "photographs": mark("Photographs"),
    "map": mark("Both faces"),
    "comb": mark("The comb"),
    "tune": mark("The tune"),
    "findings": mark("Findings"),
    "plan": mark("Proposed work"),
    "estimate": mark("Estimate"),
    "comparison": mark("Before and after"),
    "log": mark("Bench log"),
    "measuring": mark("How it was measured"),
    "cautions": mark("Cautions"),
    "provenance": mark("Files and versions"),
    "date": mark("Date"),
    "signature": mark("Examined by (name, date, signature)"),
}


def heading(key: str, language: Language) -> str:
    """The heading's words. Raises KeyError for a key that is none."""
    return reader(language)(HEADINGS[key])
