"""What close-ups show, brought into the pins of the whole face: places refined, conditions settled, gaps told."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray, to_polar, to_xy_mm
from disc.photo.close_up.read_close_up import CloseUp
from disc.photo.marks.pins_from_sites import BENT_MM, SAME_PIN_MM
from disc.photo.several.merge_pins import KINDS, kind_odds, kind_of
from disc.records import UNSTATED_SIGMA_MM, Condition, Pin
from disc.words import counted

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
APART_SIGMAS, APART_MM = 3.5, 0.06  # two close-ups that put one pin farther apart than both disagree
# What the whole face says of a condition counts so much beside what a close-up says, which is sharper and nearer to the
# scale at which the networks look. A pin that it should show and does not is the less likely to be there (log-odds).
WHOLE_SAYS, NOT_SHOWN = 0.7, 2.5
NEW_CONFIDENCE = 0.8  # from which what only a close-up shows is added
OWN_MM, ALONE_MM = 0.012, 0.05  # sigma of a close-up's places beside its own; where too few pins align it
STANDING = frozenset({Condition.SOUND, Condition.BENT})
FEWEST_UPRIGHT = 3  # pins whose common lean is told; chosen, a median of fewer is one pin's own
MARGIN_MM = 0.3  # of a close-up's edge, where pins are seen in part


@dataclass(frozen=True, slots=True)
class LaidIn:
    """pins: the face's. notes: what a person should know."""

    pins: tuple[Pin, ...]
    notes: tuple[str, ...]


def lay_in(pins: Sequence[Pin], close_ups: Sequence[CloseUp]) -> LaidIn:
    """The face's pins with what its close-ups show."""
    notes: list[str] = []
    placed = []
    for one in close_ups:
        if one.doubtful:
            notes.append(
                f"{one.photo.path.name}: its place on the face is doubtful: {one.reason}. Nothing of it was used; take "
                "in more pins, five at least."
            )
            continue
        if one.mirrored:
            notes.append(f"{one.photo.path.name}: the picture is mirrored, as some microscopes draw it; turned back.")
        placed.append(one)
    notes += _disagreements(placed)
    kept = list(pins)
    changed = 0
    for one in placed:
        kept, count = _with(kept, one)
        changed += count
    if placed:
        notes.append(
            f"{len(placed)} close-up{'s' if len(placed) > 1 else ''} laid in: {changed} "
            f"condition{'s' if changed != 1 else ''} settled otherwise than by the whole face."
        )
    return LaidIn(tuple(sorted(kept, key=lambda pin: pin.theta_deg)), tuple(notes))


def _xy(pins: Sequence[Pin]) -> FloatArray:
    return np.array([to_xy_mm(pin.r_mm, pin.theta_deg) for pin in pins]).reshape(-1, 2)


def _pairs(a: FloatArray, b: FloatArray) -> list[tuple[int, int]]:
    """Places of the one on the other, each once."""
    from scipy.optimize import linear_sum_assignment

    gap = np.linalg.norm(a[:, None] - b[None], axis=2)
    i, j = linear_sum_assignment(np.minimum(gap, 2 * SAME_PIN_MM))
    return [(int(p), int(q)) for p, q in zip(i, j, strict=True) if gap[p, q] < SAME_PIN_MM]


def _disagreements(placed: Sequence[CloseUp]) -> list[str]:
    """Words where two close-ups put one pin in two places, see two conditions, or one shows nothing at a sure site."""
    words = []
    for k, one in enumerate(placed):
        for other in placed[k + 1 :]:
            a, b = _xy(one.pins), _xy(other.pins)
            both = _pairs(a, b)
            off = [float(np.linalg.norm(a[i] - b[j])) for i, j in both]
            far = [
                d
                for d, (i, j) in zip(off, both, strict=True)
                if d > max(APART_MM, APART_SIGMAS * math.hypot(_sigma_mm(one.pins[i]), _sigma_mm(other.pins[j])))
            ]
            unlike = sum(one.pins[i].condition is not other.pins[j].condition for i, j in both)
            lone = _alone(one, other, {i for i, _ in both}) + _alone(other, one, {j for _, j in both})
            if far or unlike or lone:
                names = f"{one.photo.path.name} and {other.photo.path.name}"
                parts = (
                    [f"{counted(len(far), 'place differs', 'places differ')} by up to {max(far):.2f} mm"] if far else []
                )
                parts += [counted(unlike, "condition differs", "conditions differ")] if unlike else []
                parts += [counted(lone, "site stands in one only", "sites stand in one only")] if lone else []
                words.append(f"{names} overlap and do not agree: {', '.join(parts)}. Look at them on the overlay.")
    return words


