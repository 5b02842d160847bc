"""How a new disc is to be made: sizes, clearances, what may be done to the tune. Every default carries its reason."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from disc.errors import BadInput
from disc.records import USUAL_DIAMETER_MM

# Brass left between two holes, 0.4 of a pin: new discs are planned by it and old ones judged. Common practice, no
# source: a fine drill wanders by 0.02 to 0.04 mm, and a pressed pin needs a wall.
LEAST_WALL_MM = 0.10


class MissingPitch(StrEnum):
    """What becomes of a chromatic note for which the comb has no tooth in any octave."""

    DROP = "drop"
    NEAREST = "nearest"


class Prefer(StrEnum):
    """What a person would rather keep where not everything can be: weights in arrange/weights.py."""

    MELODY = "melody"
    HARMONY = "harmony"
    BASS = "bass"
    RANGE = "range"


def prefer_from(word: str | None) -> Prefer | None:
    """The preference a word stands for; None for none. Raises BadInput."""
    if word is None:
        return None
    try:
        return Prefer(word.strip().lower())
    except ValueError:
        raise BadInput(f"what to prefer: {word!r} is none of {', '.join(Prefer)}. Give one with --prefer.") from None


def missing_pitch_from(word: str) -> MissingPitch:
    """The choice a word stands for. Raises BadInput."""
    try:
        return MissingPitch(word.strip().lower())
    except ValueError:
        raise BadInput(f"what to do with notes without a tooth: {word!r} is neither drop nor nearest.") from None


@dataclass(frozen=True, slots=True)
class Spot:
    """A round part of the disc where no pin may stand, on both faces: a screw, an engraved number, a plugged hole."""

    name: str
    r_mm: float
    theta_deg: float
    diameter_mm: float


@dataclass(frozen=True, slots=True)
class Opening:
    """A ring sector where no pin may stand, on both faces: between crossings. Counter-clockwise from the first to the
    second angle."""

    name: str
    from_r_mm: float
    to_r_mm: float
    from_theta_deg: float
    to_theta_deg: float


KeepOut = Spot | Opening


@dataclass(frozen=True, slots=True)
class DesignSettings:
    """Sizes in mm, times in seconds. Defaults are common practice without a source unless said otherwise."""

    # Pins of these discs are 0.15-0.35 mm thick and stand 0.25-0.8 mm (the project's conventions).
    pin_diameter_mm: float = USUAL_DIAMETER_MM
    pin_height_mm: float = 0.50
    # The maker's least and most overlap of a pin with its tip, which makes the loudness (loudness.py); None: not known,
    # and all pins stand alike.
    overlap_mm: tuple[float, float] | None = None
    wall_mm: float = LEAST_WALL_MM
    # Between two pins of one track the tip must fall back: room beside the pin for a tip worn to about 0.1 mm.
    tip_room_mm: float = 0.12
    # Width of a tip across the track, and free air beside it when another tooth's pin passes.
    tip_width_mm: float = 0.20
    passing_air_mm: float = 0.05
    # From a pin's edge to the rim, the bore, the stop slot, a screw or an opening.
    edge_mm: float = 0.25
    # Boss or flange round the arbor, where it is wider than the bore.
    hub_mm: float = 0.0
    # After the rest arc the train needs a moment to reach its speed, and before it the last note must have been struck.
    run_up_deg: float = 1.0
    missing_pitch: MissingPitch = MissingPitch.DROP
    # What is rather kept than the rest; None: the usual weights. Bars (first, last) kept before all others.
    prefer: Prefer | None = None
    keep_bars: tuple[tuple[int, int], ...] = ()
    keep_out: tuple[KeepOut, ...] = field(default_factory=tuple)
    # How far from its written tempo a tune still sounds like itself.
    slowest: float = 0.75
    fastest: float = 1.30
    # Turns that movements of this kind run at, a margin beyond the usual 30-60 s on both sides.
    shortest_turn_s: float = 20.0
    longest_turn_s: float = 70.0
    # The arranger's time for everything, in seconds of processor time: a busy machine gets the same disc.
    budget_s: float = 10.0

    def check(self) -> None:
        """Raises BadInput if a size cannot be right."""
        limits = {
            "pin_diameter_mm": (0.1, 0.6, "the pins' diameter"),
            "pin_height_mm": (0.1, 1.5, "the pins' height"),
            "wall_mm": (0.0, 1.0, "the wall between two holes"),
            "edge_mm": (0.0, 3.0, "the distance from the edges"),
            "hub_mm": (0.0, 20.0, "the boss's diameter"),
            "run_up_deg": (0.0, 60.0, "the run-up"),
        }
        for name, (low, high, words) in limits.items():
            value = getattr(self, name)
            if not low <= value <= high:
                unit = "degrees" if name.endswith("_deg") else "mm"
                raise BadInput(f"{words} is {value:g} {unit}; it must lie from {low:g} to {high:g}.")

    @property
    def hole_distance_mm(self) -> float:
        """Least distance between the centres of two holes, on whichever faces."""
        return self.pin_diameter_mm + self.wall_mm

    @property
    def track_distance_mm(self) -> float:
        """Least distance between the centres of two pins of one track."""
        return self.pin_diameter_mm + max(self.wall_mm, self.tip_room_mm)

    @property
    def passing_distance_mm(self) -> float:
        """Least difference of radius between a pin and another tooth's tip on the same face, so that it passes free."""
        return self.pin_diameter_mm / 2 + self.tip_width_mm / 2 + self.passing_air_mm
