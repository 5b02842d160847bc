"""Angles in words to degrees: "123,4", "123°30'", "123 deg 30 min 15 s", "5 holes of 24", "3 turns 12 holes of
20 at 40:1".

A number without a unit is in degrees. Holes are those of a plate on the spindle itself; with turns, or a worm, those
of a dividing head's plate.
"""

from __future__ import annotations

import re

from disc.errors import BadInput
from disc.measures.number import number_from, shown, tidy

USUAL_WORM = 40  # turns of the crank for one of the spindle; the commonest dividing head (common practice, no source)

_NUMBER = r"[+-]?[\d.,]+"
_DEGREES = re.compile(
    rf"(?P<d>{_NUMBER})\s*(°|º|deg\.?|degrees?|grad|degrés?)?"
    rf"(\s*(?P<m>{_NUMBER})\s*('|′|’|min\.?|minutes?|minuten))?"
    rf"(\s*(?P<s>{_NUMBER})\s*(\"|″|”|''|s|sec\.?|seconds?|sekunden|secondes?))?",
    re.IGNORECASE,
)
_MINUTES = re.compile(rf"(?P<m>{_NUMBER})\s*('|′|’|min\.?|minutes?|minuten)", re.IGNORECASE)
_HOLES = re.compile(
    r"((?P<turns>\d+)\s*(turns?|umdrehungen|umdrehung|tours?|\+)\s*(\+|,|and|und|et)?\s*)?"
    r"(?P<holes>\d+)\s*(holes?|loch|löcher|trous?)\s*(of|von|de|sur|in|/)\s*(?P<circle>\d+)"
    r"(\s*(at|bei|à|,)?\s*(worm\s*)?(?P<worm>\d+)\s*(:\s*1)?)?",
    re.IGNORECASE,
)
_SHARE = re.compile(r"(?P<above>\d+)\s*/\s*(?P<below>\d+)\s*(of a turn|turns?|umdrehung|tour)", re.IGNORECASE)
HOW = "Write degrees like 123.5, 123°30', 5 holes of 24, or 3 turns 12 holes of 20 at 40:1."


def angle_deg(text: str, what: str = "the angle") -> float:
    """The angle in degrees, as given: not brought into one turn. Raises BadInput, one line that names `what`."""
    words = tidy(text)
    if len(words) <= 60:
        if found := _HOLES.fullmatch(words):
            return _from_holes({k: int(v) for k, v in found.groupdict().items() if v is not None}, text, what)
        if (found := _SHARE.fullmatch(words)) and int(found["below"]):
            return 360.0 * int(found["above"]) / int(found["below"])
        if found := _MINUTES.fullmatch(words):
            return _sexagesimal("0", found["m"], None, text, what)
        if found := _DEGREES.fullmatch(words):
            return _sexagesimal(found["d"], found["m"], found["s"], text, what)
    raise BadInput(f"{what}: {shown(text)} is not an angle. {HOW}")


def _sexagesimal(degrees: str, minutes: str | None, seconds: str | None, text: str, what: str) -> float:
    whole = number_from(degrees, what, fractions=False)
    parts = [number_from(part, what, fractions=False) if part else 0.0 for part in (minutes, seconds)]
    if any(not 0.0 <= part < 60.0 for part in parts):
        raise BadInput(f"{what}: {shown(text)}: minutes and seconds of an angle run from 0 to below 60.")
    if (minutes or seconds) and whole != int(whole):
        raise BadInput(f"{what}: {shown(text)} has both decimals of a degree and minutes. Write one of them.")
    size = abs(whole) + parts[0] / 60.0 + parts[1] / 3600.0
    if size > 36_000.0:
        raise BadInput(f"{what}: {shown(text)} is more than a hundred turns. Correct it.")
    return -size if degrees.strip().startswith("-") else size


def _from_holes(given: dict[str, int], text: str, what: str) -> float:
    circle = given["circle"]
    if not 1 <= circle <= 1000 or given["holes"] > circle or given.get("worm", 1) == 0:
        raise BadInput(f"{what}: {shown(text)}: the holes must not be more than the circle has (1 to 1000).")
    cranked = given.get("turns", 0) + given["holes"] / circle
    by_crank = "turns" in given or "worm" in given
    return 360.0 * cranked / (given.get("worm", USUAL_WORM) if by_crank else 1)
