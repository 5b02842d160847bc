"""The fields of the object's sheet, after the units of information of Spectrum 5.1 (Collections Trust): Object entry,
Condition checking and technical assessment, and the object's identification and production.

The names of the units are from memory. private: about a person or a place, so not for the copy for publication.
"""

from __future__ import annotations

from dataclasses import dataclass

from disc.locale.catalogue import mark


@dataclass(frozen=True, slots=True)
class Field:
    """One field. key: in object.json and, with dashes, the option; unit: Spectrum's name; label: on the sheet."""

    key: str
    unit: str
    label: str
    help: str
    private: bool = False
    is_date: bool = False


FIELDS = (
    # Object identification
    Field("number", "Object number", mark("Object number"), "Inventory number."),
    Field(
        "other_number", "Other number", mark("Other number"), "A number of another kind, on the object or in a list."
    ),
    Field("name", "Object name", mark("Object name"), "What it is, e.g. musical watch."),
    Field("description", "Brief description", mark("Brief description"), "A sentence or two."),
    Field("pieces", "Number of objects", mark("Number of objects"), "How many pieces came in."),
    Field("features", "Distinguishing features", mark("Distinguishing features"), "What tells it from another."),
    Field("inscription", "Inscription content", mark("Inscription"), "Signatures and punches, as they stand."),
    # Object production
    Field("maker", "Object production organisation", mark("Maker"), "Who made it."),
    Field("place", "Object production place", mark("Place made"), "Where it was made."),
    Field("made", "Object production date", mark("Date made"), "When, in words: about 1815."),
    Field("material", "Material", mark("Material"), "Brass, gilt, steel pins."),
    # Object entry
    Field("owner", "Current owner", mark("Owner"), "Who owns it.", private=True),
    Field("customer", "Depositor", mark("Brought by"), "Who brought it and pays.", private=True),
    Field("customer_address", "Depositor's address", mark("Address"), "For the offer.", private=True),
    Field("entry_number", "Entry number", mark("Entry number"), "Number in the workshop's book."),
    Field("entry_date", "Entry date", mark("Entry date"), "Day, as 2026-05-01.", is_date=True),
    Field("entry_reason", "Entry reason", mark("Entry reason"), "Why it came: repair, estimate, study."),
    Field("entry_note", "Entry note", mark("Entry note"), "Anything else said when it came.", private=True),
    Field("return_date", "Return date", mark("Return date"), "Day agreed, as 2026-09-01.", private=True, is_date=True),
    # Condition checking
    Field("examiner", "Condition checker", mark("Examined by"), "Who examined it."),
    Field("examined", "Condition check date", mark("Examined on"), "Day, as 2026-05-03.", is_date=True),
    Field("method", "Condition check method", mark("How examined"), "By eye, under the glass, from photographs."),
    Field("reason", "Condition check reason", mark("Why examined"), "Before repair, before a loan."),
    Field("condition", "Condition", mark("Condition"), "In a few words: good, fair, poor, and why."),
    Field("completeness", "Completeness", mark("Completeness"), "Complete, or what is missing."),
    Field("hazard", "Hazard", mark("Hazards"), "Lead, mercury, a wound spring."),
    Field("next_check", "Next condition check date", mark("Look again on"), "Day, as 2027-05-01.", is_date=True),
)
BY_KEY = {field.key: field for field in FIELDS}
