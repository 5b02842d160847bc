"""What a person fixed for the reading of a turn, as stored in a job (words), and as records."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from disc.errors import BadInput
from disc.frame import FULL_TURN_DEG
from disc.job.places_said import NOTES, PlaceSaid, notes_said
from disc.tune.settings import LATER, TuneSettings, parse_key, parse_length, parse_metre, parse_of_bar
from disc.turn.swing import OVERLAP, Overlap, overlap_said
from disc.turn.tips import DEFAULT_LIMIT_DEG
from disc.words import counted

# Where earlier versions kept metres and moved lines, apart: the metres were laid over the tune first.
EARLIER_NAMES = ("metre_at", "move_bar")
SETTING_NAMES = (
    "metre",
    "key",
    "upbeat",
    "beats",
    "quarter_deg",
    "title",
    "order",
    "tip_limit",
    "section_deg",
    "bars",
    LATER,
    NOTES,
    OVERLAP,
    *EARLIER_NAMES,
)
ACCEPTED_SETTING = "tune.accepted"  # the tune that a person said is this disc's (library/accepted.py)
OF_A_BAR = ("metre_at", "move_bar")  # "2/4@17", "17 1": what is said of one bar leaves what was said of others


@dataclass(frozen=True, slots=True)
class TurnSettings:
    """tune: what is fixed of the music. order: teeth from low to high, to guess pitches by. tip_limit_deg: see tips.

    notes: what was said of single notes, by places; which pins stand there the turn itself knows (one_turn.py).
    overlap: of pins and tips, where a design set it.
    """

    tune: TuneSettings = field(default_factory=TuneSettings)
    order: str | None = None
    tip_limit_deg: float = DEFAULT_LIMIT_DEG
    notes: tuple[PlaceSaid, ...] = ()
    overlap: Overlap | None = None


USUAL_SETTINGS = TurnSettings()


def merge_settings(old: Mapping[str, Any], given: Mapping[str, Any]) -> dict[str, Any]:
    """The settings of this room in force: those stored with the given ones over them; "auto" forgets one."""
    merged = {name: old[name] for name in SETTING_NAMES if name in old}
    for name, value in given.items():
        if value is None:
            continue
        if name in OF_A_BAR:
            kept = [word for word in said_bars(merged) if value != "auto" or ("@" in word) != (name == "metre_at")]
            merged = with_said_bars(merged, kept if value == "auto" else [*kept, value])
        elif value == "auto":
            merged.pop(name, None)
        else:
            merged[name] = value
    return merged


def said_bars(stored: Mapping[str, Any]) -> list[str]:
    """What was said of single bars ("2/4@17", "17 1"), in its order. Raises BadInput where that is no list of words."""
    return [word for name in (*EARLIER_NAMES, "bars") for word in _words(stored, name)]


def with_said_bars(stored: Mapping[str, Any], said: list[str]) -> dict[str, Any]:
    """The settings with this said of single bars, and nothing else."""
    rest = {name: value for name, value in stored.items() if name not in ("bars", *EARLIER_NAMES)}
    return rest | ({"bars": said} if said else {})


def turn_settings(stored: Mapping[str, Any]) -> TurnSettings:
    """Settings as stored in a job to the record. Raises BadInput for words that cannot be read."""
    order = stored.get("order")
    try:
        limit_deg = float(stored.get("tip_limit", DEFAULT_LIMIT_DEG))
    except (TypeError, ValueError):
        raise BadInput(f"the tips' limit {stored['tip_limit']!r} cannot be read. Write degrees, such as 1.0.") from None
    order = None if order is None else str(order)
    return TurnSettings(settings_from(stored), order, limit_deg, notes_said(stored), overlap_said(stored))


def settings_from(stored: Mapping[str, Any]) -> TuneSettings:
    """What is fixed of the music, as stored (words), to the record. Raises BadInput for words that cannot be read."""
    beats = stored.get("beats")
    try:
        number = None if beats is None else int(beats)
    except (TypeError, ValueError):
        raise BadInput(f"the number of beats {beats!r} cannot be read. Write a whole number, such as 64.") from None
    if number is not None and number < 4:
        beats = f"{counted(number, 'beat')} {'is' if number == 1 else 'are'}"
        raise BadInput(f"{beats} too few for a turn. Count from the first note to the end of the last bar.")
    return TuneSettings(
        metre=parse_metre(stored["metre"]) if "metre" in stored else None,
        key=parse_key(stored["key"]) if "key" in stored else None,
        upbeat=parse_length(stored["upbeat"]) if "upbeat" in stored else None,
        beats=number,
        quarter_deg=_quarter_deg(stored.get("quarter_deg")),
        title=str(stored.get("title", "")),
        section_deg=_section_deg(stored.get("section_deg")),
        bars=tuple(map(parse_of_bar, said_bars(stored))),
        later=_later(stored.get(LATER, [])),
    )


def _later(stored: object) -> tuple[TuneSettings, ...]:
    """What a design knows of the tunes after the first. Raises BadInput where that is no list of settings."""
    if not isinstance(stored, list | tuple) or not all(isinstance(one, Mapping) for one in stored):
        raise BadInput(f"the setting {LATER} must be a list of settings, one a tune. Take it out of job.json.")
    return tuple(settings_from({name: one[name] for name in one if name != LATER}) for one in stored)


def _words(stored: Mapping[str, Any], name: str) -> list[str]:
    """A setting that is a list of words, as stored. Raises BadInput."""
    found = stored.get(name, [])
    if not isinstance(found, list | tuple) or not all(isinstance(word, str) for word in found):
        raise BadInput(f"the setting {name} must be a list of words, not {str(found)[:40]!r}. Take it out of job.json.")
    return list(found)


def _section_deg(stored: object) -> tuple[float, ...] | None:
    if stored is None:
        return None
    try:
        return tuple(sorted(float(str(deg)) for deg in stored)) if isinstance(stored, (list, tuple)) else ()
    except ValueError:
        raise BadInput(
            f"the sections {stored!r} cannot be read. Say them again: disc transcribe --section-at"
        ) from None


def _quarter_deg(stored: object) -> float | None:
    """Degrees of turn for a quarter, as stored or typed. Raises BadInput."""
    if stored is None:
        return None
    try:
        degrees = float(str(stored))
    except ValueError:
        degrees = math.nan
    if not 0 < degrees < FULL_TURN_DEG:  # nan fails as well
        raise BadInput(f"the turn for a quarter, {stored!r}, cannot be read. Write it in degrees, such as 4.5.")
    return degrees
