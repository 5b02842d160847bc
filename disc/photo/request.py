"""What a person asks of the photo reader."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from disc.photo.read_face import ReadSettings
from disc.records import Side


@dataclass(frozen=True, slots=True)
class ReadRequest:
    """What is asked: photos of each side, a picture with both, and what was given by hand for each side.

    scale: (u1, v1, u2, v2, mm) of a known length in the face's plane, instead of the plate's diameter. replace: put the
    reading in force though it is far poorer than the one that is. closer: pictures of parts of each face, laid onto its
    whole reading. scans: whether the photos are a scanner's.
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