def _alone(one: CloseUp, other: CloseUp, paired: set[int]) -> int:
    """How many of a close-up's sure sites another one shows the place of, and nothing there, not even a faint mark."""
    at, faint = _xy(one.pins), _xy(other.faint)
    inside = covered(at, other.outline_mm) if len(at) else np.zeros(0, bool)
    return sum(
        k not in paired
        and bool(inside[k])
        and (pin.confidence or 0.0) > NEW_CONFIDENCE
        and not bool(np.any(np.linalg.norm(faint - at[k], axis=1) < SAME_PIN_MM))
        for k, pin in enumerate(one.pins)
    )


def _with(pins: list[Pin], close_up: CloseUp) -> tuple[list[Pin], int]:
    """The pins with one close-up, and how many conditions it changed."""
    close_up = replace(close_up, pins=_aligned(close_up.pins, pins))
    at, seen = _xy(pins), _xy(close_up.pins)
    both = dict(_pairs(at, seen))
    close_up = replace(close_up, pins=_as_upright(close_up.pins, pins, both))
    shown = covered(at, close_up.outline_mm)
    out: list[Pin] = []
    changed = 0
    for k, pin in enumerate(pins):
        if k in both:
            merged = _merged(pin, close_up.pins[both[k]])
            changed += merged.condition is not pin.condition
            out.append(merged)
        elif shown[k] and pin.confidence is not None:
            out.append(replace(pin, confidence=_sure(_odds(pin.confidence) + _odds_there(pin, close_up))))
        else:
            out.append(pin)
    taken = set(both.values())
    for k, pin in enumerate(close_up.pins):
        if k not in taken and (pin.confidence or 0.0) > NEW_CONFIDENCE:
            out.append(pin)
    return [pin for pin in out if pin.confidence is None or pin.confidence > 0.5], changed


def _odds_there(pin: Pin, close_up: CloseUp) -> float:
    """What a close-up that does not believe in a pin says of its place, log-odds: it may have seen something there."""
    if not close_up.faint:
        return -NOT_SHOWN
    gap = np.linalg.norm(_xy(close_up.faint) - _xy([pin]), axis=1)
    k = int(gap.argmin())
    return max(_odds(close_up.faint[k].confidence), -NOT_SHOWN) if gap[k] < SAME_PIN_MM else -NOT_SHOWN


def _aligned(near: Sequence[Pin], whole: Sequence[Pin]) -> tuple[Pin, ...]:
    """A close-up's pins moved, turned and scaled onto the whole face's: what all of them are off by is the close-up's
    own slant, hardly told by a few pins, or where it was laid."""
    both = _pairs(_xy(whole), _xy(near))
    if len(both) < 3:
        return tuple(replace(pin, sigma_mm=float(np.hypot(pin.sigma_mm or 0.0, ALONE_MM))) for pin in near)
    a, b = (xy @ [1, 1j] for xy in (_xy([near[j] for _, j in both]), _xy([whole[i] for i, _ in both])))
    weight = np.ones(len(a))
    move = turn = 0j
    for _ in range(5):
        ma, mb = np.average(a, weights=weight), np.average(b, weights=weight)
        turn = np.sum(weight * np.conj(a - ma) * (b - mb)) / max(float(np.sum(weight * np.abs(a - ma) ** 2)), 1e-9)
        move = mb - turn * ma
        left = np.abs(b - turn * a - move)
        weight = 1 / (1 + (left / (2.5 * max(float(np.median(left)), 0.01))) ** 2)
    out = []
    for pin, z in zip(near, turn * (_xy(near) @ [1, 1j]) + move, strict=True):
        r, theta = to_polar(z.real, z.imag)
        sigma = float(np.hypot(pin.sigma_mm or 0.0, OWN_MM))
        out.append(replace(pin, r_mm=float(r), theta_deg=float(theta) % 360.0, sigma_mm=sigma))
    return tuple(out)


def _as_upright(near: Sequence[Pin], whole: Sequence[Pin], both: dict[int, int]) -> tuple[Pin, ...]:
    """A close-up's pins without the lean that all of them show beyond the whole face's: that is the picture's slant,
    which a handful of pins tells badly. both: which of the face's pins is which of its own."""
    pairs = [(whole[i], near[j]) for i, j in both.items() if {whole[i].condition, near[j].condition} <= STANDING]
    if len(pairs) < FEWEST_UPRIGHT:
        return tuple(near)
    x, y = (
        float(np.median([(getattr(b, name) or 0.0) - (getattr(a, name) or 0.0) for a, b in pairs]))
        for name in ("lean_x_mm", "lean_y_mm")
    )
    return tuple(
        pin
        if pin.lean_x_mm is None or pin.lean_y_mm is None
        else replace(pin, lean_x_mm=pin.lean_x_mm - x, lean_y_mm=pin.lean_y_mm - y)
        for pin in near
    )


