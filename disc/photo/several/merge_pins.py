"""Readings of one face's pins from several photographs, brought together place by place.

Where a pin stands: each reading counts by its sigma. Whether it is there at all: the photographs' log-odds are added; a
photograph that shows the place has its say by what it makes of it, faint marks too, and speaks against it where it has
none. In which condition: the photographs' probabilities are multiplied; each counts as far as it shows a pin's length.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.frame import FloatArray, to_polar, to_xy_mm
from disc.photo.marks.pins_from_sites import SAME_PIN_MM, SQUARELY_MM
from disc.photo.seen.seen_map import SeenMap, seen_by_any
from disc.photo.several.fitting import places, turned_pins
from disc.photo.several.lay_on import lay_on
from disc.records import SOUNDING, Condition, Pin

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
LEAST_SAY = 0.05  # about conditions, of a photo that draws upright pins no longer than SQUARELY_MM
# Of the marks that a photograph takes for pins and that are none, another shows nothing in so many places (24 pairs of
# photographs of rendered faces that no network was trained on); what it misses of pins is counted pair by pair, begun
# as if one of ten were, and never taken for less than one of a hundred.
ALONE, MISSED, BEGUN_WITH, LEAST_MISSED = 0.7, 0.1, 10, 0.01
SURE = 0.98  # confidence of the pins by which that is counted
FAINT_PART = 0.25  # a mark that it does not believe speaks by its own odds, and by this part as if there were none
BELIEVED = 0.5  # even odds: what is likelier a pin than none is kept
UNTOLD_MM, LEAST_MM = 0.05, 0.004  # sigma of a place without one; no place is told better
KINDS = (Condition.SOUND, Condition.STUB, Condition.MISSING)  # what is told apart first: standing, broken off, empty


@dataclass(frozen=True, slots=True)
class ShownFace:
    """What one photograph shows of a face. faint: marks that it does not believe by itself. shown_mm: how long it draws
    an upright pin. seen: None: the whole face. turn_deg: by which it was turned onto the first."""

    pins: Sequence[Pin]
    faint: Sequence[Pin] = ()
    shown_mm: float = SQUARELY_MM
    seen: SeenMap | None = None
    turn_deg: float = 0.0

    def sees(self, pin: Pin) -> bool:
        """Whether it shows the place."""
        return self.seen is None or self.seen.is_seen(pin.r_mm, pin.theta_deg)


@dataclass(frozen=True, slots=True)
class _Said:
    """What one photograph says of a place, and how much it has to say about conditions."""

    pin: Pin
    say: float


def laid_on_first(photos: Sequence[ShownFace]) -> list[ShownFace]:
    """The photographs turned so that their pins lie on the first's, as far as they do: slots differ by a hair, or were
    misread."""
    return [photos[0], *(_onto(photos[0], other) for other in photos[1:])] if photos else []


def merge_pins(photos: Sequence[ShownFace]) -> tuple[Pin, ...]:
    """The face's pins by angle, of photographs that are laid on one another."""
    shown = [_where_seen(photo, photos) for photo in photos]
    lengths = np.array([photo.shown_mm for photo in shown])
    says = np.maximum(lengths**2 / (lengths**2 + SQUARELY_MM**2), LEAST_SAY)
    absent = [_odds_of_absence(photo, photos) for photo in shown]
    groups: list[dict[int, Pin]] = []
    for k, photo in enumerate(shown):
        for pin in photo.pins:
            near = _nearest([next(iter(group.values())) for group in groups], pin)
            if near is not None and k not in groups[near]:
                groups[near][k] = pin
            else:
                groups.append({k: pin})
    merged = []
    for group in groups:
        first = next(iter(group.values()))
        others = [k for k, photo in enumerate(shown) if k not in group and photo.sees(first)]
        doubt = [_odds_there(shown[k], first, absent[k]) for k in others]
        merged.append(_merge([_Said(pin, float(says[k])) for k, pin in group.items()], doubt))
    return tuple(sorted((p for p in merged if (p.confidence or 0) > BELIEVED), key=lambda p: p.theta_deg))


def _onto(first: ShownFace, other: ShownFace) -> ShownFace:
    laid = lay_on(places(first.pins), places(other.pins))
    if not laid.fits:
        return other
    pins, faint = (turned_pins(some, laid.turn_rad) for some in (other.pins, other.faint))
    seen = None if other.seen is None else other.seen.turned(float(np.degrees(laid.turn_rad)))
    return replace(other, pins=pins, faint=faint, seen=seen, turn_deg=float(np.degrees(laid.turn_rad)))


def _where_seen(photo: ShownFace, photos: Sequence[ShownFace]) -> ShownFace:
    """The photograph without what it says of places that it does not show and another does."""
    maps = [one.seen for one in photos if one.seen is not None]
    if photo.seen is None or len(maps) < len(photos):
        return photo
    whole = seen_by_any(maps)

    def keep(pins: Sequence[Pin]) -> list[Pin]:
        return [pin for pin in pins if photo.sees(pin) or not whole.is_seen(pin.r_mm, pin.theta_deg)]

    return replace(photo, pins=keep(photo.pins), faint=keep(photo.faint))


