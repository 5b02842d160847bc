"""Pins to strikes and back: the two directions of the chain meet here, both through the strike equation of frame.py."""

from __future__ import annotations

from collections.abc import Iterable

from disc.frame import onset_s, theta_for, to_polar, to_xy_mm, turn_deg
from disc.records import Comb, Condition, Pin, Plate, Strike


def strikes_from_pins(
    pins: Iterable[Pin], comb: Comb, plate: Plate, as_it_stands: bool = False, with_missing: bool = False
) -> tuple[Strike, ...]:
    """The strikes of one turn, in order of the turn; pins without a tooth in the comb are left out.

    as_it_stands: a pin strikes where its tip is, lean included, as the disc would play now; otherwise where its root
    is, as its maker meant it. with_missing: missing pins and stubs count too. A pin whose tooth has no tip angle has no
    onset and is left out; turn/ estimates the angles first.
    """
    teeth = {tooth.number: tooth for tooth in comb.teeth}
    broken = {Condition.MISSING, Condition.STUB}
    strikes = []
    for pin in pins:
        tooth = None if pin.tooth is None else teeth.get(pin.tooth)
        if (
            tooth is None
            or tooth.tip_theta_deg is None
            or not (pin.plays or (with_missing and pin.condition in broken))
        ):
            continue
        turned = turn_deg(_strike_theta_deg(pin, as_it_stands), tooth.tip_deg, plate.turns)
        strikes.append(
            Strike(
                turn_deg=float(turned),
                onset_s=float(onset_s(turned, plate.revolution_s)),
                tooth=tooth.number,
                pitch=tooth.pitch,
                pin_id=pin.id,
                doubtful=pin.is_doubtful,
                silent=tooth.is_silent,
            )
        )
    return tuple(sorted(strikes, key=lambda strike: (strike.turn_deg, strike.tooth, strike.pin_id or 0)))


def _strike_theta_deg(pin: Pin, as_it_stands: bool) -> float:
    if not as_it_stands or pin.lean_x_mm is None or pin.lean_y_mm is None:
        return pin.theta_deg
    x_mm, y_mm = to_xy_mm(pin.r_mm, pin.theta_deg)
    return float(to_polar(x_mm + pin.lean_x_mm, y_mm + pin.lean_y_mm)[1])


def pins_from_strikes(strikes: Iterable[Strike], comb: Comb, plate: Plate) -> tuple[Pin, ...]:
    """Where pins must stand to play these strikes: on their tooth's track, numbered in order of the turn.

    Raises KeyError for a strike whose tooth the comb lacks, ValueError for a tooth whose tip angle is not known.
    """
    pins = []
    for number, strike in enumerate(sorted(strikes, key=lambda s: (s.turn_deg, s.tooth)), start=1):
        tooth = comb.tooth(strike.tooth)
        if tooth.tip_theta_deg is None:
            raise ValueError(f"tooth {tooth.number} has no tip angle")
        theta = theta_for(strike.turn_deg, tooth.tip_theta_deg, plate.turns)
        pins.append(Pin(id=number, side=tooth.side, r_mm=tooth.tip_r_mm, theta_deg=float(theta), tooth=tooth.number))
    return tuple(pins)
