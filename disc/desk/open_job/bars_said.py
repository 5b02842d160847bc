"""What was said of single bars of a job, by hand or by the reader: to be shown, and taken back one by one."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from disc.errors import BadInput
from disc.records import Metre, Tune
from disc.tune.settings import parse_of_bar
from disc.turn.settings import said_bars


@dataclass(frozen=True, slots=True)
class SaidOfBar:
    """One thing said of a bar, or of a note in it. words: as it is told. setting, value: where it stands, to be taken
    back. bar: None for a note that no pin plays now.
    """

    bar: int | None
    words: str
    setting: str
    value: str


def said_of_bars(settings: Mapping[str, Any], tune: Tune | None) -> tuple[SaidOfBar, ...]:
    """All that was said of single bars, by bar; of new tunes also what the reader found.

    What cannot be read is left out: the reading of the tune says so.
    """
    said = []
    with suppress(BadInput):
        said += [_said(text) for text in said_bars(settings)]
    said += [SaidOfBar(bar, "a new tune from here", "section_deg", str(bar)) for bar in tune_starts(tune)]
    return tuple(sorted(said, key=lambda one: one.bar or 0))


def _said(text: str) -> SaidOfBar:
    bar, said = parse_of_bar(text)
    words = f"{said.beats}/{said.unit} from here" if isinstance(said, Metre) else f"line {move_words(said)}"
    return SaidOfBar(bar, words, "bars", text)


def move_words(beats: Fraction) -> str:
    """ "1 beat later", "1/2 beats earlier"."""
    size = abs(beats)
    return f"{size} beat{'' if size == 1 else 's'} {'later' if beats > 0 else 'earlier'}"


def tune_starts(tune: Tune | None) -> list[int]:
    """Bars in which a later tune of the turn begins."""
    return [] if tune is None else [part.bar for part in tune.sections if part.titled]
