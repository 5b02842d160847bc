"""Which tunes are versions of each other: same title, or the same melody under another.

Titles are compared without case, accents, articles and stops; a title that many tunes share ("Menuet", "Quick Step")
says nothing. Melodies are compared by their opening, whatever its transposition and note values. Both are kept as one
number a tune, so that a library that grows need not be read again to be grouped.
"""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Sequence
from hashlib import blake2b

import numpy as np

from disc.library.records import IntArray, ReferenceTune

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
COMMON_TITLE = 12  # a title that more tunes share names a kind of tune
SHORTEST_TITLE = 4  # letters
OPENING = 20  # notes of the opening that must agree
NONE = 0  # the number of a title or an opening that says nothing; by definition
ARTICLES = re.compile(r"\b(the|a|an|der|die|das|le|la|les|el)\b")


def group_versions(tunes: Sequence[ReferenceTune]) -> IntArray:
    """Number of each tune's group, shape (n,): the index of the first tune in it."""
    return groups_of(title_keys([tune.title for tune in tunes]), opening_keys([tune.pitch for tune in tunes]))


def title_keys(titles: Sequence[str]) -> IntArray:
    """A number of each title, equal for titles that are one; NONE where it says nothing."""
    plain = [plain_title(title) for title in titles]
    return np.array([_number(title.encode()) if len(title) >= SHORTEST_TITLE else NONE for title in plain], np.int64)


def opening_keys(pitches: Sequence[IntArray]) -> IntArray:
    """A number of each opening, equal for openings that are one; NONE where a tune is too short."""
    return np.array(
        [
            _number(np.diff(pitch[:OPENING].astype(np.int64)).tobytes()) if pitch.size >= OPENING else NONE
            for pitch in pitches
        ],
        dtype=np.int64,
    )


def groups_of(title_key: IntArray, opening_key: IntArray) -> IntArray:
    """Number of each tune's group, shape (n,), by the numbers of its title and opening."""
    parent = list(range(title_key.size))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    alike = [same for same in _sharing(title_key) if len(same) <= COMMON_TITLE] + _sharing(opening_key)
    for same in alike:
        for other in same[1:]:
            a, b = root(same[0]), root(other)
            parent[max(a, b)] = min(a, b)
    return np.array([root(i) for i in range(len(parent))], dtype=np.int64)


def _sharing(key: IntArray) -> list[list[int]]:
    by_key: dict[int, list[int]] = defaultdict(list)
    for i, number in enumerate(key.tolist()):
        if number != NONE:
            by_key[number].append(i)
    return list(by_key.values())


def _number(content: bytes) -> int:
    return int.from_bytes(blake2b(content, digest_size=8).digest(), "little", signed=True)


def plain_title(title: str) -> str:
    """A title for comparing: "The Ranting Highlandman." and "RANTING HIGHLANDMAN" are one."""
    bare = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    bare = re.sub(r"\(.*?\)|\bs\. ?\d+|--.*$|,\s*the\b", " ", bare)
    bare = ARTICLES.sub(" ", bare)
    return " ".join(re.findall(r"[a-z0-9]+", bare))
