"""What a disc plays, from a file or a job: strikes.csv, MIDI, MusicXML, ABC, kern, or a job folder."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from pathlib import Path

import numpy as np

from disc.errors import BadInput, MissingPart
from disc.library.search.asked.query import NORMAL_QUARTER_S, Query, make_query
from disc.tables import read_text
from disc.tune.score.records import TICKS_PER_QUARTER

# With fewer of the strikes pitched, the order of the teeth tells more than the pitches. Common practice, no source.
LEAST_PITCHED = 0.5
TABLE_SUFFIXES = frozenset({".csv", ".tsv", ".txt"})


def read_queries(path: Path) -> list[tuple[str, Query]]:
    """(name, query) of each tune in the file, or of the job. Raises BadInput naming the file and what to do."""
    if path.is_dir():
        return [(str(path), query_of_job(path))]
    if not path.is_file():
        raise BadInput(f"{path}: no file and no job here.")
    if path.suffix.lower() in TABLE_SUFFIXES:
        return [(str(path), _from_table(path))]
    if path.suffix.lower() == ".abc":
        return _from_abc(path)
    return _from_score(path)


def query_of_job(folder: Path) -> Query:
    """The strikes of a job's disc: by pitch where its comb is tuned, else by the order of its teeth."""
    from disc.job import open_job
    from disc.turn.turn_of_job import turn_of_pins

    job = open_job(folder)
    turn = turn_of_pins(job, job.pins(), job.comb(), read_tune=False)
    strikes = turn.strikes
    if not strikes:
        raise MissingPart(f"{folder}: no pin sounds a tooth yet. Run: disc comb {folder} --table FILE (or --from-pins)")
    known = [(strike.onset_s, strike.pitch) for strike in strikes if strike.pitch is not None]
    if len(known) >= LEAST_PITCHED * len(strikes):
        pitched = np.array(known, dtype=np.float64)
        return make_query(pitched[:, 0], pitched[:, 1], None, str(folder))
    onset_s = np.array([strike.onset_s for strike in strikes])
    if job.comb().draft:  # its teeth are numbered by radius, which says nothing about their pitch
        raise MissingPart(
            f"{folder}: the comb is a draft without pitches. Give its table (disc comb JOB --table F), a recording "
            "(--plucked), or the order of its teeth (disc transcribe --order)."
        )
    # Teeth of a measured comb are numbered from the lowest on: common practice of comb tables, no source.
    return make_query(onset_s, None, np.array([strike.tooth for strike in strikes]), str(folder))


def _from_table(path: Path) -> Query:
    text = read_text(path, "table of strikes")
    lines = [line for line in text.splitlines() if line.strip()]
    if not lines:
        raise BadInput(f"{path}: the file is empty. It needs the columns onset_s,pitch or onset_s,rank.")
    separator = next((sign for sign in ("\t", ";", ",") if sign in lines[0]), ",")
    head = [cell.strip().strip('"').lower() for cell in lines[0].split(separator)]
    value = "pitch" if "pitch" in head else "rank" if "rank" in head else ""
    when = "onset_s" if "onset_s" in head else "order" if "order" in head else ""
    if not when or not value:
        raise BadInput(
            f"{path}: its first line must name the columns onset_s,pitch or onset_s,rank (order in place of onset_s "
            f"where no times are known); it says {lines[0][:60]!r}."
        )
    columns = (head.index(when), head.index(value))
    onset, values = [], []
    for number, row in enumerate(csv.reader(text.splitlines(), delimiter=separator), start=1):
        if number == 1 or not any(cell.strip() for cell in row):
            continue
        cells = [row[column].strip() if column < len(row) else "" for column in columns]
        if separator != ",":
            cells = [cell.replace(",", ".") for cell in cells]
        try:
            pair = [float(cell) for cell in cells]
        except ValueError:
            raise BadInput(
                f"{path} line {number}: {','.join(cells)!r} is not two numbers. Correct that line."
            ) from None
        if not all(map(math.isfinite, pair)):
            raise BadInput(f"{path} line {number}: {','.join(cells)!r} is not two numbers. Correct that line.")
        onset.append(pair[0])
        values.append(pair[1])
    found, moments = np.array(values), np.array(onset)
    if when == "order":
        moments = np.unique(moments, return_inverse=True)[1] * NORMAL_QUARTER_S
    by_pitch = value == "pitch"
    query = make_query(moments, found if by_pitch else None, None if by_pitch else found, str(path))
    return replace(query, timed=when == "onset_s")


def _from_abc(path: Path) -> list[tuple[str, Query]]:
    from disc.library.read.read_files import read_file

    try:
        tunes = read_file(path, path.name, "")
    except ValueError as fault:
        raise BadInput(f"{path}: {fault}.") from fault
    if not tunes:
        raise BadInput(f"{path}: no tune with notes in it.")
    names = [str(path) if len(tunes) == 1 else f"{path}:{tune.key.number}" for tune in tunes]
    return [
        (name, make_query(t.onset_tick / TICKS_PER_QUARTER * NORMAL_QUARTER_S, t.pitch.astype(np.float64), None, name))
        for name, t in zip(names, tunes, strict=True)
    ]


def _from_score(path: Path) -> list[tuple[str, Query]]:
    from disc.tune.score.read_score import read_score

    scores = read_score(path)
    queries = []
    for place, score in enumerate(scores, start=1):
        name = str(path) if len(scores) == 1 else f"{path}:{place}"
        quarter_s = score.quarter_s or NORMAL_QUARTER_S
        onset_s = np.array([float(note.onset_quarter) * quarter_s for note in score.notes])
        pitch = np.array([float(note.pitch) for note in score.notes])
        queries.append((name, make_query(onset_s, pitch, None, name)))
    return queries
