"""A partial repin: pins pulled from a designed disc and its whole tune given again; only what lacks may be added."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from disc.design.plan import Design, plan_design, plan_partial
from disc.design.settings import DesignSettings
from disc.errors import BadInput
from disc.records import Condition, Pin

from .checker import Rules, broken_rules
from .material import COMBS, make_comb
from .tunes import choose_tunes


@pytest.fixture(scope="module")
def whole() -> Design:
    score = choose_tunes(3, np.random.default_rng(2), in_parts=0.0)[2]
    comb, plate = make_comb(COMBS[3], np.random.default_rng(2))
    return plan_design(score.between_bars(1, min(16, score.bars[-1].number)), comb, plate, DesignSettings())


def damaged(design: Design, rng: np.random.Generator, gone: int) -> tuple[Pin, ...]:
    """Old pins, each set about 10 ms off, some of them broken."""
    lost = set(rng.choice(len(design.pins), gone, replace=False).tolist())
    off_deg = rng.normal(0, 0.010, len(design.pins)) / design.plate.revolution_s * 360
    return tuple(
        replace(pin, theta_deg=(pin.theta_deg + off) % 360, condition=Condition.STUB if i in lost else Condition.SOUND)
        for i, (pin, off) in enumerate(zip(design.pins, off_deg, strict=True))
    )


def test_what_lacks_is_added_where_it_was(whole: Design) -> None:
    old = damaged(whole, np.random.default_rng(4), gone=12)
    stay = [pin for pin in old if pin.condition is Condition.SOUND]
    plan = plan_partial(whole.score, whole.comb, whole.plate, DesignSettings(), old)
    assert plan.kept is not None and set(plan.kept.pins) == set(stay) and plan.kept.unexplained == ()
    assert plan.transposition == whole.transposition
    new = [pin for pin in plan.pins if pin not in stay]
    assert 10 <= len(new) <= 12 + len(whole.arrangement.lost)
    assert min(pin.id for pin in new) > max(pin.id for pin in stay)
    # Each new pin plays a note that was lost: its strike lies within 30 ms of one of the whole design's.
    before = [(s.pitch, s.onset_s) for s in whole.strikes]
    added = [s for s in plan.strikes if s.pin_id in {pin.id for pin in new}]
    close = [any(p == s.pitch and abs(t - s.onset_s) < 0.03 for p, t in before) for s in added]
    assert sum(close) >= 0.8 * len(close)


def test_new_pins_keep_the_rules_against_old_ones(whole: Design) -> None:
    old = damaged(whole, np.random.default_rng(5), gone=15)
    plan = plan_partial(whole.score, whole.comb, whole.plate, DesignSettings(), old)
    assert plan.kept is not None
    ids = {pin.id for pin in plan.kept.pins}
    # Old pins may stand too close to each other by their setting errors; what names a new pin is our fault.
    broken = broken_rules(plan.pins, plan.comb, plan.plate, Rules())
    new = {str(pin.id) for pin in plan.pins if pin.id not in ids}
    assert [line for line in broken if set(line.replace(":", " ").split()) & new] == []


def test_another_tune_is_refused(whole: Design) -> None:
    other = choose_tunes(6, np.random.default_rng(9), in_parts=0.0)[5]
    old = damaged(whole, np.random.default_rng(4), gone=5)
    with pytest.raises(BadInput, match=r"plays another tune: at best .* sound pins fall on a note"):
        plan_partial(other, whole.comb, whole.plate, DesignSettings(), old)


def test_a_whole_disc_lacks_nothing() -> None:
    from .small import PLATE, comb_of, score_of
    from .test_arrange import SCALE

    design = plan_design(score_of(SCALE), comb_of([72, 74, 76, 77, 79, 81, 83, 84]), PLATE, DesignSettings())
    with pytest.raises(BadInput, match="nothing is lacking"):
        plan_partial(design.score, design.comb, design.plate, DesignSettings(), design.pins)


def test_too_few_sound_pins_say_nothing(whole: Design) -> None:
    old = tuple(replace(pin, condition=Condition.STUB) for pin in whole.pins[5:]) + whole.pins[:5]
    with pytest.raises(BadInput, match="only 5 sound pins"):
        plan_partial(whole.score, whole.comb, whole.plate, DesignSettings(), old)
