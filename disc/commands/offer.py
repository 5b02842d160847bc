"""`disc offer`: the estimate as an offer to the customer."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from disc.locale.catalogue import Language
from disc.words import progress, say, show_json


def offer(
    job: Annotated[Path, typer.Argument(help="The job's folder, with its plan made.")],
    language: Annotated[Language, typer.Option(help="The customer's language.")] = Language.EN,
    workshop: Annotated[
        Path | None, typer.Option(help="The workshop's data; usually workshop.toml in the job or beside the jobs.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """An offer from the estimate: work, range, rebate, tax, validity, conditions; every version is kept."""
    from disc.doubts import doubt_lines, doubts_to_json
    from disc.job import open_for_writing
    from disc.offer.offer_job import offer_job

    with open_for_writing(job) as opened, progress("offer", quiet=as_json):
        made = offer_job(opened, language, workshop)
    files = [job / name for name in made.files]
    low, likely, high = made.offer.total
    if as_json:
        total = [str(low), str(likely), str(high)]
        told = {"number": made.number, "total": total, "currency": made.offer.currency, "files": files}
        show_json(told | {"doubts": doubts_to_json(made.doubts)})
        return
    say(*doubt_lines(made.doubts))
    say(f"Offer no. {made.number}: {likely} {made.offer.currency} ({low} to {high}), until {made.offer.valid_until}.")
    if made.offer.draft:
        say(
            f"A draft: put your own numbers into {job / 'rates.toml'} and workshop.toml, take out their lines 'sample'."
        )
    say(*(f"  {path}" for path in files))
