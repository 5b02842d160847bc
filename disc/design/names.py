"""Names that a program put into a file where a person gave none: they say nothing of the tune, and are not printed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from disc.tune.score.records import ScoreIn

# What notation programs and converters write as title or part where nobody wrote one; from files seen and from memory.
GIVEN_BY_PROGRAMS = frozenset(
    ("music21 fragment", "musicxml part", "untitled", "untitled score", "title", "score", "no title", "music21")
)


def says_something(name: str) -> bool:
    """Whether a name was given by a person, as far as can be told."""
    return name.strip().lower() not in GIVEN_BY_PROGRAMS | {""}


def titled(score: ScoreIn, path: Path) -> ScoreIn:
    """The score under its title; under the file's name where its title is a program's, or only names an instrument."""
    parts = {part.name.strip().lower() for part in score.parts}
    known = says_something(score.title) and (score.title.strip().lower() not in parts)
    return score if known else replace(score, title=path.stem.replace("_", " "))
