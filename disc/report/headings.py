"""Headings of the report in the languages it may be set in. The findings' own sentences stay English.

To add a language, add a column: every key of HEADINGS must have it, which a test checks.
"""

from __future__ import annotations

from enum import StrEnum


class Language(StrEnum):
    """Languages of headings."""

    EN = "en"
    DE = "de"
    FR = "fr"


# In the order in which the parts stand in the report.
PARTS = (
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

HEADINGS: dict[str, dict[Language, str]] = {
    "title": {Language.EN: "Condition report", Language.DE: "Zustandsbericht", Language.FR: "Constat d'état"},
    "object": {Language.EN: "The object", Language.DE: "Das Objekt", Language.FR: "L'objet"},
    "photographs": {Language.EN: "Photographs", Language.DE: "Aufnahmen", Language.FR: "Photographies"},
    "map": {Language.EN: "Both faces", Language.DE: "Beide Seiten", Language.FR: "Les deux faces"},
    "comb": {Language.EN: "The comb", Language.DE: "Der Kamm", Language.FR: "Le clavier"},
    "tune": {Language.EN: "The tune", Language.DE: "Die Melodie", Language.FR: "L'air"},
    "findings": {Language.EN: "Findings", Language.DE: "Befunde", Language.FR: "Constatations"},
    "plan": {Language.EN: "Proposed work", Language.DE: "Arbeitsvorschlag", Language.FR: "Travaux proposés"},
    "estimate": {Language.EN: "Estimate", Language.DE: "Kostenschätzung", Language.FR: "Devis estimatif"},
    "comparison": {Language.EN: "Before and after", Language.DE: "Vorher und nachher", Language.FR: "Avant et après"},
    "log": {Language.EN: "Bench log", Language.DE: "Werkstattbuch", Language.FR: "Journal d'atelier"},
    "measuring": {
        Language.EN: "How it was measured",
        Language.DE: "Wie gemessen wurde",
        Language.FR: "Comment on a mesuré",
    },
    "cautions": {Language.EN: "Cautions", Language.DE: "Vorsicht", Language.FR: "Précautions"},
    "provenance": {
        Language.EN: "Files and versions",
        Language.DE: "Dateien und Versionen",
        Language.FR: "Fichiers et versions",
    },
    "date": {Language.EN: "Date", Language.DE: "Datum", Language.FR: "Date"},
    "signature": {
        Language.EN: "Examined by (name, date, signature)",
        Language.DE: "Untersucht von (Name, Datum, Unterschrift)",
        Language.FR: "Examiné par (nom, date, signature)",
    },
}


def heading(key: str, language: Language) -> str:
    """The heading's words. Raises KeyError for a key that is none."""
    return HEADINGS[key][language]
