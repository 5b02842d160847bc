"""The kinds of findings: one table that the checker, the words, the desk and the work list share.

`subject` says what a finding is about. Two findings at one place with the same subject answer the same question, so
that a person's decision on one holds for the other after a new reading ("missing" may have become "in-doubt").
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """What Finding.kind may say."""

    MISSING = "missing"
    ABANDONED = "abandoned"
    IN_DOUBT = "in-doubt"
    STUB = "stub"
    BENT = "bent"
    OFF_TRACK = "off-track"
    OFF_BEAT = "off-beat"
    DISPLACED = "displaced"
    EXTRA = "extra"
    CLOSE_ON_TRACK = "close-on-track"
    IN_REST_ARC = "in-rest-arc"
    IN_THE_WAY = "in-the-way"
    UNEVEN_HEIGHT = "uneven-height"
    THIN_WALL = "thin-wall"
    SILENT_STRIKE = "silent-strike"
    EXTRA_SOUND = "extra-sound"


class Subject(StrEnum):
    """What a finding is about."""

    SITE = "site"  # a place where a pin is wanted or not: a hole, or a place without one
    SHAPE = "shape"  # how a pin stands
    PLACE = "place"  # where a pin stands
    SPACE = "space"  # what is near it
    SOUND = "sound"  # what a recording says


class WorkKind(StrEnum):
    """The work a finding leads to if it is accepted, in the words of the work list; "look" leaves it to the person."""

    SET = "set"
    LEAVE = "leave"
    STRAIGHTEN = "straighten"
    REPLACE = "replace"  # pull what is left of the old pin, set a new one
    PULL = "pull"
    RESET = "reset"  # pull, plug and set in its right place
    SHORTEN = "shorten"
    LOOK = "look"


@dataclass(frozen=True, slots=True)
class KindInfo:
    """One kind: its heading in words, what it means, its subject, and the work it leads to if it is so.

    measured: a measure beyond its limit, told with its number; no bench says how likely it is "so", and no percentage
    is shown. few: so few different cases were ever held against the truth that a percentage would say more than is
    known; a word is shown instead.
    """

    heading: str
    meaning: str
    subject: Subject
    work: WorkKind
    measured: bool = False
    few: bool = False


KINDS: dict[Kind, KindInfo] = {
    Kind.MISSING: KindInfo("missing pin", "a pin belongs here and is gone", Subject.SITE, WorkKind.SET),
    Kind.ABANDONED: KindInfo(
        "abandoned hole", "an empty hole that neither music nor reference wants", Subject.SITE, WorkKind.LEAVE
    ),
    Kind.IN_DOUBT: KindInfo(
        "hole in doubt",
        "an empty hole; probability says how likely a pin belongs in it",
        Subject.SITE,
        WorkKind.LOOK,
        few=True,
    ),
    Kind.STUB: KindInfo("stub", "a pin broken off in its hole", Subject.SHAPE, WorkKind.REPLACE, few=True),
    Kind.BENT: KindInfo("leaning pin", "its tip stands off its root", Subject.SHAPE, WorkKind.STRAIGHTEN),
    Kind.OFF_TRACK: KindInfo(
        "pin off its track", "inside or outside the circle of its tooth", Subject.PLACE, WorkKind.LOOK, True
    ),
    Kind.OFF_BEAT: KindInfo(
        "pin off the beat", "it strikes early or late against its neighbours", Subject.PLACE, WorkKind.LOOK, True
    ),
    Kind.DISPLACED: KindInfo(
        "displaced pin",
        "the reference has this note at another time or on another tooth",
        Subject.PLACE,
        WorkKind.LOOK,
        few=True,
    ),
    Kind.EXTRA: KindInfo(
        "pin too many", "a pin that no track or no tune explains", Subject.SITE, WorkKind.LOOK, few=True
    ),
    Kind.CLOSE_ON_TRACK: KindInfo(
        "pins close on a track",
        "the tooth cannot come back and be damped between them",
        Subject.SPACE,
        WorkKind.LOOK,
        True,
    ),
    Kind.IN_REST_ARC: KindInfo(
        "pin in the rest arc",
        "it passes its tooth while the movement starts or stops",
        Subject.SPACE,
        WorkKind.LOOK,
        True,
    ),
    Kind.IN_THE_WAY: KindInfo(
        "pin in the way", "it touches another tooth's tip as well", Subject.SPACE, WorkKind.LOOK, True
    ),
    Kind.UNEVEN_HEIGHT: KindInfo(
        "uneven height", "taller or shorter than its neighbours", Subject.SHAPE, WorkKind.LOOK, True
    ),
    Kind.THIN_WALL: KindInfo("thin wall", "two holes nearly meet in the plate", Subject.SPACE, WorkKind.LOOK, True),
    Kind.SILENT_STRIKE: KindInfo("silent strike", "the pin stands but is not heard", Subject.SOUND, WorkKind.LOOK),
    Kind.EXTRA_SOUND: KindInfo("extra sound", "something sounds where no pin stands", Subject.SOUND, WorkKind.LOOK),
}


def info(kind: str) -> KindInfo:
    """The table's line for a kind. Raises ValueError for a word that is no kind."""
    return KINDS[Kind(kind)]


def subject_of(kind: str) -> Subject:
    """What findings of this kind are about."""
    return info(kind).subject
