"""`disc offer`: the job's estimate as a numbered offer; load, compute, one step, every version kept.

offers/offer-001.json holds what it says, offers/offer-001-en.pdf the paper. An offer that says the same as the last one
keeps its number (in another language, or printed again); anything else becomes the next.
"""

from __future__ import annotations

import json
import re
from dataclasses import asdict, dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict

from disc.check.store import FINDINGS_FILE
from disc.errors import MissingPart
from disc.job import Job
from disc.job.made_from import OFFER
from disc.job.schema import now_text
from disc.locale.catalogue import Language, reader
from disc.object.store import load_object
from disc.offer.make_offer import Offer, make_offer
from disc.offer.paper import offer_pdf
from disc.offer.workshop import WORKSHOP_FILE, find_workshop
from disc.records import Doubt
from disc.repin.store import PLAN_FILE, load_plan
from disc.stored import Stored
from disc.turn.turn_of_job import all_doubts

OFFERS = "offers"
NEVER_THE_SAME = ("made", "valid_until", "number")


@dataclass(frozen=True, slots=True)
class OfferMade:
    """The offer, its number, its files in the job, and what is in doubt about the disc and the plan it rests on."""

    offer: Offer
    number: int
    files: tuple[str, ...]
    doubts: tuple[Doubt, ...] = ()


def offer_job(job: Job, language: Language = Language.EN, workshop_file: Path | None = None) -> OfferMade:
    """Make the offer of a job open for writing. Raises MissingPart without a plan."""
    plan = load_plan(job)
    if plan is None:
        raise MissingPart(f"{job.folder}: no plan yet, so nothing to offer. Run: disc repin {job.folder}")
    workshop, text = find_workshop(job, workshop_file)
    sheet = load_object(job)
    offer = make_offer(plan, workshop, now_text()[:10], job.has(FINDINGS_FILE))
    content = _content(offer, sheet, workshop.model_dump(mode="json"))
    last, before = last_offer(job)
    same = before is not None and _without_dates(before) == _without_dates(content)
    number = last if same else last + 1
    if same and before is not None:  # the paper of another language carries the same dates
        offer = Offer(**{**{name: getattr(offer, name) for name in Offer.__slots__}, **_dates(before)})
    name = f"{OFFERS}/offer-{number:03d}"
    with job.step("offer", (job.path(PLAN_FILE),)) as stage:
        if not same:
            stage.write_text(f"{name}.json", STORED_OFFER.text(_Offer.model_validate(content | {"number": number})))
        paper = offer_pdf(offer, number, workshop, sheet, job.folder.resolve().name, reader(language))
        stage.write_bytes(f"{name}-{language.value}.pdf", paper)
        files = tuple(stage.names)
        if text is not None:
            stage.write_text(WORKSHOP_FILE, text)
    return OfferMade(offer, number, files, all_doubts(job, without=(OFFER,)))


class _Offer(BaseModel):
    """What every offer's file says; the rest of it is the paper's words, kept as they were."""

    model_config = ConfigDict(extra="allow")

    made: str
    valid_until: str


STORED_OFFER: Stored[_Offer] = Stored("last offer", _Offer, "Restore it from a backup, or move it away.")


def last_offer(job: Job) -> tuple[int, dict[str, Any] | None]:
    """(number, content) of the latest offer; (0, None) before the first. Raises BadInput if it is damaged."""
    folder = job.path(OFFERS)
    names = [path.name for path in folder.iterdir()] if folder.is_dir() else []
    numbers = [int(found[1]) for name in names if (found := re.fullmatch(r"offer-(\d{3,6})\.json", name))]
    if not numbers:
        return 0, None
    last = STORED_OFFER.load(folder / f"offer-{max(numbers):03d}.json")
    return max(numbers), None if last is None else last.model_dump(mode="json")


def _content(offer: Offer, sheet: dict[str, str], workshop: dict[str, Any]) -> dict[str, Any]:
    plain = json.loads(
        json.dumps(asdict(offer), default=lambda value: str(value) if isinstance(value, Decimal) else None)
    )
    return {**plain, "object": sheet, "workshop": workshop}


def _without_dates(content: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in content.items() if name not in NEVER_THE_SAME}


def _dates(content: dict[str, Any]) -> dict[str, str]:
    return {"made": str(content["made"]), "valid_until": str(content["valid_until"])}
