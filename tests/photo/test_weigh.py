"""What the slant makes of the networks' marks, on marks laid out by hand (all view mm)."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from disc.photo.marks.networks import FRAME_PX, ask_finder
from disc.photo.marks.pins_from_sites import BENT_SIGMAS, FaceDoubt, Sites, _sigmas_of_lean, make_pins
from disc.photo.marks.site_odds import alike, feet_by_slant, network_odds, site_odds
from disc.photo.marks.slant import Slant
from disc.photo.marks.spots import CLOSEST_MM, HOLE, PIN, STUB, Spots, thin_out
from disc.records import Condition, Side

# Every upright pin shows 0.2 mm of itself, to the right.
SLANT = Slant(0.0, (-0.2, 0.0), 0.015, 40)
UPRIGHT = np.array([0.2, 0.0])


def spots(root, tip, kind=PIN, heat=0.99, sigma=0.02) -> Spots:
    root, tip = np.array(root, float).reshape(-1, 2), np.array(tip, float).reshape(-1, 2)
    n = len(root)
    one = np.broadcast_to(np.eye(3)[kind], (n, 3)).copy()
    full = lambda v: np.broadcast_to(np.asarray(v, float), n).copy()  # noqa: E731
    return Spots(
        root,
        tip,
        one,
        full(heat),
        full(sigma),
        full(sigma),
        full(0.8),
        np.zeros((n, 0)),
        np.full((n, 2, 2), np.nan),
        full(np.nan),
    )


def test_thin_out_keeps_the_surer_and_only_counts_those_kept():
    # A chain: the second falls to the first, so the third, near the second alone, stays.
    step = 0.9 * CLOSEST_MM
    chain = spots([[0, 0], [step, 0], [2 * step, 0]], np.zeros((3, 2)))
    assert thin_out(chain).root.tolist() == [[0, 0], [2 * step, 0]]


@pytest.mark.parametrize("heat", [(0.9, 0.6), (0.6, 0.9)])
def test_a_pin_seen_twice_gets_the_foot_between(heat):
    # Under a hard lamp pin and shadow lie in one line: one mark's foot is at the shadow's end, one's at the bright top.
    tip = np.array([5.2, 1.0])
    seen = spots([[4.8, 1.0], [5.15, 1.0]], [tip, tip], heat=heat)
    put = feet_by_slant(seen, SLANT)
    sure = np.argmax(network_odds(put))
    assert put.root[sure] == pytest.approx(tip - UPRIGHT, abs=1e-9)
    odds = site_odds(put, np.hypot(*put.root.T), 14.0, SLANT, 3.0)
    assert np.sum(odds > 0) == 1


def test_feet_to_one_side_of_where_the_slant_wants_them_stay():
    # Both feet beyond it: a bent pin seen twice is no upright one.
    tip = np.array([5.2, 1.0])
    seen = spots([[4.5, 1.0], [4.8, 1.0]], [tip, tip], heat=(0.9, 0.8))
    assert np.allclose(feet_by_slant(seen, SLANT).root, seen.root)


def test_a_pin_seen_upside_down_is_turned():
    right, wrong = [[5, 1], [5.2, 1]], [[8, 2], [8.2, 2]]
    put = feet_by_slant(spots([right[0], wrong[1]], [right[1], wrong[0]]), SLANT)
    assert np.allclose(put.tip - put.root, UPRIGHT)


@pytest.mark.parametrize("lean", [(0.0, 0.25), (0.2, 0.0), (-0.2, 0.2)])
def test_a_bent_pin_is_not_turned(lean):
    seen = spots([[5, 1]], [np.array([5, 1]) + UPRIGHT + lean])
    assert np.allclose(feet_by_slant(seen, SLANT).tip, seen.tip)


def test_nothing_is_turned_where_pins_show_nothing_of_their_length():
    flat = Slant(0.0, (0.0, 0.0), 0.015, 40)
    seen = spots([[5, 1], [8, 2]], [[5.1, 1], [7.95, 2.02]])
    assert np.allclose(feet_by_slant(seen, flat).tip, seen.tip)


def test_following_the_slant_says_nothing_where_there_is_none():
    flat = Slant(0.0, (0.0, 0.0), 0.015, 40)
    weak = spots([[5, 1]], [[5, 1]], heat=0.5)
    there = site_odds(weak, np.array([5.1]), 14.0, flat, 3.0)
    shown = spots([[5, 1]], [[5.2, 1]], heat=0.5)
    assert site_odds(shown, np.array([5.1]), 14.0, SLANT, 3.0)[0] > there[0] + 0.8


def test_a_shadow_read_as_a_bent_pin_goes():
    # Its tip is the pin's, its foot the shadow's end, off the line of the slant.
    seen = spots([[5, 1], [5.0, 0.6]], [[5.2, 1], [5.2, 1]])
    odds = site_odds(seen, np.hypot(*seen.root.T), 14.0, SLANT, 3.0)
    assert odds[0] > 0 and odds[1] <= -20


def test_a_long_bent_pin_read_from_both_its_ends_is_one_pin():
    """Each reading alone is left open; dirt that the networks think nothing of stays out, though read so as well."""
    foot, tip = [5, 1], [5.1, 1.4]
    alone = site_odds(spots(foot, tip, heat=0.7), np.array([5.1]), 14.0, SLANT, 3.0)
    seen = spots([foot, tip], [tip, [5.05, 1.05]], heat=[0.7, 0.65])
    odds = site_odds(seen, np.hypot(*seen.root.T), 14.0, SLANT, 3.0)
    assert odds[0] == pytest.approx(alone[0] + 2.0) and odds[1] <= -20
    dirt = replace(seen, heat=np.array([0.02, 0.02]))
    assert site_odds(dirt, np.hypot(*dirt.root.T), 14.0, SLANT, 3.0).max() < -3


@pytest.mark.parametrize("kind", [STUB, HOLE])
def test_a_dark_end_on_a_pins_body_is_no_stub_or_hole(kind):
    pin, dark = spots([[5, 1]], [[5.2, 1]]), spots([[5.1, 1.05]], [[5.1, 1.05]], kind, heat=0.6)
    both = Spots(*(np.concatenate([getattr(pin, k), getattr(dark, k)]) for k in Spots.__slots__))
    odds = site_odds(both, np.hypot(*both.root.T), 14.0, SLANT, 3.0)
    assert odds[0] > 0 and odds[1] <= -20


def test_a_lean_across_the_slant_is_surer_than_one_along_it():
    seen = spots([[5, 1], [8, 2]], [[5.2, 1], [8.2, 2]], sigma=0.03)
    along, across = _sigmas_of_lean(seen, np.array([[0.1, 0.0], [0.0, 0.1]]), SLANT)
    assert across > 1.5 * along
    assert across > BENT_SIGMAS > along


def test_networks_answer_alike_in_two_threads():
    rng = np.random.default_rng(5)
    pictures = [rng.integers(0, 255, (FRAME_PX, FRAME_PX, 3), np.uint8) for _ in range(4)]
    alone = [ask_finder(p).face for p in pictures]
    with ThreadPoolExecutor(2) as pool:
        together = [h.face for h in pool.map(ask_finder, pictures)]
    for a, b in zip(alone, together, strict=True):
        assert np.array_equal(a, b)


def test_likeness_to_the_faces_own_pins_helps_a_weak_one_and_not_a_blot():
    # Twelve sure pins with one pattern and noise; a weak mark with the same, and one with a pattern of its own.
    rng = np.random.default_rng(8)
    n = 14
    root = np.stack([np.linspace(4, 12, n), np.zeros(n)], 1)
    marks = spots(root, root + UPRIGHT, heat=[0.999] * 12 + [0.5, 0.5])
    pattern, other = rng.normal(size=(2, 200))
    crop = np.where(np.arange(n)[:, None] < 13, pattern, other) + 0.3 * rng.normal(size=(n, 200))
    crop -= crop.mean(1, keepdims=True)
    like = alike(replace(marks, crop=crop / np.linalg.norm(crop, axis=1)[:, None]), SLANT)
    assert like[12] > 2.0 and like[13] < -2.0
    assert np.all(alike(marks, SLANT) == 0)  # no pictures, nothing said
    few = replace(marks, crop=crop).pick(slice(6, 14))
    assert np.all(alike(few, SLANT) == 0)


def test_an_upright_pin_leans_from_its_best_root_and_a_bent_one_from_its_foot():
    # A foot in shadow, told 0.07 mm short with a sigma of that size; the tip sharp, and where an upright pin has it.
    hidden = replace(spots([[6.07, 1.0]], [[6.2, 1.0]]), sigma_root=np.array([0.07]), sigma_tip=np.array([0.01]))
    bent = spots([[8.0, 2.0]], [[8.2, 2.3]])
    made = {}
    for name, one in (("hidden", hidden), ("bent", bent)):
        (made[name],) = make_pins(Sites(one, np.ones(1)), SLANT, 0.5, np.zeros(0), Side.UPPER, FaceDoubt(0.01, 0.0))
    assert made["hidden"].condition is Condition.SOUND
    assert np.hypot(made["hidden"].lean_x_mm, made["hidden"].lean_y_mm) < 0.02
    assert made["bent"].condition is Condition.BENT
    assert np.hypot(made["bent"].lean_x_mm, made["bent"].lean_y_mm) == pytest.approx(0.3, abs=0.005)
