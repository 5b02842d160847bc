"""What was said of single bars of a job, by hand or by the reader: to be shown, and taken back one by one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from disc.errors import BadInput
from disc.records import Tune
from disc.tune.settings import parse_metre_at, parse_move


@dataclass(frozen=True, slots=True)
class SaidOfBar:
    """One thing said of a bar. words: as it is told. setting, value: where it stands, to be taken back."""

    bar: int
    words: str
    setting: str
    value: str


def said_of_bars(settings: Mapping[str, Any], tune: Tune | None) -> tuple[SaidOfBar, ...]:
    """All that was said of single bars, by bar; of new tunes also what the reader found.

    What cannot be read is left out: the reading of the tune says so.
    """
    said = []
    try:
        for text in settings.get("move_bar") or []:
            said.append(_moved(str(text)))
        for text in settings.get("metre_at") or []:
            bar, metre = parse_metre_at(str(text))
            said.append(SaidOfBar(bar, f"{metre.beats}/{metre.unit} from here", "metre_at", str(text)))
    except (BadInput, TypeError):
        pass
    said += [SaidOfBar(bar, "a new tune from here", "section_deg", str(bar)) for bar in tune_starts(tune)]
    return tuple(sorted(said, key=lambda one: one.bar))


def _moved(text: str) -> SaidOfBar:
    bar, beats = parse_move(text)
    return SaidOfBar(bar, f"line {move_words(beats)}", "move_bar", text)


def move_words(beats: Fraction) -> str:
    """ "1 beat later", "1/2 beats earlier"."""
    size = abs(beats)
    return f"{size} beat{'' if size == 1 else 's'} {'later' if beats > 0 else 'earlier'}"


def tune_starts(tune: Tune | None) -> list[int]:
    """Bars in which a later tune of the turn begins."""
    return [] if tune is None else [part.bar for part in tune.sections if part.titled]
