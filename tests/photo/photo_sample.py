"""Where the shipped sample lies, and what of its truth was found."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from disc.frame import to_xy_mm

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "first-disc"


def places(pins):
    """(n, 2) mm of pins, given as records or as the truth's entries."""
    get = (lambda p, k: p[k]) if pins and isinstance(pins[0], dict) else getattr
    return np.array([to_xy_mm(get(p, "r_mm"), get(p, "theta_deg")) for p in pins]).reshape(-1, 2)


def matched(pins, true_pins, reach_mm=0.25):
    """Pairs (index of pin, index of true pin), each used once, nearest first."""
    gap = np.linalg.norm(places(pins)[:, None] - places(true_pins)[None], axis=2)
    pairs = []
    for k in np.argsort(gap, axis=None):
        i, j = np.unravel_index(k, gap.shape)
        if gap[i, j] > reach_mm:
            break
        if all(i != a and j != b for a, b in pairs):
            pairs.append((int(i), int(j)))
    return pairs


def f1(pins, true_pins):
    """F1 of sites found."""
    return 2 * len(matched(pins, true_pins)) / (len(pins) + len(true_pins))
