"""Which likely sites are real: the networks' opinions, the common slant and the tracks weighed together.

All are log-odds in nats and simply added. A site is never made where the networks saw nothing.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.photo.fitted import likeness, site_weights
from disc.photo.marks.slant import Slant, fit_slant
from disc.photo.marks.spots import HOLE, PIN, STUB, Spots, thin_out
from disc.photo.marks.tint import tint_odds
from disc.photo.plane.face_plane import Plane
from disc.photo.plane.joint import APART_SCALES, spreads
from disc.photo.plane.settle import heaps

# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Marks that are no sites are drawn short by the networks: this part of them with a tip this near their root.
SHORT, SHORT_MM = 0.8, 0.05
# How alike a mark looks to the face's sure pins: for fewer of these nothing is said; what leans less is upright here;
# least spread of the pins' correlation.
FEWEST_ALIKE, UPRIGHT_MM, LIKE_WIDTH = 8, 0.08, 0.06
# A pin stands on its tooth's track to some 0.03 mm. Few stand between tracks; where there is room for a track of its
# own, a tooth that sounds once a turn may have one (common practice, no source).
ON_TRACK_MM, BETWEEN, ALONE = 0.035, 0.06, 0.20
# Tracks lie at least this far apart, or two teeth would meet the same pins (common practice, no source).
TRACK_GAP_MM = 0.34
TOLD = 3.0  # log-odds of the sites, two at least, that make the tracks that are told
# A mark whose tip falls on another site's tip is that pin's shadow or mirror image.
SAME_TIP_MM = 0.13
# Two marks with one tip are one pin seen twice, its foot lost in its own shadow, where the foot that the common slant
# asks for lies between theirs: so near must the tips be, and the foot to their line; the slant must show so much, mm.
ONE_TIP_MM, IN_LINE_MM, FAINTEST_SLANT_MM, FAINTEST = 0.08, 0.05, 0.1, -4.0
DOUBTED = 1.0  # log-odds of the networks below which a pin may be a shadow that ends at another's foot
BENT_SHARE = 0.07  # bent pins among standing ones on a worn disc (common practice, no source)
WRONG_WAY = 0.01  # part of pins that a network sees upside down (chosen, no source)
SURE, MOST_UPRIGHT = 2.0, 0.95  # log-odds of the networks of pins that tell how many follow the field; at most so many
LIKELY_PIN = -3.0  # log-odds of the networks from which a pin has a say, by its odds, in the common slant
# Two marks are one pin's ends where each has its tip this near the other's root, and neither is thought nothing by the
# networks: on 34 faces of two renderers the three such pairs were bent pins; pairs of dirt were thought nothing.
BOTH_ENDS_MM, BOTH_ENDS_LEAST, BOTH_ENDS = 0.2, -2.5, 2.0
BEND_REACH_MM = 0.55  # a bent pin's tip is at most about its own length from its root


def network_odds(spots: Spots) -> FloatArray:
    """Log-odds that each is a site, from the pictures alone."""
    weigh = site_weights()
    return weigh.coarse * _logit(spots.coarse) + weigh.closer * _logit(spots.heat) - weigh.zero


def common_slant(spots: Spots, plane: Plane, near: Slant | None = None) -> Slant:
    """The slant that likely pins share, by the pictures alone. spots: in the plane's view mm. near: as in fit_slant."""
    odds = network_odds(spots)
    pin = (spots.kind.argmax(1) == PIN) & (odds > LIKELY_PIN)
    sigma = np.hypot(spots.sigma_root, spots.sigma_tip)[pin]
    return fit_slant(spots.root[pin], spots.tip[pin], sigma, 1 / (1 + np.exp(-odds[pin])), plane, near)


