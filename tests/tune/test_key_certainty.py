"""How sure is said of a key: the less, the more lies off its scale, and no more than its own lead allows."""

from __future__ import annotations

import numpy as np
import pytest

from disc.tune.read.certainty import straightened
from disc.tune.read.key import off_scale
from disc.tune.read.model import load_model

KEY = load_model().certainty["key"]


def test_what_lies_off_the_scale_makes_the_key_less_sure():
    told = [KEY.of(0.97, share) for share in (0.0, 0.05, 0.12, 0.25)]
    assert told == sorted(told, reverse=True) and told[0] > 0.85 and told[-1] < 0.5
    assert KEY.of(0.5, 0.0) < KEY.of(0.97, 0.0)  # two keys alike are two keys alike, whatever keeps to their scale
    assert KEY.of(0.9999, 0.0) <= KEY.highest


def test_the_other_keys_share_what_is_left():
    told = straightened([0.8, 0.15, 0.05], KEY, 0.12)
    assert sum(told) == pytest.approx(1.0) and told[1] / told[2] == pytest.approx(3.0)


def test_notes_off_the_scale_are_counted_by_the_signature():
    g_major = np.array([67, 69, 71, 72, 74, 76, 78, 79])  # G A B C D E F sharp G
    assert off_scale(g_major, 1) == 0.0
    assert off_scale(g_major, 0) == pytest.approx(1 / 8)
    assert off_scale(np.array([]), 0) == 0.0
