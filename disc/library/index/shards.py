"""The same search over a library too large for one index: shards, searched on Dask workers, answers merged.

A shard is an ordinary index in a folder that every worker can reach. Scores of different shards compare directly, since
a score speaks of one tune and the disc alone. Needs the extra: pip install disc[collection].
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from disc.library.index.tune_index import Index, open_index, write_index
from disc.library.read.versions import group_versions
from disc.library.records import Match, ReferenceTune
from disc.library.search.asked.query import Query
from disc.library.search.find_tunes import find_tunes


def write_shards(folder: Path, tunes: Sequence[ReferenceTune], most: int) -> list[Path]:
    """Write the tunes as shards of at most `most` tunes; groups of versions are numbered over all of them."""
    groups = group_versions(tunes)
    places = []
    for number, begin in enumerate(range(0, len(tunes), most)):
        place = folder / f"shard-{number:05d}"
        write_index(place, tunes[begin : begin + most], groups[begin : begin + most])
        places.append(place)
    return places


def find_in_shards(client: Any, shards: Sequence[Path], query: Query, top: int = 10) -> list[Match]:
    """The likeliest tunes of all shards, best first. client: a dask.distributed Client."""
    parts = client.gather([client.submit(_find_in_one, str(place), query, top, pure=False) for place in shards])
    return merge(parts, top)


def merge(parts: Sequence[list[Match]], top: int) -> list[Match]:
    """Answers of several shards as one: by score, and no more certain than the best of another group lets it be."""
    matches = sorted((match for part in parts for match in part), key=lambda match: (-match.score, match.key))
    if not matches:
        return []
    rivals = [match.score for match in matches if match.group != matches[0].group]
    lead = 1.0 / (1.0 + np.exp(-(matches[0].score - rivals[0]) / 4.0)) if rivals else 1.0
    first = matches[0].probability * (2.0 * float(lead) - 1.0 if rivals else 1.0)
    left = 1.0 - first
    shared = [matches[0]] + [_with_probability(match, min(match.probability, left)) for match in matches[1:top]]
    return [_with_probability(shared[0], first), *shared[1:]]


def _with_probability(match: Match, probability: float) -> Match:
    from dataclasses import replace

    return replace(match, probability=round(probability, 4))


_OPEN: dict[str, Index] = {}


def _find_in_one(place: str, query: Query, top: int) -> list[Match]:
    """Runs on a worker, which keeps its shards open."""
    if place not in _OPEN:
        _OPEN[place] = open_index(Path(place))
    return find_tunes(_OPEN[place], query, top)
