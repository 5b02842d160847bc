"""Which photographs of a face belong together: the one that leads, and what does not lie on its pins."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from disc.errors import BadInput
from disc.frame import FULL_TURN_DEG, FloatArray, to_xy_mm
from disc.photo.several.lay_on import LaidPhoto, lay_on
from disc.records import About, Doubt, Pin, Side

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
ENOUGH = 3  # photographs of a face of which the most decide what fits; of two the surer one does


@dataclass(frozen=True, slots=True)
class Fitting:
    """lead: the photograph whose frame counts. others: how each lies on it, None for itself. aside: those left out."""

    lead: int
    others: tuple[LaidPhoto | None, ...]
    aside: tuple[int, ...]

    def left_out(self) -> list[tuple[int, LaidPhoto]]:
        """What was left out, with how it lies on the lead."""
        return [(k, laid) for k in self.aside if (laid := self.others[k]) is not None]


def which_fit(readings: Sequence[Sequence[Pin]], worth: Sequence[float]) -> Fitting:
    """readings: pins of each photograph of one face. worth: how well each tells them, by itself.

    The lead is the best of those on which the most others lie.
    """
    at = [places(pins) for pins in readings]
    count = range(len(at))
    laid = {(a, b): lay_on(at[a], at[b]) for a in count for b in count if a < b}
    friends = [sum(one.fits for pair, one in laid.items() if k in pair) for k in count]
    most = max(friends) if len(at) >= ENOUGH else 0
    lead = max((k for k in count if friends[k] >= most), key=lambda k: worth[k])
    others = tuple(None if k == lead else _onto(laid, lead, k) for k in count)
    return Fitting(lead, others, tuple(k for k, one in enumerate(others) if one is not None and not one.fits))


def _onto(laid: dict[tuple[int, int], LaidPhoto], lead: int, k: int) -> LaidPhoto:
    """How photograph k lies on the lead's."""
    if lead < k:
        return laid[lead, k]
    one = laid[k, lead]
    return replace(one, turn_rad=-one.turn_rad, pairs=one.pairs[:, ::-1])


def places(pins: Sequence[Pin]) -> FloatArray:
    """(n, 2) mm in the disc's axes."""
    return np.array([to_xy_mm(pin.r_mm, pin.theta_deg) for pin in pins]).reshape(-1, 2)


def turned_pins(pins: Sequence[Pin], turn_rad: float) -> list[Pin]:
    """The pins with their angles counted on by a turn."""
    turn = float(np.degrees(turn_rad))
    return [replace(pin, theta_deg=(pin.theta_deg + turn) % FULL_TURN_DEG) for pin in pins]


def set_aside(side: Side, path: Path, why: BadInput) -> Doubt:
    """A photograph that could not be used, where the face has another, in words."""
    reason = str(why).removeprefix(f"{path}: ")
    say = f"the photograph {path.name} was set aside, and the {side.value} face read from the others: {reason}"
    return Doubt(About.SHARP, say, "", side)


def left_out(side: Side, name: str, lead: str, laid: LaidPhoto) -> Doubt:
    """A photograph that does not fit the others, in words."""
    return Doubt(
        About.DISC,
        f"the photograph {name} was left out: only {100 * laid.share:.0f} % of the {side.value} face's sites in it lie "
        f"where {lead} has them, however it is turned.",
        f"If it shows this face, name its rim with --rim-{side.value} {name}=u,v and read again; if it shows another "
        "face or another disc, leave it out.",
        side,
        0.9,
    )