def site_odds(spots: Spots, radii: FloatArray, radius_mm: float, slant: Slant, bore_mm: float) -> FloatArray:
    """Log-odds with everything weighed. spots: view mm. radii: of their roots, mm."""
    odds, weigh = network_odds(spots), site_weights()
    kind = spots.kind.argmax(1)
    left = np.linalg.norm(spots.tip - spots.root - slant.at(spots.root), axis=1)
    odds = odds + weigh.alike * np.where((kind == PIN) & (left < UPRIGHT_MM), alike(spots, slant), 0.0)
    odds = odds + np.where(kind == PIN, weigh.slant * _slant_odds(spots, left, slant), -weigh.no_pin)
    odds = odds + np.where(kind != HOLE, _tint_odds(spots, left), 0.0)
    tracks = sure_tracks(spots, radii, odds, weigh.makes_track)
    odds = odds + weigh.track * track_odds(radii, tracks, radius_mm)
    # Nothing is pinned on the rim's edge (a gear's teeth are 0.3 mm deep and more), in the bore or on the arbor.
    off_face = (radii > radius_mm - 0.40) | (radii < max(0.5 * bore_mm, 0.09 * radius_mm))
    odds = np.where(off_face, -20.0, odds)
    return _without_shadows(spots, *_by_both_ends(spots, odds, kind), kind, left)


def _tint_odds(spots: Spots, left: FloatArray) -> FloatArray:
    """Log-odds by colour; 0 without enough pins that tell the wire's."""
    sure = (spots.kind.argmax(1) == PIN) & (network_odds(spots) > SURE) & (left < UPRIGHT_MM)
    if sure.sum() < FEWEST_ALIKE:
        return np.zeros(len(spots))
    return tint_odds(spots.tint, spots.tint[sure])


def _logit(p: FloatArray) -> FloatArray:
    q = np.clip(np.asarray(p, float), 1e-5, 1 - 1e-5)
    return np.log(q / (1 - q))


def _slant_odds(spots: Spots, left: FloatArray, slant: Slant) -> FloatArray:
    """Pins follow the field, as many as the sure ones here do; marks that are none are short, or point anywhere.

    So where an upright pin would show nothing of its length, following the field says nothing.
    """
    if slant.pins < 10:
        return np.zeros_like(left)
    _, foot, tip = spreads(spots.sigma_root, spots.sigma_tip, slant, APART_SCALES)
    sigma = np.maximum(np.hypot(foot, tip).mean(1), np.hypot(slant.sigma_mm, 0.01))
    sure = (network_odds(spots) > SURE) & (spots.kind.argmax(1) == PIN)
    follow = min((np.sum(sure & (left < 2.5 * sigma)) + 1) / (np.sum(sure) + 2), MOST_UPRIGHT)
    anywhere = 1 / (np.pi * BEND_REACH_MM**2)
    pin = follow * _spread(left, sigma) + (1 - follow) * anywhere
    drawn = np.linalg.norm(spots.tip - spots.root, axis=1)
    none = SHORT * _spread(drawn, np.hypot(SHORT_MM, sigma)) + (1 - SHORT) * anywhere
    return np.asarray(np.log(pin / none))


def _spread(off: FloatArray, sigma: FloatArray) -> FloatArray:
    """Density of a normal error of both axes at distances off, per mm2."""
    return np.asarray(np.exp(-0.5 * (off / sigma) ** 2) / (2 * np.pi * sigma**2))


