"""Disc and comb were measured apart: how far their scales may differ, and how little that may explain away."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from disc.comb.assign import assign_teeth
from disc.records import Comb, Pin, Side, Tooth
from tests.comb.test_comb import invented


@pytest.mark.parametrize(("stretch", "offset_mm"), [(0.027, 0.0), (-0.027, 0.0), (0.0, 0.22), (0.0, -0.22)])
@pytest.mark.parametrize("seed", range(3))
def test_a_diameter_or_a_centre_given_wrongly_costs_no_tooth(seed, stretch, offset_mm):
    """A disc of 28 mm written down as 27.25, or a comb's centre taken 0.22 mm off: every pin still gets its tooth."""
    comb, pins = invented(seed)
    moved = [replace(p, r_mm=p.r_mm * (1.0 + stretch) + offset_mm, tooth=None) for p in pins]
    found = assign_teeth(moved, comb)
    assert [p.tooth for p in found.pins] == [p.tooth for p in pins]
    radii = np.array([t.tip_r_mm for t in comb.teeth])
    gap = radii * (1.0 + found.stretch) + found.offset_mm - (radii * (1.0 + stretch) + offset_mm)
    assert np.abs(gap).max() < 0.04


def test_a_few_pins_on_no_track_are_not_explained_by_a_scale_that_nobody_measures_so_badly():
    """Four marks that would lie on four tracks if the diameter were 8 % off (26 mm read as 28): they stay on none."""
    comb = Comb(tuple(Tooth(n, Side.UPPER, 5.0 + 2.0 * n, 0.0, 60.0 + n) for n in range(4)))
    marks = [Pin(n + 1, Side.UPPER, 1.08 * (5.0 + 2.0 * n), 10.0 * n) for n in range(4)]
    found = assign_teeth(marks, comb)
    assert found.off_track == (1, 2, 3, 4) and abs(found.stretch) < 0.01
