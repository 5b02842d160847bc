"""Which tunes are versions of each other: same title, or the same melody under another.

Titles are compared without case, accents, articles and stops; a title that many tunes share ("Menuet", "Quick Step")
says nothing. Melodies are compared by their opening, whatever its transposition and note values.
"""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Hashable, Sequence

import numpy as np

from disc.library.records import IntArray, ReferenceTune

COMMON_TITLE = 12  # a title that more tunes share names a kind of tune
OPENING = 20  # notes of the opening that must agree
ARTICLES = re.compile(r"\b(the|a|an|der|die|das|le|la|les|el)\b")


def group_versions(tunes: Sequence[ReferenceTune]) -> IntArray:
    """Number of each tune's group, shape (n,): the index of the first tune in it."""
    parent = list(range(len(tunes)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    by_title: dict[Hashable, list[int]] = defaultdict(list)
    by_opening: dict[Hashable, list[int]] = defaultdict(list)
    for i, tune in enumerate(tunes):
        title = plain_title(tune.title)
        if len(title) > 3:
            by_title[title].append(i)
        if tune.pitch.size >= OPENING:
            by_opening[tuple(np.diff(tune.pitch[:OPENING]).tolist())].append(i)
    alike = [same for same in by_title.values() if len(same) <= COMMON_TITLE] + list(by_opening.values())
    for same in alike:
        for other in same[1:]:
            a, b = root(same[0]), root(other)
            parent[max(a, b)] = min(a, b)
    return np.array([root(i) for i in range(len(tunes))], dtype=np.int64)


def plain_title(title: str) -> str:
    """A title for comparing: "The Ranting Highlandman." and "RANTING HIGHLANDMAN" are one."""
    bare = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    bare = re.sub(r"\(.*?\)|\bs\. ?\d+|--.*$|,\s*the\b", " ", bare)
    bare = ARTICLES.sub(" ", bare)
    return " ".join(re.findall(r"[a-z0-9]+", bare))
