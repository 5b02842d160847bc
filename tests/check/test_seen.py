"""What is seen of a pin: leans by their direction and size, stubs, strays, heights. Cases worked by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import rayleigh

from disc.check.kinds import Kind
from disc.check.photo.photo_findings import (
    ILL_READ_SHARE,
    ILL_READ_SPREAD,
    judge_stub,
    lean_weight,
    lean_words,
    seen_findings,
)
from disc.comb.pin_spread import give_teeth
from disc.records import Condition, Evidence, Pin, Plate, Side, Turns

from .making import COMB, PLATE, sound_disc


def read(seed: int = 1) -> list[Pin]:
    """The sound disc as a photograph gives it: small errors everywhere, heights and leans."""
    rng = np.random.default_rng(seed)
    pins = []
    for pin in sound_disc():
        lean = rng.normal(0, 0.018, 2)
        r_mm = pin.r_mm + float(rng.normal(0, 0.02))
        height = 0.5 * float(rng.normal(1, 0.03))
        pins.append(replace(pin, r_mm=r_mm, height_mm=height, lean_x_mm=float(lean[0]), lean_y_mm=float(lean[1])))
    return pins


def findings_of(pins: list[Pin]) -> dict[int, str]:
    teeth = give_teeth(pins, COMB)
    return {f.pin_id: f.kind for f in seen_findings(teeth.pins, PLATE, teeth.spread)}


@pytest.mark.parametrize("seed", range(8))
def test_an_undamaged_disc_shows_nothing(seed):
    assert findings_of(read(seed)) == {}


def test_each_fault_is_seen_and_nothing_else():
    pins = read()
    pins[3] = replace(pins[3], condition=Condition.BENT, lean_x_mm=0.2, lean_y_mm=0.1)
    pins[9] = replace(pins[9], condition=Condition.SOUND, lean_x_mm=-0.25, lean_y_mm=0.0)  # the reading missed it
    pins[14] = replace(pins[14], condition=Condition.STUB, height_mm=0.05, lean_x_mm=None, lean_y_mm=None)
    pins[20] = replace(pins[20], height_mm=0.80)
    pins[26] = replace(pins[26], r_mm=pins[26].r_mm + 0.115)
    pins.append(Pin(900, Side.UPPER, 11.9, 200.0, 0.25, 0.5, Condition.SOUND, 0.0, 0.0))
    assert findings_of(pins) == {
        pins[3].id: Kind.BENT,
        pins[9].id: Kind.BENT,
        pins[20].id: Kind.UNEVEN_HEIGHT,
        pins[26].id: Kind.OFF_TRACK,
        900: Kind.EXTRA,
    }


def test_a_stub_is_as_sure_as_the_reading_and_never_the_other_face_s_tail():
    stub = replace(read()[14], condition=Condition.STUB, confidence=0.99, condition_probability=0.99)
    assert judge_stub(stub).probability == pytest.approx(0.99**2, abs=1e-6)
    assert judge_stub(replace(stub, condition_probability=0.6)).probability == pytest.approx(0.99 * 0.6, abs=1e-6)
    assert judge_stub(replace(stub, tooth=None)) is None  # on no track: no pin was there
    music = [Evidence("heard", "the same strike is there in bar 4", 9.0)]
    unsure = replace(stub, condition_probability=0.95)
    assert judge_stub(unsure, None, music).probability < 0.95  # music cannot tell a stub from a sound pin
    # Music says that a mark is a pin's place, but agrees by chance once in five times: never sure enough to work by.
    assert 0.9 < judge_stub(replace(stub, confidence=0.8), None, music).probability < 0.98
    by_hand = judge_stub(replace(stub, confidence=1.0, condition_probability=None))
    assert by_hand.probability > 0.98  # a person said so
    assert judge_stub(stub, tail_of=replace(stub, id=7, side=Side.LOWER)).probability < 0.2


def test_a_bent_pin_without_a_measured_lean_is_believed():
    pins = read()
    pins[3] = replace(pins[3], condition=Condition.BENT, lean_x_mm=None, lean_y_mm=None)
    assert findings_of(pins) == {pins[3].id: Kind.BENT}


def test_lean_weight_is_the_ratio_of_two_densities():
    """Straight: scipy's Rayleigh, two parts. Leaning: 1 / 0.42 mm well inside the range."""
    for lean in (0.12, 0.15):
        straight = (1 - ILL_READ_SHARE) * rayleigh.pdf(lean, scale=0.03) + ILL_READ_SHARE * rayleigh.pdf(
            lean, scale=0.03 * ILL_READ_SPREAD
        )
        softened = 0.5 * math.erfc((0.08 - lean) / (0.03 * math.sqrt(2)))
        assert lean_weight(lean, 0.03) == pytest.approx(math.log(softened / 0.42 / straight), rel=1e-9)


@pytest.mark.parametrize(
    ("turns", "lean", "words"),
    [
        # At theta 90, x points against counter-clockwise motion, y outward.
        (Turns.COUNTERCLOCKWISE, (-0.2, 0.0), "with the motion"),
        (Turns.CLOCKWISE, (-0.2, 0.0), "against the motion"),
        (Turns.CLOCKWISE, (0.0, 0.2), "outward"),
        (Turns.CLOCKWISE, (0.0, -0.2), "inward"),
        (Turns.CLOCKWISE, (0.15, 0.15), "with the motion and outward"),
    ],
)
def test_which_way_it_leans(turns, lean, words):
    pin = Pin(1, Side.LOWER, 8.0, 90.0, lean_x_mm=lean[0], lean_y_mm=lean[1])
    said = lean_words(pin, Plate(26.0, turns))
    assert said.endswith(words) and f"{math.hypot(*lean):.2f} mm" in said
