"""Answers queries with known answers that others made, for their scorer; and ranks annotated tune families.

    python -m tests.bench.measure.identify_given --queries queries.json --out result.json [--levels version hard]
    python -m tests.bench.measure.identify_given --families families.json --out result.json

A queries file holds lists of discs (`queries`, `rank_queries`, `extra_queries`, `start_queries`, `two_queries` and the
like), each with an id, strikes [onset_s, pitch or rank], and perhaps rows to exclude. A families file holds melodies
[onset_quarters, duration_quarters, midi] with their family; each is asked against all the others. The result lists for
each id what was found, best first, and under `_seconds` the processor time of each query.
"""

from __future__ import annotations

import argparse
import json
import os
import tempfile
import time
from pathlib import Path
from typing import Any

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import numpy as np  # noqa: E402  (after the threads are set)

from disc.errors import BadInput  # noqa: E402
from disc.library.index.library_store import open_library  # noqa: E402
from disc.library.index.tune_index import Index, open_index, write_index  # noqa: E402
from disc.library.records import ReferenceTune, TuneKey  # noqa: E402
from disc.library.search.asked.query import make_query  # noqa: E402
from disc.library.search.find_tunes import allowed_tunes, find_tunes  # noqa: E402
from disc.tune.score.records import TICKS_PER_QUARTER  # noqa: E402
from disc.words import no_progress  # noqa: E402

TOP = 50
ASKED_QUARTER_S = 0.5  # a family's melody as a disc would play it


def answer(index: Index, doc: dict[str, Any], levels: list[str] | None, most: int) -> dict[str, Any]:
    """What is found for each query of the file."""
    result: dict[str, Any] = {"_seconds": {}}
    for form in doc:
        if not form.endswith("queries"):
            continue
        chosen = [q for q in doc[form] if levels is None or q["level"] in levels or q["id"][-1] + q["level"] in levels]
        for asked in chosen[:most]:
            started = time.process_time()
            result[asked["id"]] = _rows(index, asked, form.startswith("rank"))
            result["_seconds"][asked["id"]] = round(time.process_time() - started, 4)
    return result


def _rows(index: Index, asked: dict[str, Any], ranks: bool) -> list[list[Any]]:
    table = np.array(asked["strikes"], dtype=float)
    excluded = [TuneKey(file, int(number)) for file, number, *_ in asked.get("exclude", [])]
    try:
        query = make_query(
            table[:, 0], None if ranks else table[:, 1], table[:, 1].astype(int) if ranks else None, asked["id"]
        )
        found = find_tunes(index, query, TOP, allowed_tunes(index, None, excluded))
    except BadInput:
        return []
    return [[m.key.file, m.key.number, m.title, m.score, m.probability] for m in found]


def families(doc: dict[str, Any]) -> dict[str, Any]:
    """Each melody against all the others: their ids, likest first."""
    tunes = [_melody(number, one) for number, one in enumerate(doc["melodies"], start=1)]
    result: dict[str, Any] = {"_seconds": {}}
    with tempfile.TemporaryDirectory() as folder:
        write_index(Path(folder), tunes, np.arange(len(tunes)))
        index = open_index(Path(folder))
        for number, (one, tune) in enumerate(zip(doc["melodies"], tunes, strict=True)):
            started = time.process_time()
            allowed = np.arange(index.size) != number
            query = make_query(tune.onset_quarter * ASKED_QUARTER_S, tune.pitch.astype(float), None, str(one["id"]))
            found = find_tunes(index, query, index.size, allowed)
            result[one["id"]] = [doc["melodies"][m.key.number - 1]["id"] for m in found]
            result["_seconds"][one["id"]] = round(time.process_time() - started, 4)
    return result


def _melody(number: int, one: dict[str, Any]) -> ReferenceTune:
    table = np.array(one["notes"], dtype=float)
    ticks = np.round(table[:, :2] * TICKS_PER_QUARTER).astype(np.int64)
    bar = 1 + ticks[:, 0] // (4 * TICKS_PER_QUARTER)  # its bars are not told
    return ReferenceTune(
        TuneKey("families/melody", number), str(one["id"]), "families", ticks[:, 0], ticks[:, 1],
        table[:, 2].astype(np.int64), bar,
    )  # fmt: skip


def main() -> None:
    """Answer and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--queries", type=Path)
    parser.add_argument("--families", type=Path)
    parser.add_argument("--levels", nargs="*", help="only these levels")
    parser.add_argument("--most", type=int, default=1_000_000, help="of each form")
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    if options.families:
        result = families(json.loads(options.families.read_text(encoding="utf-8")))
    else:
        index = open_library(no_progress).index
        doc = json.loads(options.queries.read_text(encoding="utf-8"))
        result = answer(index, doc, options.levels, options.most)
    options.out.write_text(json.dumps(result, ensure_ascii=False), encoding="utf-8")
    seconds = np.array(list(result["_seconds"].values()))
    print(f"{seconds.size} queries, processor s: median {np.median(seconds):.3f}, worst {seconds.max():.3f}")


if __name__ == "__main__":
    main()
