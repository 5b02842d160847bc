"""A plucked comb taken into a job: pitches and conditions into its comb table, plot and result beside it.

Where the job has a comb table, its teeth in order of their numbers are taken as the order of plucking. Where it has
none yet, the result is kept in out/plucked.json with the teeth numbered in order of plucking, and later steps read the
pitches from there (plucked_store.heard_pitches).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from disc.comb.from_pins import comb_from_pins
from disc.doubts import doubt_lines, doubts_to_json
from disc.errors import BadInput
from disc.job import COMB_FILE, PINS_FILE, Job
from disc.listen.comb.doubtful import doubts_of_plucked
from disc.listen.comb.guided import in_order, named
from disc.listen.comb.plucked import PluckedComb, PluckedTooth, comb_from_recording, is_plucked_in_turn
from disc.listen.comb.plucked_plot import plot_plucked
from disc.listen.comb.plucked_store import PluckedFile, stage_plucked
from disc.listen.comb.tuning_table import tuning_rows
from disc.listen.pitch_words import pitch_words
from disc.listen.sound.audio import read_recording
from disc.records import Comb, ToothCondition
from disc.results import PluckingResult
from disc.tables import MOST_TEETH
from disc.words import Advance, counted, no_progress

PLOT_FILE = "out/plucked.svg"
MOST_PLUCKS = 5  # of a tooth by --plucks; more is a slip of the key (chosen)


@dataclass(frozen=True)
class PluckedResult:
    """What was heard, with the teeth under the numbers of the job's table. in_table: whether the table has them now.
    unread: whether the job has no pins yet, of which a table could be made."""

    comb: PluckedComb
    in_table: bool
    unread: bool = False

    def as_json(self) -> dict[str, Any]:
        """Plain JSON: teeth, temperament, remarks."""
        return plucked_json(self.comb) | {"in_table": self.in_table}


def comb_from_plucked(
    job: Job, path: Path, teeth: int | None = None, plucks: int = 2, advance: Advance = no_progress,
    order: tuple[int, ...] | None = None,
) -> PluckedResult:  # fmt: skip
    """Measure the comb in a recording and store it as one step of the job, which must be open for writing.

    teeth: how many were plucked; left out, the number in the job's table, or what the recording shows. order: the
    numbers of the teeth in the order of plucking, where that is known; others then stay as they stand.
    Without a comb table the tracks of the pins, where there are pins and as many, become a draft of one.
    Raises BadInput if the recording cannot be used, nothing rings in it, or the numbers of teeth do not agree.
    """
    if order is not None:
        if teeth is not None and teeth != len(order):
            raise BadInput(f"--teeth says {teeth}, but --order names {len(order)} teeth. Leave --teeth out.")
        teeth = len(order)
    _check_counts(teeth, plucks)
    table = job.comb() if job.has(COMB_FILE) else None
    if table is not None and order is None and teeth is not None and teeth != len(table.teeth):
        raise BadInput(
            f"--teeth says {teeth}, but the job's comb table has {len(table.teeth)} teeth. Pluck all of them, or "
            "correct the table first."
        )
    count = teeth or (len(table.teeth) if table is not None and not table.draft else None)
    recording = read_recording(path)
    heard = comb_from_recording(recording, count, plucks, advance)
    if not any(tooth.pitch is not None for tooth in heard.teeth):
        raise BadInput(f"{path}: no ringing tooth is heard in this recording. Record closer to the comb, in quiet.")
    if not is_plucked_in_turn(heard):
        raise BadInput(
            f"{path}: this is no comb plucked tooth by tooth: the same pitches come back far apart. Pluck each tooth "
            f"{plucks} times, one after the other; a recorded turn goes to disc listen."
        )
    plot = plot_plucked(recording, heard)
    if table is None:
        table, heard = _from_tracks(job, heard)
    if order is not None:
        heard = in_order(heard, order, table)
    elif table is not None:
        heard = _renumbered(heard, table)
    with job.step("comb --plucked", (path,)) as stage:
        fits = table is not None and (order is not None or len(heard.teeth) == len(table.teeth))
        if table is not None and fits:
            job.stage_comb(stage, with_heard(table, heard))
        result = PluckedResult(heard, fits, not job.has(PINS_FILE))
        stage_plucked(stage, PluckedFile.model_validate(result.as_json()))
        stage.write_text(PLOT_FILE, plot)
        job.content.keep(PluckingResult(file=path.name, **_summary(heard)))
    return result


def _from_tracks(job: Job, heard: PluckedComb) -> tuple[Comb | None, PluckedComb]:
    """(a draft comb from the tracks of the job's pins, if there are as many as teeth were heard, what was heard)."""
    if not job.has(PINS_FILE):
        return None, heard
    draft, _ = comb_from_pins(job.pins())
    if len(draft.teeth) == len(heard.teeth):
        words = "the comb is a draft: the pins' tracks in order, taken as the order of plucking; check one tooth of it"
        return draft, replace(heard, remarks=(*heard.remarks, words))
    words = f"the pins lie on {len(draft.teeth)} tracks, {len(heard.teeth)} teeth are heard: no comb is made of them"
    return None, replace(heard, remarks=(*heard.remarks, words))


def _check_counts(teeth: int | None, plucks: int) -> None:
    if teeth is not None and not 1 <= teeth <= MOST_TEETH:
        raise BadInput(f"--teeth is {teeth}; a comb has 1 to {MOST_TEETH} teeth.")
    if not 1 <= plucks <= MOST_PLUCKS:
        raise BadInput(f"--plucks is {plucks}; pluck each tooth 1 to {MOST_PLUCKS} times.")


def _renumbered(heard: PluckedComb, table: Comb) -> PluckedComb:
    numbers = sorted(tooth.number for tooth in table.teeth)
    if len(heard.teeth) != len(numbers):
        return replace(heard, remarks=(
            *heard.remarks,
            f"{len(heard.teeth)} teeth are heard, but the table has {len(numbers)}: the table is left as it was",
        ))  # fmt: skip
    return replace(heard, teeth=tuple(
        replace(t, tooth=number, one_of=named(t.one_of, numbers))
        for t, number in zip(heard.teeth, numbers, strict=True)
    ))  # fmt: skip


def with_heard(table: Comb, heard: PluckedComb) -> Comb:
    """The table with pitch and condition of every tooth that was heard; what was not heard stays as it stands."""
    by_number = {tooth.tooth: tooth for tooth in heard.teeth}
    teeth = []
    for tooth in table.teeth:
        found = by_number.get(tooth.number)
        if found is not None:
            pitch = tooth.pitch if found.pitch is None else round(found.pitch, 4)
            tooth = replace(
                tooth, pitch=pitch, condition=found.condition or tooth.condition,
                pitch_probability=_rounded(found.number_probability),
            )  # fmt: skip
        teeth.append(tooth)
    return replace(table, teeth=tuple(teeth))


# ---- as JSON and in words


def plucked_json(comb: PluckedComb) -> dict[str, Any]:
    """Plain JSON of a plucked comb, without a job."""
    temperament = comb.temperament
    return {
        "teeth": [_tooth_json(tooth, k, comb) for k, tooth in enumerate(comb.teeth)],
        "temperament": None if temperament is None else {
            "scale": temperament.scale, "tonic": temperament.tonic, "a_hz": temperament.a_hz,
            "usual_deviation_cents": temperament.usual_cents,
        },
        "tuning": tuning_rows({tooth.tooth: tooth.pitch for tooth in comb.teeth}),
        "remarks": list(comb.remarks),
        "undecided": [tooth.tooth for tooth in comb.teeth if tooth.one_of],
        "plucks": comb.plucks,
        "disturbed": [[round(s.start_s, 2), round(s.end_s, 2), s.is_knock] for s in comb.disturbed],
        "left_over_s": [round(at, 2) for at in comb.left_over_s],
        "doubts": doubts_to_json(doubts_of_plucked(comb)),
    }  # fmt: skip


def _tooth_json(tooth: PluckedTooth, k: int, comb: PluckedComb) -> dict[str, Any]:
    return {
        "tooth": tooth.tooth,
        "pitch": None if tooth.pitch is None else round(tooth.pitch, 4),
        "t60_s": None if tooth.t60_s is None else round(tooth.t60_s, 3),
        "condition": None if tooth.condition is None else tooth.condition.value,
        "plucks_s": list(tooth.plucks_s),
        "spread_cents": None if tooth.spread_cents is None else round(tooth.spread_cents, 2),
        "agrees": tooth.agrees,
        "deviation_cents": None if comb.temperament is None else comb.temperament.deviations_cents[k],
        "number_probability": _rounded(tooth.number_probability),
        "one_of": list(tooth.one_of),
        "words": tooth.words,
    }


def _rounded(probability: float | None) -> float | None:
    return None if probability is None else round(min(1.0, probability), 3)


def _summary(comb: PluckedComb) -> dict[str, Any]:
    counts = {c.value: sum(t.condition is c for t in comb.teeth) for c in ToothCondition}
    a_hz = None if comb.temperament is None else comb.temperament.a_hz
    return {"teeth": len(comb.teeth), "conditions": counts, "a_hz": a_hz, "remarks": list(comb.remarks)}


def plucked_words(result: PluckedResult) -> list[str]:
    """The result in lines for a person."""
    comb = result.comb
    lines = [f"{counted(len(comb.teeth), 'tooth', 'teeth')} in order of plucking."]
    if comb.temperament is not None:
        t = comb.temperament
        lines.append(f"Nearest scale: {t.scale}; A = {t.a_hz:.1f} Hz; teeth usually {t.usual_cents:.1f} cents off it.")
    lines += _tuning_words(comb)
    for k, tooth in enumerate(comb.teeth):
        off = None if comb.temperament is None else comb.temperament.deviations_cents[k]
        lines.append(tooth_words(tooth, off))
    lines += [f"Note: {remark}." for remark in comb.remarks]
    lines += doubt_lines(doubts_of_plucked(comb))
    if result.in_table:
        lines.append("The comb table has these pitches and conditions now.")
    else:
        lines.append("The comb's table has not been changed; the pitches are kept in out/plucked.json.")
        if result.unread:
            lines.append("A table needs the pins too: read the photographs, then give this recording once more.")
    lines.append("Each pluck's spectrum and decay: out/plucked.svg.")
    return lines


def _tuning_words(comb: PluckedComb) -> list[str]:
    """Twins that beat against each other, and the caution that goes with any wish to tune."""
    table = tuning_rows({tooth.tooth: tooth.pitch for tooth in comb.teeth})
    if table is None:
        return []
    apart = [r for r in table["teeth"] if r["twin"] is not None and r["tooth"] < r["twin"] and r["twin_cents"]]
    if not apart:
        return []
    pairs = ", ".join(f"{r['tooth']} and {r['twin']} {abs(r['twin_cents']):.0f}" for r in apart)
    return [f"Teeth of one note, cents apart: {pairs}. Old tuning is part of the object: leave it as it is."]


def tooth_words(tooth: PluckedTooth, off_cents: float | None) -> str:
    """One tooth in a line for a person. off_cents: from the nearest scale."""
    condition = "open" if tooth.condition is None else tooth.condition.value
    if tooth.pitch is None or tooth.t60_s is None:
        return f"{tooth.tooth:3d}  {condition:9s} {tooth.words}"
    off = "" if off_cents is None else f" {off_cents:+6.1f} cents"
    words = f"  ({tooth.words})" if tooth.words else ""
    return f"{tooth.tooth:3d}  {condition:9s} {pitch_words(tooth.pitch)}{off}  rings {tooth.t60_s:.2f} s{words}"
