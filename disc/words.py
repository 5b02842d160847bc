"""What a command says: words on a terminal, one JSON object with --json, a progress bar for longer work.

Commands use this module only; the rooms return values and never print. What rooms and commands word alike is here too.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, is_dataclass
from enum import Enum
from fractions import Fraction
from pathlib import Path
from typing import Any, Protocol

from disc.terminal import printable

CAUTIONS = {
    "train": "Let the mainsprings down before the fly, the endless screw or any wheel of the music train is freed: "
    "a train that runs away strips pins and teeth and can injure.",
    "eyes": "Wear eye protection when drilling, pulling or cutting pins.",
    "lead": "Teeth may carry lead: make no sanding dust, and wash your hands.",
    "mercury": "Old gilding may hold mercury: no heat, no abrasive.",
    "solvents": "Keep solvents away from flame.",
    "untouched": "An antique may be worth more untouched: record first, prefer what can be undone, and leave to a "
    "qualified conservator what you have not done before; local rules on hazardous substances and on cultural "
    "property come first.",
}


def say(*lines: str) -> None:
    """Lines for a person, on standard output."""
    for line in lines:
        print(printable(line))


def note(line: str) -> None:
    """A line for a person on standard error: what happened beside what was asked for; --json answers stay whole."""
    print(f"disc: {printable(line)}", file=sys.stderr)


def say_cautions(*keys: str) -> None:
    """The named cautions, as the house says them; all of them if none is named."""
    say("", "Before you handle the object:")
    say(*(f"  - {CAUTIONS[key]}" for key in keys or CAUTIONS))


def show_json(value: Any) -> None:
    """One JSON value on standard output; with --json nothing else is printed there."""
    print(json.dumps(plain(value), ensure_ascii=(sys.stdout.encoding or "").lower().replace("-", "") != "utf8"))


def plain(value: Any) -> Any:
    """A record, enum, fraction, path or array as plain JSON material."""
    if is_dataclass(value) and not isinstance(value, type):
        return plain(asdict(value))
    if isinstance(value, dict):
        return {str(plain(k)): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(v) for v in value]
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Fraction):
        return float(value)
    if isinstance(value, Path):
        return str(value)
    if hasattr(value, "tolist"):  # numpy scalars and arrays, without importing numpy
        return value.tolist()
    return value


def chance(probability: float) -> str:
    """A probability, 0 to 1, as it is told to a person: never certain, never none."""
    per_cent = round(100.0 * probability)
    return "> 99 %" if per_cent > 99 else "< 1 %" if per_cent < 1 else f"{per_cent} %"


def how_sure(probability: float | None) -> str:
    """How sure it is of what was read; None: a person gave it, and nothing was to be told."""
    return "as given" if probability is None else f"probability {chance(probability)}"


def counted(n: int, one: str, many: str = "") -> str:
    """A count with what is counted: "1 note", "2 notes". many: where it is not `one` with an s."""
    return f"{n} {one if n == 1 else many or one + 's'}"


# From which probability on which word is used where a percentage would say more than is known.
# Probability from which each is said; wording only, chosen by hand.
SURE_WORDS = ((0.98, "hardly in doubt"), (0.8, "likely"), (0.5, "sooner so than not"), (0.0, "in doubt"))


def likely(probability: float) -> str:
    """A probability, 0 to 1, in a word."""
    return next(word for least, word in SURE_WORDS if probability >= least)


class Advance(Protocol):
    """Called by long work: the share done (0 to 1) and what is being done."""

    def __call__(self, done: float, doing: str = "") -> None:
        """Report progress."""


def no_progress(done: float, doing: str = "") -> None:
    """An Advance that says nothing."""


@contextmanager
def progress(title: str, quiet: bool = False) -> Iterator[Advance]:
    """A progress bar on standard error, only where that is a terminal."""
    if quiet or not sys.stderr.isatty():
        yield no_progress
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=1.0)

        def advance(done: float, doing: str = "") -> None:
            bar.update(task, completed=done, description=f"{title}: {doing}" if doing else title)

        yield advance
