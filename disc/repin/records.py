"""The records of a plan: what is done at each place of the disc, where exactly, with what, and what it costs.

Frozen; an unknown is None. Places are in the disc's own axes (frame.py); only the drawings know of views.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction

from disc.frame import to_xy_mm
from disc.records import Plate, Side
from disc.repin.machine.dividing import Dividing
from disc.repin.work.drills import PinStock


class Operation(StrEnum):
    """What is done at a place, in the order in which the work is done there."""

    LOOK = "look"
    LEAVE = "leave"
    STRAIGHTEN = "straighten"
    PULL = "pull"
    PLUG = "plug"
    DRILL = "drill"
    SET = "set"
    SHORTEN = "shorten"


@dataclass(frozen=True, slots=True)
class PlaceOnFace:
    """A place on a face: polar and rectangular, in the disc's axes."""

    r_mm: float
    theta_deg: float
    x_mm: float
    y_mm: float


def spot(r_mm: float, theta_deg: float) -> PlaceOnFace:
    """The spot at this radius and angle."""
    x_mm, y_mm = to_xy_mm(r_mm, theta_deg)
    return PlaceOnFace(float(r_mm), float(theta_deg), float(x_mm), float(y_mm))


@dataclass(frozen=True, slots=True)
class StationTask:
    """One operation at a place and why. amount_mm: how far (straighten: at the tip; shorten: off the top).

    toward: in words, which way. push_x_mm, push_y_mm: the same as a vector in the disc's axes.
    """

    operation: Operation
    reason: str
    amount_mm: float | None = None
    toward: str = ""
    push_x_mm: float = 0.0
    push_y_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class MetalWall:
    """Metal left between a hole and something else. below 0: they run into each other."""

    wall_mm: float
    to: str


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far a pin may be off: along the motion (deg and mm, for TIMING_S of delay) and radially (mm)."""

    along_deg: float
    along_mm: float
    radial_mm: float


@dataclass(frozen=True, slots=True)
class Station:
    """One place of the disc and everything done there.

    number: hole number on the sheets, None where a pin is simply left. found: where the hole or pin is now, None where
    there is none. nominal: on its tooth's track and, where on_grid, on the beat. place: where the work is done.
    early_ms, outward_mm: how far the found place is off the nominal one (early positive). sigma_mm: how well the found
    place is known. probability: that the work is
    wanted. standing_mm: tip above the plate. depth_mm: of the hole from this face, None where the thickness is not
    known. wall: the least one. notes: what to look out for here. if_so: what follows if a look, where that is the only
    task, says that it is so.
    """

    number: int | None
    side: Side
    place: PlaceOnFace
    tasks: tuple[StationTask, ...]
    probability: float = 1.0
    found: PlaceOnFace | None = None
    nominal: PlaceOnFace | None = None
    on_grid: bool = False
    tolerance: Tolerance | None = None
    early_ms: float | None = None
    outward_mm: float | None = None
    sigma_mm: float | None = None
    pin_id: int | None = None
    tooth: int | None = None
    bar: int | None = None
    beat: Fraction | None = None
    stock: PinStock | None = None
    standing_mm: float | None = None
    depth_mm: float | None = None
    wall: MetalWall | None = None
    notes: tuple[str, ...] = ()
    may_break: bool = False
    if_so: tuple[StationTask, ...] = ()

    @property
    def in_doubt(self) -> bool:
        """Whether a person still has to decide if this work is wanted."""
        return bool(self.if_so) or SURE_NOT < self.probability < SURE

    @property
    def possible(self) -> tuple[Operation, ...]:
        """The operations here, those too that follow only if a look says so."""
        return self.operations + tuple(task.operation for task in self.if_so)

    @property
    def operations(self) -> tuple[Operation, ...]:
        """The operations here, in order."""
        return tuple(task.operation for task in self.tasks)

    @property
    def needs_hole(self) -> bool:
        """Whether a hole is drilled here."""
        return Operation.DRILL in self.operations


# Above SURE the work counts as wanted, below SURE_NOT as not wanted, between them it is in doubt and makes the range
# of the estimate. Common practice, no source.
SURE = 0.9
SURE_NOT = 0.1  # as said above

# What cannot be undone, and how sure it must be before the plan orders it: less than this leaves a look, with the
# question that settles it. The house's rule, chosen: two per cent of doubt at most.
IRREVERSIBLE = frozenset({Operation.PULL, Operation.PLUG, Operation.DRILL, Operation.SHORTEN})
CERTAIN = 0.98  # chosen: the house's rule


@dataclass(frozen=True, slots=True)
class CostLine:
    """One operation of the estimate: how often (least, expected, most), hours and cost likewise."""

    what: str
    count: tuple[float, float, float]
    hours: tuple[float, float, float]
    cost: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Estimate:
    """Hours and cost, each (least, expected, most). sample: made with the shipped rates, not with the user's own."""

    currency: str
    lines: tuple[CostLine, ...]
    hours: tuple[float, float, float]
    cost: tuple[float, float, float]
    in_doubt: int
    sample: bool
    words: str = ""


@dataclass(frozen=True, slots=True)
class FaceDividing:
    """Dividing settings of one face: the stations' numbers in order, and a setting for each."""

    side: Side
    numbers: tuple[int, ...]
    dividing: Dividing


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything `disc repin` works out for one disc. designed: a new disc, all of whose pins are to be set.

    setting_error_ms: root mean square of the sound pins about their nominal places along the motion, None unknown.
    """

    plate: Plate
    designed: bool
    stations: tuple[Station, ...]
    dividing: tuple[FaceDividing, ...] = ()
    estimate: Estimate | None = None
    setting_error_ms: float | None = None
    windows: tuple[tuple[float, float, float, float], ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = field(default_factory=tuple)

    def of(self, side: Side) -> tuple[Station, ...]:
        """The stations of one face, in the order of the work."""
        return tuple(s for s in self.stations if s.side is side)

    def numbered(self, side: Side) -> tuple[Station, ...]:
        """The stations of one face that carry a number on the sheets."""
        return tuple(s for s in self.of(side) if s.number is not None)