def feet_by_slant(spots: Spots, slant: Slant) -> Spots:
    """Pins seen twice, with one tip and a foot to either side of where it must be, get that foot. spots: view mm.

    And those seen the wrong way round, whose tip would be a good foot, are turned.
    """
    if slant.pins < 10:
        return spots
    spots = _turned_round(spots, slant)
    pins = np.nonzero((spots.kind.argmax(1) == PIN) & (network_odds(spots) > FAINTEST))[0]
    apart = np.linalg.norm(spots.tip[pins][:, None] - spots.tip[pins][None], axis=2)
    i, j = (pins[k] for k in np.nonzero(np.triu(apart < ONE_TIP_MM, 1)))
    weight = 1 / np.stack([spots.sigma_tip[i], spots.sigma_tip[j]])[..., None] ** 2
    tip = (weight * np.stack([spots.tip[i], spots.tip[j]])).sum(0) / weight.sum(0)
    foot = (tip + np.asarray(slant.shift)) / (1 + slant.gain)
    line, there = spots.root[j] - spots.root[i], foot - spots.root[i]
    length = np.maximum(np.hypot(*line.T), 1e-9)
    along = np.sum(line * there, 1) / length
    beside = np.abs(line[:, 0] * there[:, 1] - line[:, 1] * there[:, 0]) / length
    one = (along > 0) & (along < length) & (length > ONE_TIP_MM) & (beside < IN_LINE_MM)
    one &= np.hypot(*(tip - foot).T) > FAINTEST_SLANT_MM
    root, top = spots.root.copy(), spots.tip.copy()
    odds = network_odds(spots)
    surer = np.where(odds[i] >= odds[j], i, j)[one]
    root[surer], top[surer] = foot[one], tip[one]
    moved = replace(spots, root=root, tip=top)
    return thin_out(moved.pick(np.argsort(-odds, kind="stable")))


def _turned_round(spots: Spots, slant: Slant) -> Spots:
    """Tip and foot exchanged where the slant says so: of a dark pin in soft light both ends look alike."""
    _, foot, tip = spreads(spots.sigma_root, spots.sigma_tip, slant, APART_SCALES)
    sigma = np.maximum(np.hypot(foot, tip).mean(1), np.hypot(slant.sigma_mm, 0.01))
    left = np.linalg.norm(spots.tip - spots.root - slant.at(spots.root), axis=1)
    back = np.linalg.norm(spots.root - spots.tip - slant.at(spots.tip), axis=1)
    straight = (1 - BENT_SHARE) * _spread(left, sigma) + BENT_SHARE / (np.pi * BEND_REACH_MM**2)
    wrong = (spots.kind.argmax(1) == PIN) & (WRONG_WAY * _spread(back, sigma) > straight)
    turned = replace(
        spots, root=spots.tip, tip=spots.root, sigma_root=spots.sigma_tip, sigma_tip=spots.sigma_root
    ).pick(wrong)
    return spots.replaced(np.nonzero(wrong)[0], turned)


def alike(spots: Spots, slant: Slant) -> FloatArray:
    """Log-odds that each mark looks as the face's own sure upright pins do, not as other marks; 0 without enough pins.

    All stand in one light, and are of one wire: the picture about a tip is correlated with the others' mean.
    """
    left = np.linalg.norm(spots.tip - spots.root - slant.at(spots.root), axis=1)
    sure = (spots.kind.argmax(1) == PIN) & (network_odds(spots) > SURE) & (left < UPRIGHT_MM)
    if sure.sum() < FEWEST_ALIKE or not spots.crop.shape[1]:
        return np.zeros(len(spots))
    # Nobody is compared with a mean that he is part of.
    mean = spots.crop[sure].sum(0) - np.where(sure[:, None], spots.crop, 0.0)
    like = np.sum(spots.crop * mean, 1) / np.maximum(np.linalg.norm(mean, axis=1), 1e-9)
    middle = np.median(like[sure])
    width = np.hypot(1.4826 * np.median(np.abs(like[sure] - middle)), LIKE_WIDTH)
    pin = -2.5 * np.log1p(np.minimum(like - middle, 0) ** 2 / (4 * width**2)) - np.log(width)
    at, wide = likeness().other_middle, likeness().other_width
    other = -2.5 * np.log1p(np.maximum(like - at, 0) ** 2 / (4 * wide**2)) - np.log(wide)
    return np.asarray(np.clip(pin - other, -4.0, 4.0))