def covered(xy: FloatArray, outline_mm: FloatArray) -> npt.NDArray[np.bool_]:
    """Which places (n, 2) lie well inside a four-cornered outline (4, 2), whichever way round it runs."""
    inside = np.ones(len(xy), bool)
    middle = outline_mm.mean(0)
    for a, b in zip(outline_mm, np.roll(outline_mm, -1, 0), strict=True):
        along = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9)
        across = np.array([-along[1], along[0]])
        across = across * np.sign(float((middle - a) @ across) or 1.0)
        inside &= (xy - a) @ across > MARGIN_MM
    return inside


def _odds(confidence: float | None) -> float:
    p = min(max(0.5 if confidence is None else confidence, 1e-4), 1 - 1e-4)
    return float(np.log(p / (1 - p)))


def _sure(odds: float) -> float:
    return float(1 / (1 + np.exp(-np.clip(odds, -20, 20))))


def _merged(whole: Pin, near: Pin) -> Pin:
    """One pin by both: places weighed by their sigmas, conditions by how sure each is told."""
    a, b = 1 / _sigma_mm(whole) ** 2, 1 / _sigma_mm(near) ** 2
    xy = (a * _xy([whole])[0] + b * _xy([near])[0]) / (a + b)
    r, theta = to_polar(float(xy[0]), float(xy[1]))
    lead, sure = _condition(whole, near)
    if whole.condition is Condition.EXTRA and kind_of(near) is kind_of(lead):
        lead = whole  # whether a track or tune explains it is not seen in a close-up
    elif whole.condition in STANDING and near.condition in STANDING:
        lead = _leaning(whole, near)
    both = _odds(whole.confidence) + _odds(near.confidence)
    return replace(
        whole,
        r_mm=float(r),
        theta_deg=float(theta) % 360.0,
        sigma_mm=float(max((a + b) ** -0.5, 0.004)),
        condition=lead.condition,
        condition_probability=sure,
        lean_x_mm=lead.lean_x_mm,
        lean_y_mm=lead.lean_y_mm,
        height_mm=_height(lead.condition, lead.height_mm, whole.height_mm),
        confidence=None if whole.confidence is None else _sure(both),
    )


def _condition(whole: Pin, near: Pin) -> tuple[Pin, float | None]:
    """Which of both has the condition right (the close-up, where both have the same), and the probability of the kind.

    Nothing is weighed against what a person set, or what neither judged.
    """
    if whole.condition_probability is None or near.condition_probability is None:
        return near, None
    # The mean, not the sum: one network judges both, and errs alike.
    odds = (WHOLE_SAYS * kind_odds(whole) + kind_odds(near)) / (WHOLE_SAYS + 1)
    chance = np.exp(odds - odds.max())
    kind = KINDS[int(chance.argmax())]
    return near if kind_of(near) is kind else whole, float(chance.max() / chance.sum())


def _leaning(whole: Pin, near: Pin) -> Pin:
    """Of a standing pin: both leans' mean tells whether it is bent, if each shows it. A few pins tell a close-up's own
    slant badly, and a shadow's end, drawn large, is taken for a tip: what the whole face shows upright is not bent."""
    leans = np.array([[pin.lean_x_mm or 0.0, pin.lean_y_mm or 0.0] for pin in (whole, near)])
    mean = leans.mean(0)
    far = float(np.hypot(*mean))
    bent = far > BENT_MM and bool(np.all(leans @ mean / max(far, 1e-9) > BENT_MM / 2))
    if not bent and near.condition is Condition.BENT:
        mean = leans[0]  # what the close-up took for a tip is none
    x, y = float(mean[0]), float(mean[1])
    return replace(near, lean_x_mm=x, lean_y_mm=y, condition=Condition.BENT if bent else Condition.SOUND)


def _height(condition: Condition, seen: float | None, whole: float | None) -> float | None:
    """A close-up tells no height but that of a hole."""
    if condition is Condition.MISSING:
        return 0.0
    if condition is Condition.STUB:
        return None
    return seen if seen else (whole or None)


def _sigma_mm(pin: Pin) -> float:
    return pin.sigma_mm or UNSTATED_SIGMA_MM
