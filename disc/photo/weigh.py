"""Which likely sites are real: the networks' opinions, the common slant and the tracks weighed together.

All are log-odds in nats and simply added. A site is never made where the networks saw nothing.
"""

from __future__ import annotations

import numpy as np

from disc.frame import FloatArray
from disc.photo.settle import heaps
from disc.photo.slant import Slant
from disc.photo.spots import HOLE, PIN, STUB, Spots

# The two networks' logits, added with these weights, part sites from other marks at about ZERO on rendered faces that
# neither was trained on; tests/bench/read.py prints what comes of it.
COARSE_WEIGHT, CLOSER_WEIGHT, ZERO = 1.5, 1.0, 2.0
# A pin stands on its tooth's track to some 0.03 mm. Few stand between tracks; where there is room for a track of its
# own, a tooth that sounds once a turn may have one (common practice, no source).
ON_TRACK_MM, BETWEEN, ALONE = 0.035, 0.06, 0.20
# Tracks lie at least this far apart, or two teeth would meet the same pins (common practice, no source).
TRACK_GAP_MM = 0.34
# A mark whose tip falls on another site's tip is that pin's shadow or mirror image.
SAME_TIP_MM = 0.13
DOUBTED = 1.0  # log-odds of the networks below which a pin may be a shadow that ends at another's foot
BEND_REACH_MM = 0.55  # a bent pin's tip is at most about its own length from its root


def network_odds(spots: Spots) -> FloatArray:
    """Log-odds that each is a site, from the pictures alone."""
    return COARSE_WEIGHT * _logit(spots.coarse) + CLOSER_WEIGHT * _logit(spots.heat) - ZERO


def site_odds(spots: Spots, radii: FloatArray, radius_mm: float, slant: Slant, bore_mm: float) -> FloatArray:
    """Log-odds with everything weighed. spots: view mm. radii: of their roots, mm."""
    odds = network_odds(spots)
    kind = spots.kind.argmax(1)
    left = np.linalg.norm(spots.tip - spots.root - slant.at(spots.root), axis=1)
    odds = odds + np.where(kind == PIN, _slant_odds(left, slant), 0.0)
    tracks = sure_tracks(spots, radii, odds)
    odds = odds + track_odds(radii, tracks, radius_mm)
    # Nothing is pinned on the rim's edge (a gear's teeth are 0.3 mm deep and more), in the bore or on the arbor.
    off_face = (radii > radius_mm - 0.40) | (radii < max(0.5 * bore_mm, 0.09 * radius_mm))
    odds = np.where(off_face, -20.0, odds)
    return _without_shadows(spots, odds, kind, left)


def _logit(p: FloatArray) -> FloatArray:
    q = np.clip(np.asarray(p, float), 1e-5, 1 - 1e-5)
    return np.log(q / (1 - q))


def _slant_odds(left: FloatArray, slant: Slant) -> FloatArray:
    """Pins follow the field but for the bent ones (a tenth), marks that are none point anywhere within reach."""
    if slant.pins < 10:
        return np.zeros_like(left)
    sigma = np.hypot(max(slant.sigma_mm, 0.012), 0.01)
    upright = 0.9 * np.exp(-0.5 * (left / sigma) ** 2) / (2 * np.pi * sigma**2)
    anywhere = 1 / (np.pi * BEND_REACH_MM**2)
    # The networks have seen lone pins, and slants, before: half of this is news.
    return 0.5 * np.log((upright + 0.1 * anywhere) / anywhere)


def sure_tracks(spots: Spots, radii: FloatArray, odds: FloatArray) -> FloatArray:
    """Radii of the tracks that sure sites make."""
    sure = odds > 3.0
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


def _without_shadows(spots: Spots, odds: FloatArray, kind: FloatArray, left: FloatArray) -> FloatArray:
    """A pin's shadow, read as a bent pin, has its tip where the pin itself stands: the less upright one goes."""
    networks = network_odds(spots)
    odds = odds.copy()
    pins = np.nonzero((kind == PIN) & (odds > -3.0))[0]
    for i in pins:
        for j in pins:
            if i == j or left[j] <= left[i] + 0.03 or odds[i] < -2.0:
                continue
            to_tip = np.hypot(*(spots.tip[j] - spots.tip[i]))
            to_root = np.hypot(*(spots.tip[j] - spots.root[i]))
            if to_tip < SAME_TIP_MM or (to_root < SAME_TIP_MM and networks[j] < DOUBTED):
                odds[j] = -20.0
    for i in np.nonzero((kind != PIN) & (odds > -3.0))[0]:
        # A dark end of a shadow is no stub or hole: it lies on the body of a standing pin or just at its tip.
        for j in pins:
            if odds[j] > odds[i] and np.hypot(*(spots.root[i] - spots.root[j])) < 0.14:
                odds[i] = -20.0
    return odds


__all__ = ["HOLE", "PIN", "STUB", "network_odds", "site_odds", "sure_tracks"]
