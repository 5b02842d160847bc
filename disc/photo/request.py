"""What a person asks of the photo reader."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

from disc.errors import BadInput
from disc.records import Side


@dataclass(frozen=True, slots=True)
class ReadSettings:
    """What a person gave by hand. centre, slot: photo (u, v). rim: five points or more. radius_mm: not the plate's.

    bar_mm: what the measuring sheet's bar of 50 mm measures as printed.
    """

    centre: tuple[float, float] | None = None
    slot: tuple[float, float] | None = None
    rim: tuple[tuple[float, float], ...] = ()
    radius_mm: float | None = None
    bar_mm: float | None = None


@dataclass(frozen=True, slots=True)
class ReadRequest:
    """What is asked: photos of each side, a picture with both, and what was given by hand for each side.

    by_photo: of several photos of one side, what was given for each. scale: (u1, v1, u2, v2, mm) of a known length in
    the face's plane, instead of the plate's diameter. replace: put the reading in force though it is far poorer than
    the one that is. closer: pictures of parts of each face, laid onto its whole reading. scans: whether the photos are
    a scanner's. grown_by: the plate's diameter over the one that was said before, where it was corrected since.
    """

    upper: tuple[Path, ...] = ()
    lower: tuple[Path, ...] = ()
    both: Path | None = None
    by_hand: dict[Side, ReadSettings] = field(default_factory=dict)
    scale: tuple[float, float, float, float, float] | None = None
    left_side: Side | None = None
    replace: bool = False
    closer: dict[Side, tuple[Path, ...]] = field(default_factory=dict)
    scans: bool = False
    by_photo: dict[Path, ReadSettings] = field(default_factory=dict)
    grown_by: float = 1.0

    def of_side(self, side: Side) -> tuple[Path, ...]:
        """The photos of one face; without a picture of both."""
        return self.upper if side is Side.UPPER else self.lower

    def given_for(self, side: Side, path: Path) -> ReadSettings:
        """What was given by hand for a photo. Raises BadInput where marks do not say which of several photos they are
        of: they are its pixels."""
        given = self.by_hand.get(side, ReadSettings())
        several = len(self.of_side(side)) > 1
        for name, what in (("slot", given.slot), ("centre", given.centre), ("rim", given.rim)):
            if several and what:
                raise BadInput(
                    f"--{name}-{side.value}: several photos of the {side.value} side were given, and a mark is a place "
                    f"in one of them. Say in which: --{name}-{side.value} {path.name}=u,v"
                )
        mine = self.by_photo.get(path)
        return given if mine is None else replace(mine, bar_mm=mine.bar_mm or given.bar_mm)
