"""Doubts as every command tells them: lines for a person, one JSON form, and back from what was stored.

A doubt is made where the fact is known (records.Doubt); how it reads is decided here alone, so that a terminal, a
page, a paper and a --json answer never word the same doubt in two ways. A paper in another language says a doubt whole
or leaves it in English, never half of each.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from disc.errors import BadInput
from disc.records import About, Doubt, Side
from disc.words import chance

if TYPE_CHECKING:
    from disc.locale.said import Said

# What makes everything after it worthless is told first: no disc at all, then what turns all places about, then what
# is only not known.
ORDER = (
    About.DISC,
    About.FACES,
    About.DIRECTION,
    About.DIAMETER,
    About.SLOT,
    About.COMB,
    About.TUNE,
    About.FACE,
    About.COVERED,
    About.SHARP,
    About.STALE,
    About.ASSUMED,
)


# What was given may be wrong in these ways; then places are on another face, another disc or at another angle. (The way
# of turning moves no place.)
WRONGLY_GIVEN = (About.FACES, About.DIAMETER, About.DISC, About.COMB, About.SLOT)
TOLD_FROM = 0.5  # probability; told where it is likelier than not, chosen
# Unless said otherwise: chosen by hand, not measured.
# A face counts as blurred from here on; a photograph that was only set aside is a plain fact, probability 1.
BLURRED_FROM = 0.95
NOT_TRIED = (
    "While this is open, do not rely on the percentages below: they were tried on whole discs whose facts were given "
    "rightly."
)


class StoredDoubt(BaseModel):
    """One doubt as it stands in a file or a --json answer."""

    model_config = ConfigDict(extra="forbid")

    about: About
    side: Side | None = None
    say: str
    advice: str = ""
    probability: float = Field(default=1.0, ge=0.0, le=1.0)


def in_order(doubts: Iterable[Doubt]) -> tuple[Doubt, ...]:
    """The doubts, the gravest kind first, of one kind the surest first; what is said twice stays once."""
    once = tuple(dict.fromkeys(doubts))
    return tuple(sorted(once, key=lambda doubt: (ORDER.index(doubt.about), -doubt.probability)))


def doubt_lines(doubts: Iterable[Doubt]) -> list[str]:
    """One line a doubt, as a person reads it; none where there is nothing in doubt."""
    return [doubt_line(doubt) for doubt in in_order(doubts)]


def doubt_line(doubt: Doubt) -> str:
    """What is in doubt, how sure that is where it is not plain fact, and what settles it."""
    where = f", {doubt.side.value} side" if doubt.side else ""
    sure = "" if doubt.probability >= 1.0 else f" ({chance(doubt.probability)})"
    return f"In doubt ({doubt.about.value}{where}): {doubt.say}{sure}" + (f" {doubt.advice}" if doubt.advice else "")


def doubt_in(doubt: Doubt, said: Said) -> str:
    """The same line in the reader's language, if all of it can be said there; else as doubt_line has it."""
    if said.language == "en":
        return doubt_line(doubt)
    before = set(said.unknown)
    side = f", {said(f'{doubt.side.value} side')}" if doubt.side else ""
    sure = "" if doubt.probability >= 1.0 else f" ({chance(doubt.probability)})"
    colon = "\u00a0:" if said.language == "fr" else ":"
    label = f"{said('In doubt')} ({said(doubt.about.value)}{side})"
    line = f"{label}{colon} {said(doubt.say)}{sure}" + (f" {said(doubt.advice)}" if doubt.advice else "")
    if said.unknown == before:
        return line
    said.unknown = before
    return doubt_line(doubt)


def doubts_to_json(doubts: Iterable[Doubt]) -> list[dict[str, Any]]:
    """The value of "doubts" in every --json answer and stored record, in the same order as the lines."""
    return [
        {
            "about": doubt.about.value,
            "side": doubt.side.value if doubt.side else None,
            "say": doubt.say,
            "advice": doubt.advice,
            "probability": round(doubt.probability, 4),
        }
        for doubt in in_order(doubts)
    ]


def doubts_from_json(items: Sequence[Any], where: str = "the stored doubts") -> tuple[Doubt, ...]:
    """What doubts_to_json wrote. Raises BadInput, naming where it stood, if it is damaged."""
    try:
        stored = [StoredDoubt.model_validate(item) for item in items]
    except (ValidationError, TypeError) as error:
        reason = " ".join(str(error).split())
        raise BadInput(f"{where}: damaged ({reason}). Read the photographs again.") from error
    return tuple(Doubt(s.about, s.say, s.advice, s.side, s.probability) for s in stored)


def misfits(doubts: Iterable[Doubt]) -> tuple[Doubt, ...]:
    """Doubts, weighed and likely, that something was given wrongly: nothing irreversible is ordered beside them.

    What was merely never said (a plain fact, probability 1) is not among them.
    """
    return tuple(d for d in doubts if d.about in WRONGLY_GIVEN and TOLD_FROM <= d.probability < 1.0)


def blurred_faces(doubts: Iterable[Doubt]) -> frozenset[Side]:
    """Faces whose photograph is too blurred for the reading's own certainty, which was tried on sharp ones, to hold."""
    sharp = (d for d in doubts if d.about is About.SHARP and BLURRED_FROM <= d.probability < 1.0)
    return frozenset(d.side for d in sharp if d.side is not None)


def untried_lines(doubts: Sequence[Doubt]) -> list[str]:
    """A line where percentages follow that no bench covers: of half a disc, or of one that was given wrongly."""
    turned = any(d.about is About.DIRECTION and d.probability < 1.0 for d in doubts)
    half = any(d.about is About.FACE for d in doubts)
    return [NOT_TRIED] if turned or half or misfits(doubts) else []
