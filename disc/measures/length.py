"""Lengths in words to millimetres: "28,5", "1.1 in", '1 1/8"', "12 thou", "300 µm", "no. 80 drill", "26 AWG".

A number without a unit is in millimetres. A gauge needs its standard's name.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from disc.errors import BadInput
from disc.measures.gauges import MM_PER_INCH, american_wire_mm, number_drill_mm, standard_wire_mm
from disc.measures.number import number_from, shown, tidy

# The line of the Paris foot, by definition: 443.296 of them are a metre (law of 19 frimaire an VIII, 10 December 1799).
MM_PER_LINE = 1000.0 / 443.296

_UNITS = {
    1.0: ("", "mm", "millimetre", "millimetres", "millimeter", "millimeters", "millimètre", "millimètres"),
    10.0: ("cm",),
    0.001: ("µm", "μm", "um", "micron", "microns"),
    MM_PER_INCH: ("in", "in.", "inch", "inches", '"', "″", "''", "”", "zoll", "pouce", "pouces"),
    MM_PER_INCH / 1000.0: ("thou", "mil", "mils", "thousandth", "thousandths", "thousandths of an inch"),
    MM_PER_LINE: ("ligne", "lignes", "linie", "linien", "'''", "‴"),
}
_FACTOR = {word: factor for factor, words in _UNITS.items() for word in words}
_MEASURE = re.compile(r"(?P<number>[+-]?[\d.,][\d.,/ -]*(e[+-]?\d+)?)\s*(?P<unit>[^\d]*)", re.IGNORECASE)
_DRILL = re.compile(
    r"(#|no\.?|nr\.?|n°|number|drill no\.?|drill)\s*(?P<a>\d{1,3})( drill)?|(?P<b>\d{1,3}) number drill", re.I
)
_GAUGE = re.compile(
    r"(?P<a>\d{1,3})\s*-?\s*(?P<b>awg|b ?& ?s|swg|s\.w\.g\.|gauge|ga\.?|g)|(?P<c>awg|swg)\s*(?P<d>\d{1,3})", re.I
)
HOW = "Write millimetres like 28.5, or a unit: 1.1 in, 1 1/8 in, 12 thou, 300 µm, #80 (a number drill), 30 AWG, 30 SWG."


def length_mm(text: str, what: str = "the length") -> float:
    """The length in mm. Raises BadInput, one line that names `what`, for anything that is none or could be two."""
    words = tidy(text)
    if found := _DRILL.fullmatch(words):
        return _known(number_drill_mm(int(found["a"] or found["b"])), text, what, "number drills run from 1 to 97")
    if found := _GAUGE.fullmatch(words):
        return _gauge(int(found["a"] or found["d"]), (found["b"] or found["c"]).lower(), text, what)
    found = _MEASURE.fullmatch(words) if len(words) <= 60 else None
    unit = found["unit"].strip().lower() if found else None
    if found is None or unit not in _FACTOR:
        raise BadInput(f"{what}: {shown(text)} is not a length. {HOW}")
    value = number_from(found["number"], what) * _FACTOR[unit]
    if not -1e6 < value < 1e6:
        raise BadInput(f"{what}: {shown(text)} is far beyond any part of a watch. Correct it.")
    return value


def _gauge(number: int, name: str, text: str, what: str) -> float:
    if name.startswith(("awg", "b")):
        return _known(american_wire_mm(number), text, what, "the American wire gauge (ASTM B258) is known from 0 to 40")
    if name.startswith("s"):
        return _known(standard_wire_mm(number), text, what, "the British Standard Wire Gauge runs from 0 to 50")
    american, british = american_wire_mm(number), standard_wire_mm(number)
    both = f"{american:.3f} or {british:.3f} mm" if american and british else "not the same"
    raise BadInput(
        f"{what}: {shown(text)} may be American or British wire ({both}). Write {number} AWG or {number} SWG."
    )


def _known(value: float | None, text: str, what: str, otherwise: str) -> float:
    if value is None:
        raise BadInput(f"{what}: there is no {shown(text)}; {otherwise}.")
    return value


@dataclass(frozen=True, slots=True)
class Limits:
    """What a length may be, in mm, so that a slip (inches for millimetres, a lost point) is told at once."""

    low_mm: float
    high_mm: float


def length_within(text: str, what: str, limits: Limits) -> float:
    """A length within limits. Raises BadInput that tells the value in mm and the limits."""
    value = length_mm(text, what)
    if not limits.low_mm <= value <= limits.high_mm:
        raise BadInput(
            f"{what}: {shown(text)} is {value:.4g} mm; it must lie from {limits.low_mm:g} to {limits.high_mm:g} mm. "
            "Check the unit and the point."
        )
    return value
