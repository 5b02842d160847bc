"""One disc of a collection, from what is there to its row. A fault of the disc becomes a row with its reason."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from disc.collect.doubt_cells import cell_of
from disc.collect.items import Item, fingerprint
from disc.collect.picture import draw_picture
from disc.collect.reasons import not_photographed, with_reasons
from disc.collect.rows import DONE, FAILED, DiscRow, RowStore
from disc.collect.same_disc import layout_of
from disc.comb.tracks import find_tracks
from disc.errors import DiscError
from disc.job import JOB_FILE, Job, create_job, open_for_writing, open_job
from disc.object.store import load_object
from disc.records import Condition, Pin, Side
from disc.words import no_progress

if TYPE_CHECKING:
    from disc.library.index.tune_index import Index


@dataclass(frozen=True, slots=True)
class DiscTask:
    """What a worker needs to know: the disc, where rows are kept, and whether tunes are looked up."""

    item: Item
    rows: Path
    identify: bool = True

    @property
    def usual_ms(self) -> int:
        """About how long the disc takes, ms of a processor: photographs to read, a tune to look up, or neither."""
        if self.item.is_pair:
            return 1500
        return 200 if self.identify else 150


def work_through(task: DiscTask) -> bool:
    """Make a disc's row and keep it; True if it was made now, False if it stood there already.

    Runs in a worker process and never raises for a fault of the disc: one bad disc does not stop a collection.
    """
    store = RowStore(task.rows)
    item = task.item
    mark = fingerprint(item)
    if store.is_done(item.name, str(item.job), mark):
        return False
    started = time.perf_counter()
    try:
        row = _row(item, task.identify, task.rows.parent)
    except DiscError as error:
        row = DiscRow(item.name, str(item.job), FAILED, " ".join(str(error).split()))
    except Exception as error:  # a fault of this program: named in the table, and the other discs go on
        row = DiscRow(item.name, str(item.job), FAILED, f"fault in the program: {type(error).__name__}: {error}")
    store.save(replace(row, seconds=round(time.perf_counter() - started, 3)), mark)
    return True


def _row(item: Item, identify: bool, home: Path) -> DiscRow:
    if item.is_pair:
        _read_pair(item)
    job = open_job(item.job)  # reading needs no lock: what is on disk is whole
    pins = job.pins()
    row = replace(_measures(item, job, pins), doubts=_doubts(job))
    if identify and job.has("comb.csv"):
        row = replace(row, **_tune(job))
    return replace(row, empty=with_reasons(row, job, identify), picture=draw_picture(home, item, job, pins))


def _doubts(job: Job) -> str:
    from disc.turn.turn_of_job import all_doubts

    return cell_of(all_doubts(job))


def _read_pair(item: Item) -> None:
    from disc.comb.comb_job import draft_from_pins, read_and_name, take_table
    from disc.photo.read_photos import read_job

    assert item.plate is not None and item.upper is not None and item.lower is not None
    if not (item.job / JOB_FILE).exists():
        create_job(item.job, item.plate)
    with open_for_writing(item.job) as job:
        if item.comb is not None:
            read_job(job, upper=(item.upper,), lower=(item.lower,))
            take_table(job, item.comb)
            return
        read_and_name(job, upper=(item.upper,), lower=(item.lower,))
        if not job.has("comb.csv"):
            draft_from_pins(job)


def _measures(item: Item, job: Job, pins: Sequence[Pin]) -> DiscRow:
    conditions = Counter(pin.condition for pin in pins)
    tracks = {side: _track_radii([p for p in pins if p.side is side]) for side in Side}
    radii = [r for side in Side for r in tracks[side]]
    gaps = [gap for side in Side for gap in np.diff(tracks[side])]
    counts = {side: sum(pin.side is side for pin in pins) for side in Side}
    upper, lower = (None if not_photographed(job, side, counts[side]) else counts[side] for side in Side)
    comb = job.comb() if job.has("comb.csv") else None
    known = load_object(job)
    thick = [pin.diameter_mm for pin in pins if pin.diameter_mm is not None]
    return DiscRow(
        name=item.name,
        job=str(item.job),
        status=DONE,
        diameter_mm=job.plate.diameter_mm,
        pins_upper=upper,
        pins_lower=lower,
        sound=conditions[Condition.SOUND],
        bent=conditions[Condition.BENT],
        stub=conditions[Condition.STUB],
        missing=conditions[Condition.MISSING],
        extra=conditions[Condition.EXTRA],
        tracks=len(radii),
        teeth=None if comb is None else len(comb.teeth),
        inner_r_mm=round(min(radii), 4) if radii else None,
        outer_r_mm=round(max(radii), 4) if radii else None,
        track_gap_mm=round(float(np.median(gaps)), 4) if gaps else None,
        pin_diameter_mm=round(float(np.median(thick)), 4) if thick else None,
        maker=known.get("maker"),
        number=known.get("number"),
        pitched=None if comb is None else sum(tooth.pitch is not None for tooth in comb.teeth),
        layout=layout_of(pins),
        photographs=" ".join(sorted({mark for name, mark in job.content.photos.items() if "/" not in name})),
    )


def _track_radii(pins: Sequence[Pin]) -> list[float]:
    return [track.r_mm for track in find_tracks(np.array([pin.r_mm for pin in pins]))]


@cache
def _library() -> Index:
    """The library, opened once a worker."""
    from disc.library.index.library_store import open_library

    return open_library(no_progress).index


def _tune(job: Job) -> dict[str, Any]:
    """The best match in the library; a disc whose comb has no pitches yet simply has no tune."""
    from disc.library.answer import match_to_json
    from disc.library.query_in import read_queries
    from disc.library.search.find_tunes import find_tunes

    if all(tooth.pitch is None for tooth in job.comb().teeth):
        return {}
    ((_, query),) = read_queries(job.folder)
    matches = find_tunes(_library(), query, 1)
    if not matches:
        return {}
    best = match_to_json(matches[0])
    return {
        "tune_title": best["title"],
        "tune_collection": best["collection"],
        "tune_file": best["file"],
        "tune_number": str(best["number"]),
        "tune_probability": round(float(best["probability"]), 4),
    }
