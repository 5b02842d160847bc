"""Signs of loudness as files write them: the degrees in force from a place on, and accents of single notes.

The names are those of MusicXML 4.0 (elements of dynamics, articulations) and of ABC 2.1, 4.14 (!p!, !accent!, !>!).
"""

from __future__ import annotations

from dataclasses import dataclass

DEGREES = ("ppp", "pp", "p", "mp", "mf", "f", "ff", "fff")  # from soft to loud, by definition
# Of one note alone. "fp" and "sfp" are followed by p.
ACCENTS = frozenset({
    "accent", "strong-accent", "emphasis", ">", "sf", "sfz", "sffz", "fz", "rf", "rfz", "fp", "sfp", "sfpp",
})  # fmt: skip
THEN = {"fp": "p", "sfp": "p", "sfpp": "pp"}


@dataclass(frozen=True, slots=True)
class Loudness:
    """degree: one of DEGREES, empty where none is written yet. accent: whether the note has one."""

    degree: str = ""
    accent: bool = False

    @property
    def is_said(self) -> bool:
        """Whether anything is written of it."""
        return bool(self.degree) or self.accent


UNSAID = Loudness()


def degree_after(sign: str, before: str) -> str:
    """The degree in force once a sign has stood; before: that which was."""
    return sign if sign in DEGREES else THEN.get(sign, before)
