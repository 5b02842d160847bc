"""Guided plucking: teeth plucked in an order that was said, and one tooth plucked again and put in.

Pitches never fall onto other numbers: the order says which tooth each place of the recording is.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

from disc.doubts import doubts_to_json
from disc.errors import BadInput, MissingPart
from disc.job import COMB_FILE, Job
from disc.listen.comb.doubtful import doubts_of_plucked
from disc.listen.comb.plucked import PluckedComb, PluckedTooth, comb_from_recording
from disc.listen.comb.tuning_table import tuning_rows
from disc.listen.sound.audio import read_recording
from disc.listen.sound.disturbed import Stretch
from disc.records import Comb, Doubt, ToothCondition
from disc.tables import read_text
from disc.words import Advance, no_progress

MOST_TEETH = 200
AGAIN = "plucked again alone"


def numbers_of_order(text: str) -> tuple[int, ...]:
    """The teeth of an order as written: "24,23,22" or "24-1" or both mixed. Raises BadInput if it cannot be read."""
    numbers: list[int] = []
    for part in text.replace(" ", "").split(","):
        ends = part.split("-")
        if not all(end.isdigit() for end in ends) or len(ends) > 2:
            raise BadInput(f'--order: "{part}" is no tooth and no range. Write it like 24,23,22 or 24-1.')
        first, last = int(ends[0]), int(ends[-1])
        if abs(last - first) >= MOST_TEETH:
            raise BadInput(f"--order: {part} is more than {MOST_TEETH} teeth.")
        numbers += range(first, last + 1) if last >= first else range(first, last - 1, -1)
    twice = sorted({n for n in numbers if numbers.count(n) > 1})
    if twice:
        raise BadInput(f"--order names tooth {twice[0]} twice. Name each tooth once, in the order of plucking.")
    return tuple(numbers)


def in_order(heard: PluckedComb, order: tuple[int, ...], table: Comb | None) -> PluckedComb:
    """The teeth under the numbers of the order, in the order of their numbers. Raises BadInput if one is unknown."""
    if table is not None:
        known = {tooth.number for tooth in table.teeth}
        strange = [n for n in order if n not in known]
        if strange:
            raise BadInput(f"--order names tooth {strange[0]}, which the job's comb table does not have.")
    off = heard.temperament.deviations_cents if heard.temperament is not None else (None,) * len(heard.teeth)
    rows = sorted(
        (order[k], replace(row, tooth=order[k]), off[k]) for k, row in enumerate(heard.teeth) if k < len(order)
    )
    temperament = heard.temperament
    if temperament is not None:
        temperament = replace(temperament, deviations_cents=tuple(cents for _, _, cents in rows))
    return replace(heard, teeth=tuple(row for _, row, _ in rows), temperament=temperament)


def tooth_again(
    job: Job, number: int, path: Path, plucked_file: str, plucks: int = 2, advance: Advance = no_progress
) -> PluckedTooth:
    """One tooth plucked alone, put into the job's comb table and the last plucked recording, as one step.

    Raises MissingPart if the job has neither, BadInput if the tooth is not in the table or the recording unusable.
    """
    table = job.comb() if job.has(COMB_FILE) else None
    stored = _stored(job, plucked_file)
    if table is None and stored is None:
        raise MissingPart(f"{job.folder}: there is no comb yet. Run: disc comb {job.folder} --plucked RECORDING")
    if table is not None and number not in {tooth.number for tooth in table.teeth}:
        raise BadInput(f"--tooth is {number}, which the job's comb table does not have.")
    heard = comb_from_recording(read_recording(path), 1, plucks, advance)
    row = replace(heard.teeth[0], tooth=number) if heard.teeth else PluckedTooth(
        number, None, None, ToothCondition.DEAD, (), words="nothing rings, alone in its own recording"
    )  # fmt: skip
    with job.step("comb --tooth", (path,)) as stage:
        if table is not None:
            job.stage_comb(stage, _with_row(table, row))
        if stored is not None:
            stored["teeth"] = _with_stored(stored["teeth"], row)
            pitches = {int(r["tooth"]): r["pitch"] for r in stored["teeth"]}
            stored["tuning"] = tuning_rows(pitches)
            stored["doubts"] = doubts_to_json(_doubts_left(stored))
            stage.write_text(plucked_file, json.dumps(stored, indent=1, ensure_ascii=False) + "\n")
    return row


def _with_row(table: Comb, row: PluckedTooth) -> Comb:
    return replace(table, teeth=tuple(
        replace(
            t, pitch=t.pitch if row.pitch is None else round(row.pitch, 4), condition=row.condition or t.condition
        ) if t.number == row.tooth else t
        for t in table.teeth
    ))  # fmt: skip


def _stored(job: Job, plucked_file: str) -> dict[str, Any] | None:
    path = job.path(plucked_file)
    if not path.is_file():
        return None
    try:
        content = json.loads(read_text(path, "plucked comb"))
        if not isinstance(content["teeth"], list):
            raise ValueError("its teeth are no list")
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise BadInput(f"{path}: the file is damaged ({error}). Run disc comb --plucked again.") from error
    return dict(content)


def _doubts_left(stored: dict[str, Any]) -> tuple[Doubt, ...]:
    """The doubts about the recording of all teeth, but for those that were plucked again alone since."""
    teeth = tuple(
        PluckedTooth(
            int(row["tooth"]), row["pitch"], row["t60_s"],
            None if row["condition"] is None else ToothCondition(row["condition"]), tuple(row["plucks_s"]),
            row["spread_cents"], row["agrees"],
        )
        for row in stored["teeth"] if not str(row["words"]).startswith(AGAIN)
    )  # fmt: skip
    disturbed = tuple(Stretch(float(a), float(b), bool(knock)) for a, b, knock in stored.get("disturbed", []))
    return doubts_of_plucked(PluckedComb(teeth, None, (), int(stored.get("plucks", 2)), disturbed))


def _with_stored(rows: list[dict[str, Any]], row: PluckedTooth) -> list[dict[str, Any]]:
    new = {
        "tooth": row.tooth, "pitch": None if row.pitch is None else round(row.pitch, 4),
        "t60_s": None if row.t60_s is None else round(row.t60_s, 3),
        "condition": None if row.condition is None else row.condition.value, "plucks_s": list(row.plucks_s),
        "spread_cents": None if row.spread_cents is None else round(row.spread_cents, 2), "agrees": row.agrees,
        "deviation_cents": None, "words": "; ".join(w for w in (AGAIN, row.words) if w),
    }  # fmt: skip
    return sorted([new, *(r for r in rows if r.get("tooth") != row.tooth)], key=lambda r: int(r["tooth"]))