def _nearest(pins: Sequence[Pin], pin: Pin) -> int | None:
    """Which of the pins is the same as another; None where none lies near enough."""
    if not pins:
        return None
    gap = np.linalg.norm(places(pins) - to_xy_mm(pin.r_mm, pin.theta_deg), axis=1)
    k = int(gap.argmin())
    return k if gap[k] < SAME_PIN_MM else None


def _odds_of_absence(photo: ShownFace, photos: Sequence[ShownFace]) -> float:
    """What it says against a pin that a photograph has no mark there: how many of the others' sure pins it misses."""
    sure = [
        pin for other in photos if other.pins is not photo.pins for pin in other.pins if (pin.confidence or 0) > SURE
    ]
    sure = [pin for pin in sure if photo.sees(pin)]
    missed = sum(_nearest(photo.pins, pin) is None for pin in sure) + MISSED * BEGUN_WITH
    return float(np.log(max(missed / (len(sure) + BEGUN_WITH), LEAST_MISSED) / ALONE))


def _odds_there(photo: ShownFace, pin: Pin, absent: float) -> float:
    """What a photograph that does not believe in a pin says of its place, log-odds."""
    k = _nearest(photo.faint, pin)
    return absent if k is None else max(_odds(photo.faint[k]) + FAINT_PART * absent, absent)


def _odds(pin: Pin) -> float:
    sure = float(np.clip(0.5 if pin.confidence is None else pin.confidence, 1e-4, 1 - 1e-4))
    return float(np.log(sure / (1 - sure)))


def _merge(said: Sequence[_Said], doubt: Sequence[float]) -> Pin:
    """One pin. doubt: log-odds of the photographs that show the place and do not believe in it."""
    group = [one.pin for one in said]
    if len(group) == 1 and not doubt:
        return group[0]
    sigmas = np.array([pin.sigma_mm or UNTOLD_MM for pin in group])
    weight = sigmas**-2 / np.sum(sigmas**-2)
    x, y = weight @ np.array([to_xy_mm(pin.r_mm, pin.theta_deg) for pin in group])
    r, theta = to_polar(float(x), float(y))
    lean_x, lean_y = (
        float(weight @ [getattr(pin, name) or 0.0 for pin in group]) for name in ("lean_x_mm", "lean_y_mm")
    )
    # Photos of one face err alike in part (how feet, slot and rim look): half of the variance is not averaged away.
    own = 1 / np.sum(sigmas**-2)
    total = float(np.sum([_odds(pin) for pin in group]) + np.sum(doubt))
    condition, sure = _condition(said, weight)
    lead = max(group, key=lambda pin: pin.confidence or 0)
    like = next((pin for pin in group if pin.condition is condition), lead)
    return replace(
        lead,
        r_mm=float(r),
        theta_deg=float(theta),
        sigma_mm=max(float(np.sqrt((own + own * len(group)) / 2)), LEAST_MM),
        height_mm=like.height_mm,
        condition=condition,
        condition_probability=sure,
        confidence=float(1 / (1 + np.exp(-np.clip(total, -20, 20)))),
        lean_x_mm=lean_x,
        lean_y_mm=lean_y,
    )


def _condition(said: Sequence[_Said], weight: FloatArray) -> tuple[Condition, float | None]:
    """What all photographs together make of it, and the probability of the kind (standing, stub, hole)."""
    if all(one.pin.condition_probability is None for one in said):
        return _voted(said, weight, None), None
    says = np.array([one.say for one in said])
    odds = np.sum([say * kind_odds(one.pin) for one, say in zip(said, says / says.max(), strict=True)], 0)
    chance = np.exp(odds - odds.max())
    chance /= chance.sum()
    k = int(chance.argmax())
    return _voted(said, weight, KINDS[k]), float(chance[k])


def kind_of(pin: Pin) -> Condition:
    """As what a pin was seen, whether or not its place is explained."""
    if pin.condition in SOUNDING:
        return Condition.SOUND
    if pin.condition is Condition.EXTRA:
        return Condition.MISSING if pin.height_mm == 0 else Condition.SOUND if pin.height_mm else Condition.STUB
    return pin.condition


def kind_odds(pin: Pin) -> FloatArray:
    """Logarithms of the kinds' probabilities; what is not this kind is shared by the others."""
    sure = float(np.clip(1.0 if pin.condition_probability is None else pin.condition_probability, 0.02, 0.98))
    return np.log([sure if kind is kind_of(pin) else (1 - sure) / 2 for kind in KINDS])


def _voted(said: Sequence[_Said], weight: FloatArray, kind: Condition | None) -> Condition:
    """The condition by the photographs' votes among those of the kind."""
    votes: dict[Condition, float] = {}
    for one, part in zip(said, weight, strict=True):
        if kind is None or kind_of(one.pin) is kind:
            votes[one.pin.condition] = votes.get(one.pin.condition, 0.0) + one.say * float(part)
    return max(votes, key=lambda c: votes[c]) if votes else kind or said[0].pin.condition
