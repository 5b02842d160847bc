"""Does it fit? What is likely wrong with what was given, each with the command that corrects it.

As given, the faces swapped, another scale, one face of another disc, another comb: told by the tracks (tracks.py). A
stop slot at the wrong place: by beat and rest arc (phases.py) and by the melody that both faces make (melodies.py). The
wrong way of turning: by music, rest arc and bent pins (direction.py).
Figures are from sixteen rendered discs and what was done to them in tests/bench/measure/fits.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from disc.doubts import TOLD_FROM
from disc.frame import FloatArray
from disc.records import About, Comb, Doubt, Pin, Plate, Side, Strike
from disc.turn.fit.melodies import TurnedFaces, load_tables, turned_faces
from disc.turn.fit.phases import EDGE_DEG, Phases, phases_of
from disc.turn.fit.tracks import NEAR, WIDE, Lay, lay_both, sure_radii
from disc.words import counted

# Nats a pin from which a face lies on a comb's tracks. Measured: on sixteen discs the true comb gave 1.11 and more,
# another disc's comb, face or scale at most 1.02, swapped faces at one scale for both at most 1.33 on one of the two.
FITS = 1.05
# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
FEWEST_PINS = 10  # fewer lie on any tracks
BETTER_BY = 8.0  # nats that an alternative must be ahead by, all pins together
NAMED = 0.97  # of the causes named from tracks so many were right, at least: all of 96 on the development discs
WRONG_SCALE = 0.03  # a caliper is not off by more
# A slot at the wrong place: before looking; how far true faces stand apart on the beat (as a share of its step), and
# how often a true disc has no, one, more pins in the rest arc.
SLOT_BEFORE, APART_SIGMA, IN_REST = 0.10, 0.035, (0.96, 0.035, 0.005)
# Where all strikes leave an arc of the rest arc's width free elsewhere, and not at rest: on none of sixteen discs, on
# nearly all with both slots turned; counted as no more than a dozen to one.
ELSEWHERE = 2.5
FARTHEST_NATS = 6.0  # that faces apart on the beat may count against both slots being right
NEXT_IN_REST = 0.3  # of the chance of one pin fewer in the rest arc, from the third on
MOST_MELODY = 5.0  # nats, either way; as many discs were tried


def fit_doubts(pins: Sequence[Pin], comb: Comb, plate: Plate, strikes: Sequence[Strike]) -> tuple[Doubt, ...]:
    """Doubts about faces, diameter, disc, comb and slot. A draft comb is made from the pins and tells nothing."""
    if comb.draft:
        return ()
    radii = {side: sure_radii(pins, side) for side in Side}
    by_tracks = _by_tracks({s: r for s, r in radii.items() if len(r) >= FEWEST_PINS}, comb, plate)
    if by_tracks is not None:
        return (by_tracks,)  # what the strikes then say is said of nothing
    slot = _slot(phases_of(strikes, pins, plate.rest_arc_deg), turned_faces(strikes, pins), plate)
    return () if slot is None else (slot,)


def _by_tracks(radii: dict[Side, FloatArray], comb: Comb, plate: Plate) -> Doubt | None:
    if not radii:
        return None
    all_sides = {side: radii.get(side, np.empty(0)) for side in Side}
    given = lay_both(all_sides, comb, NEAR)
    swapped = lay_both(all_sides, comb, NEAR, swapped=True)
    # Both ways may lie on tracks where those of the faces stand alike; the right way was ahead by 20 nats even there.
    if _fit(swapped) and _ahead(swapped, given):
        say = "the pins of each face lie on the other face's tracks: upper and lower photograph are swapped."
        return Doubt(
            About.FACES, say, "Read them the other way round: disc read JOB --upper LOWER --lower UPPER", None, NAMED
        )
    if _fit(given):
        return None
    wide, turned = lay_both(all_sides, comb, WIDE), lay_both(all_sides, comb, WIDE, swapped=True)
    best, also = (wide, "") if _total(wide) >= _total(turned) else (turned, " with upper and lower swapped")
    scale = next(iter(best.values())).scale
    if _fit(best) and _ahead(best, given) and abs(scale - 1.0) > WRONG_SCALE:
        right = plate.diameter_mm / scale
        say = f"the pins fit the comb if the disc is {right:.1f} mm across, not {plate.diameter_mm:.1f} mm{also}."
        return Doubt(About.DIAMETER, say, f"Measure it again; then disc set JOB --diameter-mm {right:.1f}", None, NAMED)
    good = [side for side, one in given.items() if one.nats >= FITS]
    if len(good) == 1 and len(given) == 2:
        bad = next(side for side in given if side not in good)
        say = f"the {good[0].value} face lies on the comb's tracks, the {bad.value} face does not: two different discs?"
        return Doubt(
            About.DISC,
            say,
            f"Look at the photograph of the {bad.value} side; read it again with disc read.",
            bad,
            NAMED,
        )
    say = "the pins lie on no tracks of this comb, at no scale and whichever face is upper: it is another disc's comb."
    return Doubt(
        About.COMB, say, "Give this disc's comb (disc comb JOB --table FILE), or a draft (--from-pins).", None, NAMED
    )


def _fit(laid: dict[Side, Lay]) -> bool:
    return all(one.nats >= FITS for one in laid.values())


def _total(laid: dict[Side, Lay]) -> float:
    return sum(one.total for one in laid.values())


def _ahead(laid: dict[Side, Lay], given: dict[Side, Lay]) -> bool:
    return _total(laid) - _total(given) > BETTER_BY


def _slot(phases: Phases, turned: TurnedFaces | None, plate: Plate) -> Doubt | None:
    """Whether a face's stop slot is at the wrong place; the worse of the two, or both alike."""
    odds = {side: rest_odds(phases, side, plate.rest_arc_deg) for side in Side}
    worse = max(odds, key=lambda side: odds[side])
    beat = 0.0 if phases.apart is None else apart_odds(phases.apart)
    melody = melody_odds(turned)
    one = odds[worse] + beat + melody
    both = sum(odds.values()) + (ELSEWHERE if phases.rests_elsewhere else 0.0)
    log_odds = math.log(SLOT_BEFORE / (1.0 - SLOT_BEFORE)) + max(one, both)
    probability = 1.0 / (1.0 + math.exp(-log_odds))
    if probability < TOLD_FROM:
        return None
    which = "both faces" if both > one else f"the {worse.value} face"
    told = (
        [f"{counted(sum(phases.in_rest.values()), 'pin')} would sound within the rest arc"]
        if any(phases.in_rest.values())
        else []
    )
    told += ["the two faces keep no common beat"] if beat > 1.0 else []
    if turned is not None and melody > 1.0:
        told.append(f"the two faces would make a likelier melody turned by {abs(turned.best_deg):.0f} degrees")
    say = f"the stop slot of {which} seems to be marked at the wrong place: {' and '.join(told)}."
    mark = f"disc read JOB --{worse.value} PHOTO --slot-{worse.value} u,v"
    advice = f"Look at the overlay; mark the slot: {mark} (pixels), or at the desk."
    return Doubt(About.SLOT, say, advice, None if both > one else worse, min(probability, NAMED))


