"""Guided plucking: teeth plucked in an order that was said, and one tooth plucked again and put in.

Pitches never fall onto other numbers: the order says which tooth each place of the recording is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from disc.doubts import doubts_to_json
from disc.errors import BadInput, MissingPart
from disc.job import COMB_FILE, Job
from disc.listen.comb.doubtful import doubts_of_plucked
from disc.listen.comb.plucked import PluckedComb, PluckedTooth, comb_from_recording
from disc.listen.comb.plucked_store import PluckedFile, PluckedRow, load_plucked, stage_plucked
from disc.listen.comb.tuning_table import tuning_rows
from disc.listen.sound.audio import read_recording
from disc.records import Comb, Doubt, ToothCondition
from disc.tables import MOST_TEETH
from disc.words import Advance, no_progress

AGAIN = "plucked again alone"
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# Two recordings of one tooth differ by some cents (warmth, another clock); teeth beside each other by a semitone, or
# they are twins, of which nothing is said.
SAME_SEMITONES, APART_SEMITONES = 0.12, 0.5


def numbers_of_order(text: str) -> tuple[int, ...]:
    """The teeth of an order as written: "24,23,22" or "24-1" or both mixed. Raises BadInput if it cannot be read."""
    numbers: list[int] = []
    for part in text.replace(" ", "").split(","):
        ends = part.split("-")
        if not all(end.isdigit() for end in ends) or len(ends) > 2:
            raise BadInput(f'--order: "{part}" is no tooth and no range. Write it like 24,23,22 or 24-1.')
        first, last = int(ends[0]), int(ends[-1])
        if not 1 <= min(first, last) <= max(first, last) <= MOST_TEETH:
            raise BadInput(f"--order: {part} is no tooth; teeth are counted from 1 to {MOST_TEETH}.")
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
        (order[k], replace(row, tooth=order[k], one_of=named(row.one_of, order)), off[k])
        for k, row in enumerate(heard.teeth)
        if k < len(order)
    )
    temperament = heard.temperament
    if temperament is not None:
        temperament = replace(temperament, deviations_cents=tuple(cents for _, _, cents in rows))
    return replace(heard, teeth=tuple(row for _, row, _ in rows), temperament=temperament)


def named(places: Sequence[int], numbers: Sequence[int]) -> tuple[int, ...]:
    """The numbers of the teeth at these places in the order of plucking."""
    return tuple(sorted(numbers[place - 1] for place in places if place <= len(numbers)))


def tooth_again(job: Job, number: int, path: Path, plucks: int = 2, advance: Advance = no_progress) -> PluckedTooth:
    """One tooth plucked alone, put into the job's comb table and the last plucked recording, as one step.

    Raises MissingPart if the job has neither, BadInput if the tooth is not in the table or the recording unusable.
    """
    table = job.comb() if job.has(COMB_FILE) else None
    stored = load_plucked(job)
    if table is None and stored is None:
        raise MissingPart(f"{job.folder}: there is no comb yet. Run: disc comb {job.folder} --plucked RECORDING")
    if table is not None and number not in {tooth.number for tooth in table.teeth}:
        raise BadInput(f"--tooth is {number}, which the job's comb table does not have.")
    if not 1 <= number <= MOST_TEETH:
        raise BadInput(f"--tooth is {number}; teeth are counted from 1 to {MOST_TEETH}.")
    heard = comb_from_recording(read_recording(path), 1, plucks, advance)
    row = replace(heard.teeth[0], tooth=number) if heard.teeth else PluckedTooth(
        number, None, None, ToothCondition.DEAD, (), words="nothing rings, alone in its own recording"
    )  # fmt: skip
    if stored is not None:
        row = replace(row, words="; ".join(w for w in (row.words, left_out_words(stored.teeth, row)) if w))
    with job.step("comb --tooth", (path,)) as stage:
        if table is not None:
            job.stage_comb(stage, _with_row(table, row))
        if stored is not None:
            rows = _with_stored(stored.teeth, row)
            again = {"teeth": rows, "tuning": tuning_rows({r.tooth: r.pitch for r in rows})}
            stored = stored.model_copy(update=again)
            stage_plucked(stage, stored.model_copy(update={"doubts": doubts_to_json(_doubts_left(stored))}))
    return row


def left_out_words(rows: Sequence[PluckedRow], alone: PluckedTooth) -> str:
    """What a tooth plucked alone says of the recording of all: if it sounds as a tooth beside it does there, and not
    as its own number does, it was left out of it and numbers are shifted. Empty where nothing says so."""
    pitches = {row.tooth: row.pitch for row in rows}
    own = pitches.get(alone.tooth)
    if alone.pitch is None or (own is not None and abs(own - alone.pitch) < APART_SEMITONES):
        return ""
    for other in (alone.tooth + 1, alone.tooth - 1):
        pitch = pitches.get(other)
        if pitch is not None and abs(pitch - alone.pitch) < SAME_SEMITONES:
            return (
                f"it sounds as tooth {other} does in the recording of all teeth: if it was left out there, the teeth "
                f"plucked after it have each the next one's pitch; pluck tooth {other} alone to see"
            )
    return ""


def _with_row(table: Comb, row: PluckedTooth) -> Comb:
    return replace(table, teeth=tuple(
        replace(
            t, pitch=t.pitch if row.pitch is None else round(row.pitch, 4), condition=row.condition or t.condition,
            pitch_probability=None,
        ) if t.number == row.tooth else t
        for t in table.teeth
    ))  # fmt: skip


def _doubts_left(stored: PluckedFile) -> tuple[Doubt, ...]:
    """The doubts about the recording of all teeth, but for those that were plucked again alone since."""
    teeth = tuple(
        PluckedTooth(
            row.tooth, row.pitch, row.t60_s, row.condition, row.plucks_s, row.spread_cents, row.agrees,
            number_probability=row.number_probability, one_of=row.one_of,
        )
        for row in stored.teeth if not row.words.startswith(AGAIN)
    )  # fmt: skip
    return doubts_of_plucked(PluckedComb(teeth, None, (), stored.plucks, stored.stretches(), stored.left_over_s))


def _with_stored(rows: tuple[PluckedRow, ...], row: PluckedTooth) -> tuple[PluckedRow, ...]:
    new = PluckedRow(
        tooth=row.tooth, pitch=None if row.pitch is None else round(row.pitch, 4),
        t60_s=None if row.t60_s is None else round(row.t60_s, 3), condition=row.condition, plucks_s=row.plucks_s,
        spread_cents=None if row.spread_cents is None else round(row.spread_cents, 2), agrees=row.agrees,
        words="; ".join(w for w in (AGAIN, row.words) if w),
    )  # fmt: skip
    return tuple(sorted([new, *(r for r in rows if r.tooth != row.tooth)], key=lambda r: r.tooth))
