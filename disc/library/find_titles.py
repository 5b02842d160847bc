"""Tunes of the library by words of their titles, composers and collections."""

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
    composer: str = ""


def find_titles(index: Index, words: str, most: int) -> list[Title]:
    """Tunes whose title, composer, file and collection have all these words, in order of the library.

    Case and accents do not count.
    """
    wanted = plain_title(words).split()
    found: list[Title] = []
    for tune in range(index.size if wanted else 0):
        row = index.rows[tune]
        file, number, title, collection, composer = (str(row[i]) for i in (0, 1, 2, 3, 7))
        text = " ".join(plain_title(part) for part in (title, composer, collection, file))
        if all(word in text for word in wanted):
            found.append(Title(TuneKey(file, int(number)), title, collection, composer))
            if len(found) >= most:
                break
    return found
