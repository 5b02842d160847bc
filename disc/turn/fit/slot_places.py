"""A stop slot that is not plain to see: each of its likely places is held against the beat and the rest arc.

The photograph names the likeliest place and the next one, with their probabilities. A face's angles count from the
slot, so that taking the other place turns all strikes of the face: then pins sound in the rest arc, or the faces keep
no common beat. All ways of taking the places of both faces are weighed together, that neither is right among them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

from disc.comb.strikes import strikes_from_pins
from disc.photo.plate.which_slot import SLOT_SURE, SlotOdds
from disc.records import About, Comb, Doubt, Pin, Plate, Side
from disc.turn.fit.fit_doubts import apart_odds, melody_odds, rest_odds
from disc.turn.fit.melodies import turned_faces
from disc.turn.fit.phases import phases_of

AS_READ, OTHER, NEITHER = 0, 1, 2  # where the slot may be: indices of the weighed places; by definition
# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
LEAST = 1e-4  # that a place is or is not the slot is never quite certain


@dataclass(frozen=True, slots=True)
class WeighedSlot:
    """A face's slot after the music was asked: the probability of the place as read and of the next likely one."""

    as_read: float
    other: float
    other_theta_deg: float


def weigh_slots(
    pins: Sequence[Pin], comb: Comb, plate: Plate, odds: Mapping[Side, SlotOdds]
) -> dict[Side, WeighedSlot]:
    """The slots of the faces in odds, each of which has a next likely place; the other face's is taken as it is.

    pins: with their teeth. comb: with every tip's angle.
    """
    ways = [(AS_READ, OTHER, NEITHER) if side in odds else (AS_READ,) for side in Side]
    weight: dict[tuple[int, ...], float] = {}
    for way in product(*ways):
        chosen = dict(zip(Side, way, strict=True))
        weight[way] = sum(math.log(_before(odds[side], chosen[side])) for side in odds)
        weight[way] += _fits(pins, comb, plate, odds, chosen)
    most = max(weight.values())
    share = {way: math.exp(value - most) for way, value in weight.items()}
    total = sum(share.values())
    found = {}
    for k, side in enumerate(Side):
        if side in odds:
            as_read, other = (sum(v for way, v in share.items() if way[k] == which) for which in (AS_READ, OTHER))
            found[side] = WeighedSlot(as_read / total, other / total, _other_deg(odds[side]))
    return found


def _before(odds: SlotOdds, which: int) -> float:
    """What the photograph alone says of a place."""
    chances = (odds.probability, odds.other_probability, 1.0 - odds.probability - odds.other_probability)
    return max(chances[which], LEAST)


def _fits(
    pins: Sequence[Pin], comb: Comb, plate: Plate, odds: Mapping[Side, SlotOdds], chosen: Mapping[Side, int]
) -> float:
    """ln of how much likelier the strikes are with the slots so taken than with slots anywhere."""
    taken = [_from(pin, odds[pin.side]) if chosen[pin.side] == OTHER else pin for pin in pins]
    strikes = strikes_from_pins(taken, comb, plate)
    phases = phases_of(strikes, taken, plate.rest_arc_deg)
    right = [side for side in Side if chosen[side] != NEITHER]
    fits = -sum(rest_odds(phases, side, plate.rest_arc_deg) for side in right)
    if len(right) == len(Side):
        fits -= 0.0 if phases.apart is None else apart_odds(phases.apart)
        fits -= melody_odds(turned_faces(strikes, taken))
    return fits


def _from(pin: Pin, odds: SlotOdds) -> Pin:
    """The pin as counted from the next likely place."""
    return replace(pin, theta_deg=(pin.theta_deg - _other_deg(odds)) % 360.0)


def _other_deg(odds: SlotOdds) -> float:
    if odds.other_theta_deg is None:
        raise ValueError("a slot without a next likely place has nothing to be weighed against")
    return odds.other_theta_deg


def slot_doubt(side: Side, weighed: WeighedSlot, command: str) -> Doubt | None:
    """What is in doubt about a face's slot after all, if anything. command: takes the other place for the slot."""
    if weighed.as_read >= SLOT_SURE:
        return None
    at, wrong = f"{weighed.other_theta_deg:.0f} degrees", 1.0 - weighed.as_read
    face = f"the stop slot of the {side.value} face"
    if weighed.other > weighed.as_read:
        say = f"{face} is likelier at {at} than where it was read, by photograph, beat and rest arc together."
        return Doubt(About.SLOT, say, f"Look there on the photograph; if it is the slot: {command}", side, wrong)
    say = (
        f"{face} is not plain to see; beat and rest arc speak for the place that was read, the next likely one lies "
        f"at {at}: all angles of the face count from it."
    )
    advice = f"Check on the overlay that the arrow points to the slot; if not: {command}"
    return Doubt(About.SLOT, say, advice, side, wrong)
