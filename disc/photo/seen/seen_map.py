"""Where nothing can be told of a face: a small raster in the plate's own plane, kept with the reading.

A place that is not seen is neither empty nor pinned: nothing may be called missing there, and nothing is absent. The
raster is polar, RINGS rings of equal height by 360 degrees of theta (the disc's own axes, so that both faces and all
photographs share it), one letter a cell.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field, field_validator

from disc.frame import FULL_TURN_DEG
from disc.records import Side

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
RINGS, ANGLES = 56, 360  # cells of about a quarter of a millimetre on a disc of 28 mm: a pin's own size
Letters = npt.NDArray[np.str_]


class Why(StrEnum):
    """Why a place is not seen; the letters of the raster."""

    COVERED = "c"  # something lies on or over it
    GLARE = "g"  # white without any detail
    BLURRED = "b"  # out of focus, or shaken
    FRAME = "f"  # out of the frame
    NO_PHOTO = "n"  # the face was not photographed


SEEN = "."
WORDS = {
    Why.COVERED: "covered",
    Why.GLARE: "in glare",
    Why.BLURRED: "out of focus",
    Why.FRAME: "out of the frame",
    Why.NO_PHOTO: "not photographed",
}


class SeenMap(BaseModel):
    """One face's raster. rows: from the middle outwards, a letter a degree: SEEN or one of Why."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    side: Side
    radius_mm: float = Field(gt=0.0)
    rows: tuple[str, ...]

    @field_validator("rows")
    @classmethod
    def _whole(cls, rows: tuple[str, ...]) -> tuple[str, ...]:
        if len(rows) != RINGS or any(len(row) != ANGLES or set(row) - {SEEN, *Why} for row in rows):
            raise ValueError(f"a raster has {RINGS} rows of {ANGLES} letters, each {SEEN} or one of {', '.join(Why)}")
        return rows

    def why_unseen(self, r_mm: float, theta_deg: float) -> Why | None:
        """Why nothing can be told of a place; None where it is seen, or lies off the plate."""
        if not 0.0 <= r_mm < self.radius_mm:
            return None
        letter = self.rows[int(r_mm / self.radius_mm * RINGS)][int(theta_deg % FULL_TURN_DEG) % ANGLES]
        return None if letter == SEEN else Why(letter)

    def is_seen(self, r_mm: float, theta_deg: float) -> bool:
        """Whether the photographs show this place."""
        return self.why_unseen(r_mm, theta_deg) is None

    def unseen_arcs(self, r_mm: float) -> tuple[tuple[float, float], ...]:
        """Arcs (from, to) of a track that are not seen, degrees; the disc's rising theta leads from the first to the
        second, which is over 360 where the slot lies within. The whole circle is (0, 360).
        """
        if not 0.0 <= r_mm < self.radius_mm:
            return ()
        row = self.rows[int(r_mm / self.radius_mm * RINGS)]
        if not row.strip(SEEN):
            return ()
        hidden = np.array([letter != SEEN for letter in row])
        if hidden.all():
            return ((0.0, FULL_TURN_DEG),)
        starts = np.nonzero(hidden & ~np.roll(hidden, 1))[0]
        ends = np.nonzero(hidden & ~np.roll(hidden, -1))[0] + 1
        return tuple((float(a), float(next((e for e in ends if e > a), ends[0] + ANGLES))) for a in starts)

    def share(self, *why: Why) -> float:
        """The part of the plate's area that is not seen, 0 to 1; for these reasons only, where any is named."""
        letters = self.letters()
        there = np.isin(letters, [w.value for w in why]) if why else letters != SEEN
        return float((there * ring_areas()[:, None]).sum() / (ring_areas().sum() * ANGLES))

    def reasons(self) -> tuple[Why, ...]:
        """Why places are not seen, the reason of the largest area first."""
        found = [why for why in Why if self.share(why) > 0]
        return tuple(sorted(found, key=lambda why: -self.share(why)))

    def letters(self) -> Letters:
        """The raster as an array, (RINGS, ANGLES), of one letter each."""
        return np.frombuffer("".join(self.rows).encode("utf-32-le"), "<U1").reshape(RINGS, ANGLES)

    def turned(self, turn_deg: float) -> SeenMap:
        """The map with its angles counted on by a turn, to the nearest cell."""
        return SeenMap.from_letters(self.side, self.radius_mm, np.roll(self.letters(), round(turn_deg), axis=1))

    @classmethod
    def from_letters(cls, side: Side, radius_mm: float, letters: Letters) -> SeenMap:
        """The map of a raster (RINGS, ANGLES)."""
        return cls(side=side, radius_mm=radius_mm, rows=tuple("".join(row) for row in letters))

    @classmethod
    def unseen(cls, side: Side, radius_mm: float, why: Why = Why.NO_PHOTO) -> SeenMap:
        """A face of which nothing is seen."""
        return cls(side=side, radius_mm=radius_mm, rows=(why.value * ANGLES,) * RINGS)

    @classmethod
    def clear(cls, side: Side, radius_mm: float) -> SeenMap:
        """A face of which all is seen."""
        return cls(side=side, radius_mm=radius_mm, rows=(SEEN * ANGLES,) * RINGS)


def ring_areas() -> npt.NDArray[np.float64]:
    """What a cell of each ring counts for, (RINGS,), in parts of the innermost."""
    return np.asarray(2.0 * np.arange(RINGS) + 1.0)


def cell_places(radius_mm: float) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Middles of the cells: r_mm and theta_deg, each (RINGS, ANGLES)."""
    r = (np.arange(RINGS) + 0.5) / RINGS * radius_mm
    theta = (np.arange(ANGLES) + 0.5) * (FULL_TURN_DEG / ANGLES)
    return np.repeat(r[:, None], ANGLES, 1), np.repeat(theta[None], RINGS, 0)


def seen_by_any(maps: Sequence[SeenMap]) -> SeenMap:
    """Of several photographs of one face: seen is what one of them shows. The reason told is the first one's."""
    letters = [one.letters() for one in maps]
    hidden = np.all([field != SEEN for field in letters], axis=0)
    return SeenMap.from_letters(maps[0].side, maps[0].radius_mm, np.where(hidden, letters[0], SEEN))


def is_seen(maps: Mapping[Side, SeenMap], side: Side, r_mm: float, theta_deg: float) -> bool:
    """Whether a place of the disc is seen. A face without a map (read before there were any) counts as seen."""
    return side not in maps or maps[side].is_seen(r_mm, theta_deg)


def unseen_arcs(maps: Mapping[Side, SeenMap], side: Side, r_mm: float) -> tuple[tuple[float, float], ...]:
    """Arcs of a track that are not seen, as SeenMap.unseen_arcs gives them."""
    return maps[side].unseen_arcs(r_mm) if side in maps else ()


def arcs_hidden(one: SeenMap, tracks_mm: Iterable[float]) -> dict[float, tuple[tuple[float, float], ...]]:
    """For each track some of which is not seen, its arcs."""
    return {r: arcs for r in tracks_mm if (arcs := one.unseen_arcs(r))}
