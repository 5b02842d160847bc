"""The whole chain on the shipped sample: two photographs and a comb table to the tune, the findings and the plan."""

from __future__ import annotations

import json
import shutil
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from disc.errors import BadInput, DiscError, MissingPart
from disc.job import JOB_FILE, Job, create_job, open_for_writing, open_job
from disc.job.journal import locked
from disc.records import Finding, Pin, Plate, Side, Tune, Turns
from disc.words import Advance, no_progress

SAMPLE = "first-disc"
DEMO_SETTING = "demo"  # marks a job folder as a demo's, which the next demo may replace


@dataclass(frozen=True, slots=True)
class Demo:
    """What came of the demo. which_tune: what the library says, in one line; None: it was not asked."""

    job: Job
    pins: tuple[Pin, ...]
    teeth: int
    tune: Tune
    key: str
    duration_s: float
    doubtful: tuple[int, ...]
    findings: tuple[Finding, ...]
    which_tune: str | None = None

    def pins_on(self, side: Side) -> int:
        """How many pin sites a face has."""
        return sum(pin.side is side for pin in self.pins)

    def conditions(self) -> Counter[str]:
        """How many sites there are of each condition."""
        return Counter(pin.condition.value for pin in self.pins)


def sample_folder() -> Path:
    """Where the shipped sample lies: in the checkout, or where an installed package put it. Raises MissingPart."""
    places = (
        Path(__file__).parents[1] / "samples" / SAMPLE,
        Path(sys.prefix) / "share" / "disc" / "samples" / SAMPLE,
    )
    for place in places:
        if (place / "sample.json").is_file():
            return place
    raise MissingPart(f"the sample disc is not here (looked in {places[0]} and {places[1]}). Install the package anew.")


def sample_plate(folder: Path) -> Plate:
    """The sample's plate as its note gives it."""
    given = json.loads((folder / "sample.json").read_text(encoding="utf-8"))
    names = {"diameter_mm", "revolution_s", "rest_arc_deg", "thickness_mm", "bore_mm"}
    return Plate.known(turns=Turns(given["turns"]), **{name: given.get(name) for name in names})


def run_demo(folder: Path, advance: Advance = no_progress, library: bool = True) -> Demo:
    """Read, transcribe, check and plan the sample in a job folder. An earlier demo there is replaced, nothing else.

    library: whether to ask which tune it is; on first use the library is built for that, half a minute.
    """
    from disc.check.check_job import check_job
    from disc.comb.comb_job import take_table
    from disc.photo.read_photos import read_job
    from disc.repin.plan_job import PlanSettings, plan_job
    from disc.report.condition import make_report
    from disc.tune.settings import key_name
    from disc.turn.transcribe_job import transcribe_job

    sample = sample_folder()
    _clear_earlier_demo(folder)
    create_job(folder, sample_plate(sample), {DEMO_SETTING: True})
    with open_for_writing(folder) as job:
        advance(0.02, "reading the photographs")
        read_job(job, upper=(sample / "upper.jpg",), lower=(sample / "lower.jpg",))
        advance(0.35, "giving the pins their teeth")
        take_table(job, sample / "comb.csv")
        advance(0.4, "reading the tune")
        made = transcribe_job(job)
        advance(0.7, "checking")
        checked = check_job(job)
        advance(0.8, "planning the work")
        plan_job(job, PlanSettings())
        which = _which_tune(job, advance) if library else None
        advance(0.9, "setting the report")
        make_report(job)
        pins = job.pins()
        doubtful = tuple(pin.id for pin in pins if pin.is_doubtful)
        return Demo(
            job=job,
            pins=pins,
            teeth=len(job.comb().teeth),
            tune=made.reading.tune,
            key=key_name(made.reading.tune.key),
            duration_s=job.plate.revolution_s,
            doubtful=doubtful,
            findings=checked.findings,
            which_tune=which,
        )


def _which_tune(job: Job, advance: Advance) -> str:
    """What the library says of the sample, kept in its job."""
    from disc.library.answer import keep_in_job, verdict
    from disc.library.index.library_store import open_library
    from disc.library.query_in import query_of_job
    from disc.library.search.find_tunes import find_tunes

    try:
        index = open_library(lambda done, doing: advance(0.85 + 0.05 * done, doing or "looking the tune up")).index
    except DiscError as fault:  # no room for a library, or no tunes to make it of: the demo goes on without
        return f"not looked up ({fault})"
    query = query_of_job(job.folder)
    matches = find_tunes(index, query)
    keep_in_job(job, index, query, matches)
    return verdict(matches)


def _clear_earlier_demo(folder: Path) -> None:
    if not (folder / JOB_FILE).exists():
        return
    if not open_job(folder).settings.get(DEMO_SETTING):
        raise BadInput(f"{folder}: there is a job of your own here. Name another folder: disc demo FOLDER")
    with locked(folder):
        names = [path for path in folder.iterdir() if path.name != ".lock"]
        _remove(names)


def _remove(paths: Sequence[Path]) -> None:
    for path in paths:
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()
