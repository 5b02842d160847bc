"""Pin stock and drills: which wire to take, which drill to make its hole with, and how the two fit.

Sizes are the standard series, in mm. Stock is hard-drawn steel wire; a pin holds by being driven into a hole a little
smaller than itself, so the drill is the largest one that still leaves the least interference.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from disc.errors import BadInput
from disc.measures.gauges import MM_PER_INCH, NUMBER_DRILL_INCH
from disc.measures.length import length_mm

LEAST_MM, MOST_MM = 0.05, 3.0  # of wire and drill that have a use here; chosen by hand
# Nominal sizes of hard-drawn steel spring wire, EN 10270-1, as far as pins go; from memory.
WIRE_MM = (0.10, 0.11, 0.12, 0.14, 0.16, 0.18, 0.20, 0.22, 0.25, 0.28, 0.30, 0.32, 0.34, 0.36, 0.38, 0.40, 0.43, 0.45)

# Preferred small sizes of jobber drills, ISO 235 (DIN 338), from 0.20 mm; from memory.
# fmt: off
# Preferred small sizes of jobber drills, mm; source above, from memory.
ISO_235_MM = (
    0.20, 0.22, 0.25, 0.28, 0.30, 0.32, 0.35, 0.38, 0.40, 0.42, 0.45, 0.48, 0.50, 0.52, 0.55, 0.58, 0.60,
)
# fmt: on
# Micro drills with a thickened shank are sold in hundredths from 0.10 mm (DIN 1899 style; common practice, no source).
MICRO_MM = tuple(round(0.01 * n, 2) for n in range(10, 61))

# Least and usual most by which a driven pin is thicker than its hole. Common practice, no source: with less the pin
# can be pushed out by the tooth, with more a thin plate is spread and its neighbours move.
LEAST_INTERFERENCE_MM = 0.005
MOST_INTERFERENCE_MM = 0.03  # usual most, as said above


@dataclass(frozen=True, slots=True)
class Drill:
    """A drill: its size in mm and what it is called, e.g. "0.24 mm" or "no. 80"."""

    diameter_mm: float
    name: str


@dataclass(frozen=True, slots=True)
class PinStock:
    """Wire and drill for a job. wanted_mm: the diameter measured or designed. interference_mm: wire minus hole."""

    wanted_mm: float
    wire_mm: float
    drill: Drill
    interference_mm: float
    words: str


def number_drills() -> tuple[Drill, ...]:
    """Number drills 1 to 97."""
    return tuple(Drill(inch * MM_PER_INCH, f"no. {n}") for n, inch in enumerate(NUMBER_DRILL_INCH, start=1))


def metric_drills(sizes_mm: Sequence[float] = MICRO_MM) -> tuple[Drill, ...]:
    """Drills of these metric sizes."""
    return tuple(Drill(size, f"{size:.2f} mm") for size in sizes_mm)


DRILL_SERIES = ("micro", "iso235", "number")


def drill_series(name: str) -> tuple[Drill, ...]:
    """The drills of a named series, or of sizes written as "0.20,0.22,0.25". Raises BadInput."""
    if name == "micro":
        return metric_drills()
    if name == "iso235":
        return metric_drills(ISO_235_MM)
    if name == "number":
        return number_drills()
    return metric_drills(parse_sizes(name, "drill", f"or one of {', '.join(DRILL_SERIES)}"))


def parse_sizes(text: str, what: str, otherwise: str = "") -> tuple[float, ...]:
    """Sizes written as "0.20,0.22", "#80,#78" or "0,20;0,22". Raises BadInput for what is none, or none of use here."""
    parts = text.split(";") if ";" in text else text.split(",")
    try:
        sizes = tuple(sorted({length_mm(part, what) for part in parts if part.strip()}))
    except BadInput as error:
        raise BadInput(f"{what} sizes {text!r} cannot be read: {error}") from error
    if not sizes:
        raise BadInput(
            f"{what} sizes {text!r} cannot be read: write millimetres like 0.20,0.22,0.25 {otherwise}".strip()
        )
    for size in sizes:
        if not LEAST_MM <= size <= MOST_MM:
            raise BadInput(
                f"a {what} of {size:g} mm has no use here; sizes are in millimetres, {LEAST_MM:g} to {MOST_MM:g}."
            )
    return sizes


def choose_stock(
    wanted_mm: float, wires_mm: Sequence[float] = WIRE_MM, drills: Sequence[Drill] | None = None
) -> PinStock:
    """The wire nearest to the wanted diameter (of two equally near the thicker) and the drill that fits it.

    The drill is the largest that leaves LEAST_INTERFERENCE_MM; if that is too tight a fit, the words say to broach.
    Raises BadInput if every drill is thicker than the wire.
    """
    wire = min(wires_mm, key=lambda size: (round(abs(size - wanted_mm), 4), -size))
    series = metric_drills() if drills is None else drills
    fitting = [d for d in series if wire - d.diameter_mm >= LEAST_INTERFERENCE_MM - 1e-9]
    if not fitting:
        smallest = min(d.diameter_mm for d in series)
        raise BadInput(
            f"no drill fits wire of {wire:.2f} mm: the smallest given is {smallest:.3f} mm. "
            "Name finer drills with --drills."
        )
    drill = max(fitting, key=lambda d: d.diameter_mm)
    interference = wire - drill.diameter_mm
    if interference <= MOST_INTERFERENCE_MM + 1e-9:
        words = f"drive fit: the wire is {interference * 1000:.0f} µm thicker than the hole"
    else:
        words = (
            f"too tight as drilled ({interference * 1000:.0f} µm): broach the hole to "
            f"{wire - 2 * LEAST_INTERFERENCE_MM:.3f} mm, or stone the pin's foot to a slight taper"
        )
    return PinStock(wanted_mm, wire, drill, interference, words)