def melody_odds(turned: TurnedFaces | None) -> float:
    """ln of (chance of such a lead if one slot is anywhere / if both are right)."""
    if turned is None:
        return 0.0
    fitted = load_tables().turned
    return max(-MOST_MELODY, min(MOST_MELODY, fitted["bias"] + fitted["slope"] * turned.lead))


def apart_odds(apart: float) -> float:
    """ln of (density of this distance if one slot is anywhere / if both are right), distances being 0 to 0.5."""
    right = 2.0 * math.exp(-0.5 * (apart / APART_SIGMA) ** 2) / (APART_SIGMA * math.sqrt(2.0 * math.pi))
    return math.log(2.0 / max(right, 2.0 * math.exp(-FARTHEST_NATS)))


def rest_odds(phases: Phases, side: Side, rest_arc_deg: float) -> float:
    """ln of (chance of so many strikes in the rest arc if the slot is anywhere / if it is right)."""
    width = max(rest_arc_deg - 2.0 * EDGE_DEG, 0.0)
    mean = phases.of[side] * width / 360.0
    found = phases.in_rest[side]
    if mean <= 0.0:
        return 0.0
    anywhere = math.exp(found * math.log(mean) - mean - math.lgamma(found + 1))
    right = IN_REST[found] if found < 2 else IN_REST[2] * NEXT_IN_REST ** (found - 2)
    return math.log(max(anywhere, 1e-6) / right)
