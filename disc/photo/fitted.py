"""The fitted numbers of this room, kept in fitted.json with how they were made."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from disc.fitted import fitted_part

FITTED = Path(__file__).with_name("fitted.json")


@dataclass(frozen=True, slots=True)
class SiteWeights:
    """What each witness weighs in a mark's log-odds. coarse, closer: the two networks' logits; zero: where sites part
    from other marks; slant, track, alike: log-odds of each; no_pin: taken off what is taken for a stub or hole.

    makes_track: log-odds from which sites make the tracks that others are weighed by.
    """

    coarse: float
    closer: float
    zero: float
    slant: float
    track: float
    no_pin: float
    alike: float
    makes_track: float


@dataclass(frozen=True, slots=True)
class Likeness:
    """How alike other marks look to the face's own pins: middle and spread of their correlation. against_stub: weight
    of the log-odds of likeness against stub and hole; even: where it speaks for neither."""

    other_middle: float
    other_width: float
    against_stub: float
    even: float


@dataclass(frozen=True, slots=True)
class Tint:
    """Of logarithms of blue over green and of red over green beside the plate's own: spreads of what has the plate's
    colour (both) and, at least, of a face's pins; parts of other marks and of pins that are neither, and of pins as
    brown as the plate."""

    plate_spread: tuple[float, float]
    pin_spread: float
    other_marks: float
    other_pins: float
    rusty: float


@cache
def site_weights() -> SiteWeights:
    """As fitted on rendered faces."""
    return SiteWeights(**fitted_part(FITTED, "sites"))


@cache
def likeness() -> Likeness:
    """As fitted on rendered faces."""
    return Likeness(**fitted_part(FITTED, "likeness"))


@cache
def tint() -> Tint:
    """As measured on rendered faces."""
    part = fitted_part(FITTED, "tint")
    return Tint(**(part | {"plate_spread": tuple(part["plate_spread"])}))


@dataclass(frozen=True, slots=True)
class Darkness:
    """Of logarithms of how bright marks are, less the median of their face's standing pins: spread of these at least,
    middle and spread of empty holes, the least and most log-odds, and what they weigh against the networks' own."""

    pin_spread: float
    hole_middle: float
    hole_spread: float
    range: tuple[float, float]
    weight: float


@cache
def darkness() -> Darkness:
    """As measured on rendered faces."""
    part = fitted_part(FITTED, "darkness")
    return Darkness(**(part | {"range": tuple(part["range"])}))


@cache
def own_scale() -> float:
    """A root's own sigma as the networks and the slant give it, times this, is the error met."""
    return float(fitted_part(FITTED, "roots")["own_scale"])
