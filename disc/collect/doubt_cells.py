"""What is in doubt about the discs of a collection: a cell of each disc's row, and one doubt a kind for all of them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from disc.collect.rows import DONE, DiscRow
from disc.doubts import in_order
from disc.records import About, Doubt

BETWEEN = " | "
MOST_NAMED = 6  # discs named in a sentence; chosen by hand


def cell_of(doubts: Iterable[Doubt]) -> str:
    """The doubts of one disc as a cell of the table, each as "about, side: what is in doubt"."""
    parts = [f"{d.about.value}{f', {d.side.value}' if d.side else ''}: {d.say}" for d in in_order(doubts)]
    return BETWEEN.join(parts)


def collected_doubts(rows: Sequence[DiscRow]) -> tuple[Doubt, ...]:
    """One doubt for each kind that the rows name: how many discs, and which."""
    discs: dict[About, list[str]] = defaultdict(list)
    done = [row for row in rows if row.status == DONE]
    for row in done:
        for about in {part.split(":")[0].split(",")[0] for part in row.doubts.split(BETWEEN)}:
            if about in set(About):
                discs[About(about)].append(row.name)
    return in_order(_doubt(about, names, len(done)) for about, names in discs.items())


def _doubt(about: About, names: Sequence[str], of: int) -> Doubt:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    say = f"{len(names)} of {of} discs: {', '.join(names[:MOST_NAMED])}{more}."
    return Doubt(about, say, "What it is, and of which disc, stands in the column doubts of collection.csv.")
