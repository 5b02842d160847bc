"""Tunes of the library by words of their titles."""

from __future__ import annotations

from dataclasses import dataclass

from disc.library.index.tune_index import Index
from disc.library.read.versions import plain_title
from disc.library.records import TuneKey


@dataclass(frozen=True, slots=True)
class Title:
    """A tune as listed."""

    key: TuneKey
    title: str
    collection: str


def find_titles(index: Index, words: str, most: int) -> list[Title]:
    """Tunes whose title, file and collection have all these words, in order of the library; case and accents aside."""
    wanted = plain_title(words).split()
    found: list[Title] = []
    for tune in range(index.size if wanted else 0):
        file, number, title, collection = index.rows[tune][:4]
        text = plain_title(f"{title} {collection} {file}")
        if all(word in text for word in wanted):
            found.append(Title(TuneKey(str(file), int(str(number))), str(title), str(collection)))
            if len(found) >= most:
                break
    return found