def sure_tracks(spots: Spots, radii: FloatArray, odds: FloatArray, least: float = TOLD) -> FloatArray:
    """Radii of the tracks that sites of at least these log-odds make."""
    sure = odds > least
    if np.sum(sure) < 10:
        return np.zeros(0)
    label, tracks = heaps(radii[sure], np.ones(int(sure.sum())), 0.05)
    count = np.bincount(label, minlength=len(tracks))
    return np.array([t for t, n in zip(tracks, count, strict=True) if n >= 2])


def track_odds(radii: FloatArray, tracks: FloatArray, radius_mm: float) -> FloatArray:
    """Real sites lie on tracks, chance marks anywhere along the radius."""
    if not len(tracks):
        return np.zeros_like(radii)
    span = 0.7 * radius_mm
    d = radii[:, None] - tracks
    density = np.exp(-0.5 * (d / ON_TRACK_MM) ** 2).sum(1) / (ON_TRACK_MM * np.sqrt(2 * np.pi) * len(tracks))
    elsewhere = np.where(np.abs(d).min(1) > TRACK_GAP_MM, ALONE, BETWEEN)
    return np.log((1 - elsewhere) * density * span + elsewhere)


def _by_both_ends(
    spots: Spots, odds: FloatArray, kind: npt.NDArray[np.int_]
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """A long pin that leans may be read twice, from its foot and from its tip: it is there all the likelier, and stands
    at the end that is a site's place sooner. Returns the odds, and which marks are such a pin's foot (n,)."""
    told = network_odds(spots)
    able = np.nonzero((kind == PIN) & (told > BOTH_ENDS_LEAST))[0]
    root, tip = spots.root[able], spots.tip[able]
    there = np.linalg.norm(tip[:, None] - root[None], axis=2) < BOTH_ENDS_MM
    apart = np.linalg.norm(root[:, None] - root[None], axis=2) > BOTH_ENDS_MM
    odds, foot = odds.copy(), np.zeros(len(odds), bool)
    for a, b in zip(*np.nonzero(np.triu(there & there.T & apart, 1)), strict=True):
        first, second = sorted((int(able[a]), int(able[b])), key=lambda k: -odds[k])
        odds[first], odds[second], foot[first] = odds[first] + BOTH_ENDS, -20.0, True
    return odds, foot


def _without_shadows(
    spots: Spots, odds: FloatArray, both: npt.NDArray[np.bool_], kind: npt.NDArray[np.int_], left: FloatArray
) -> FloatArray:
    """A pin's shadow, read as a bent pin, has its tip where the pin itself stands: the less upright one goes.

    both (n,): seen from both ends, and so no shadow.
    """
    odds = odds.copy()
    pins = np.nonzero((kind == PIN) & (odds > -3.0))[0]
    doubted = network_odds(spots)[pins] < DOUBTED
    tip = spots.tip[pins]
    to_tip = np.linalg.norm(tip[:, None] - tip[None], axis=2) < SAME_TIP_MM
    to_root = np.linalg.norm(spots.root[pins][:, None] - tip[None], axis=2) < SAME_TIP_MM
    shadow = (to_tip | (to_root & doubted)) & (left[pins] > left[pins][:, None] + 0.03)
    shadow &= ~both[pins]  # row: pin, column: its shadow
    for row in np.nonzero(shadow.any(1))[0]:
        if odds[pins[row]] >= -2.0:
            odds[pins[shadow[row]]] = -20.0
    # A dark end of a shadow is no stub or hole: it lies on the body of a standing pin or just at its tip.
    others = np.nonzero((kind != PIN) & (odds > -3.0))[0]
    near = np.linalg.norm(spots.root[others][:, None] - spots.root[pins][None], axis=2) < 0.14
    odds[others[(near & (odds[pins] > odds[others][:, None])).any(1)]] = -20.0
    return odds


__all__ = ["HOLE", "PIN", "STUB", "alike", "common_slant", "feet_by_slant", "network_odds", "site_odds", "sure_tracks"]
