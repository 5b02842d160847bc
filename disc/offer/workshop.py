"""workshop.toml: who makes the offer, in which currency, with which tax and conditions."""

from __future__ import annotations

import tomllib
from importlib import resources
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from disc.errors import BadInput
from disc.job import Job
from disc.tables import read_text

WORKSHOP_FILE = "workshop.toml"


class Workshop(BaseModel):
    """The workshop's data. sample: the shipped text, not yet the workshop's own."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    sample: bool = False
    name: str = Field(min_length=1, max_length=200)
    address: tuple[str, ...] = Field(default=(), max_length=8)
    email: str = Field(default="", max_length=200)
    phone: str = Field(default="", max_length=100)
    tax_number: str = Field(default="", max_length=100)
    currency: str = Field(min_length=1, max_length=12)
    tax_name: str = Field(default="", max_length=40)
    tax_percent: float = Field(default=0.0, ge=0.0, le=100.0, allow_inf_nan=False)
    rebate_percent: float = Field(default=0.0, ge=0.0, le=100.0, allow_inf_nan=False)
    valid_days: int = Field(default=30, ge=1, le=1000)
    conditions: tuple[str, ...] = Field(default=(), max_length=40)
    not_included: tuple[str, ...] = Field(default=(), max_length=40)


def sample_text() -> str:
    """The shipped sample, to be made one's own."""
    return resources.files("disc.offer").joinpath(WORKSHOP_FILE).read_text(encoding="utf-8")


def parse_workshop(text: str, where: str) -> Workshop:
    """The workshop's data from TOML text. Raises BadInput naming the file and the entry that is wrong."""
    try:
        return Workshop.model_validate(tomllib.loads(text))
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        if isinstance(error, ValidationError):
            fault = error.errors()[0]
            entry = ".".join(str(part) for part in fault["loc"])
            raise BadInput(f"{where}: {entry}: {fault['msg'].lower()}. Correct that entry.") from error
        raise BadInput(f"{where}: not a file that can be read ({error}). Mend that line.") from error


def find_workshop(job: Job, given: Path | None) -> tuple[Workshop, str | None]:
    """The data in force, and the text to store in the job where there was none: a file given, the job's own, the one
    beside the jobs, else the sample."""
    if given is not None:
        text = read_text(given, "workshop's file")
        return parse_workshop(text, str(given)), text
    for path in (job.path(WORKSHOP_FILE), job.folder.resolve().parent / WORKSHOP_FILE):
        if path.is_file():
            return parse_workshop(read_text(path, "workshop's file"), str(path)), None
    return parse_workshop(sample_text(), "the sample"), sample_text()
