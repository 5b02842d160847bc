"""`disc object`: the object's sheet, filled in bit by bit."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from disc.words import say, show_json


def object_sheet(
    job: Annotated[Path, typer.Argument(help="The job's folder.")],
    number: Annotated[str | None, typer.Option(help="Inventory number.")] = None,
    other_number: Annotated[
        str | None, typer.Option(help="A number of another kind, on the object or in a list.")
    ] = None,
    name: Annotated[str | None, typer.Option(help="What it is, e.g. musical watch.")] = None,
    description: Annotated[str | None, typer.Option(help="A sentence or two.")] = None,
    pieces: Annotated[str | None, typer.Option(help="How many pieces came in.")] = None,
    features: Annotated[str | None, typer.Option(help="What tells it from another.")] = None,
    inscription: Annotated[str | None, typer.Option(help="Signatures and punches, as they stand.")] = None,
    maker: Annotated[str | None, typer.Option(help="Who made it.")] = None,
    place: Annotated[str | None, typer.Option(help="Where it was made.")] = None,
    made: Annotated[str | None, typer.Option(help="When, in words: about 1815.")] = None,
    material: Annotated[str | None, typer.Option(help="Brass, gilt, steel pins.")] = None,
    owner: Annotated[str | None, typer.Option(help="Who owns it. Not in the copy for publication.")] = None,
    customer: Annotated[
        str | None, typer.Option(help="Who brought it and pays. Not in the copy for publication.")
    ] = None,
    customer_address: Annotated[
        str | None, typer.Option(help="For the offer. Not in the copy for publication.")
    ] = None,
    entry_number: Annotated[str | None, typer.Option(help="Number in the workshop's book.")] = None,
    entry_date: Annotated[str | None, typer.Option(help="Day, as 2026-05-01.")] = None,
    entry_reason: Annotated[str | None, typer.Option(help="Why it came: repair, estimate, study.")] = None,
    entry_note: Annotated[
        str | None, typer.Option(help="Anything else said when it came. Not in the copy for publication.")
    ] = None,
    return_date: Annotated[
        str | None, typer.Option(help="Day agreed, as 2026-09-01. Not in the copy for publication.")
    ] = None,
    examiner: Annotated[str | None, typer.Option(help="Who examined it.")] = None,
    examined: Annotated[str | None, typer.Option(help="Day, as 2026-05-03.")] = None,
    method: Annotated[str | None, typer.Option(help="By eye, under the glass, from photographs.")] = None,
    reason: Annotated[str | None, typer.Option(help="Before repair, before a loan.")] = None,
    condition: Annotated[str | None, typer.Option(help="In a few words: good, fair, poor, and why.")] = None,
    completeness: Annotated[str | None, typer.Option(help="Complete, or what is missing.")] = None,
    hazard: Annotated[str | None, typer.Option(help="Lead, mercury, a wound spring.")] = None,
    next_check: Annotated[str | None, typer.Option(help="Day, as 2027-05-01.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """What the object is, whose it is, who examined it (fields after Spectrum 5.1); an empty text takes one back."""
    from disc.job import open_for_writing, open_job
    from disc.object.fields import BY_KEY
    from disc.object.store import change_object, load_object

    options = {
        "number": number,
        "other_number": other_number,
        "name": name,
        "description": description,
        "pieces": pieces,
        "features": features,
        "inscription": inscription,
        "maker": maker,
        "place": place,
        "made": made,
        "material": material,
        "owner": owner,
        "customer": customer,
        "customer_address": customer_address,
        "entry_number": entry_number,
        "entry_date": entry_date,
        "entry_reason": entry_reason,
        "entry_note": entry_note,
        "return_date": return_date,
        "examiner": examiner,
        "examined": examined,
        "method": method,
        "reason": reason,
        "condition": condition,
        "completeness": completeness,
        "hazard": hazard,
        "next_check": next_check,
    }
    given = {key: words for key, words in options.items() if words is not None}
    if given:
        with open_for_writing(job) as opened:
            sheet = change_object(opened, given)
    else:
        sheet = load_object(open_job(job))
    if as_json:
        units = {
            key: {"unit": BY_KEY[key].unit, "words": words, "private": BY_KEY[key].private}
            for key, words in sheet.items()
        }
        show_json({"object": sheet, "fields": units})
        return
    if not sheet:
        say("Nothing is written down of the object yet. See: disc object --help")
    for key, words in sheet.items():
        say(f"{BY_KEY[key].label}: {words}" + ("  (not in the copy for publication)" if BY_KEY[key].private else ""))
