"""The layout as it would be drilled: an independent checker, that must itself be able to find each kind of fault."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import Polygon

from disc.comb.strikes import strikes_from_pins
from disc.design.arranged import arranged_tune
from disc.design.plan import plan_design
from disc.design.settings import DesignSettings, Opening, Spot
from disc.records import Plate, Turns
from disc.tables import format_pins, read_pins

from .checker import Rules, broken_rules, circle
from .material import COMBS, make_comb
from .small import PLATE, comb_of, score_of
from .test_arrange import SCALE
from .tunes import choose_tunes

SCREW = Spot("screw", r_mm=7.0, theta_deg=100.0, diameter_mm=2.0)
OPENING = Opening("opening", from_r_mm=5.0, to_r_mm=9.0, from_theta_deg=200.0, to_theta_deg=250.0)


def sector(low: float, high: float, start: float, end: float) -> Polygon:
    angles = np.deg2rad(np.linspace(start, end, 200))
    outer = [(high * np.cos(a), high * np.sin(a)) for a in angles]
    inner = [(low * np.cos(a), low * np.sin(a)) for a in angles[::-1]]
    return Polygon(outer + inner)


@pytest.fixture(scope="module")
def designs():
    rng = np.random.default_rng(21)
    settings = DesignSettings(keep_out=(SCREW, OPENING), hub_mm=5.0)
    made = []
    for i, score in enumerate(choose_tunes(6, rng, in_parts=0.5)):
        comb, plate = make_comb(COMBS[i % 4], rng)
        made.append(plan_design(score.between_bars(1, min(12, score.bars[-1].number)), comb, plate, settings))
    return made


SPOT = np.deg2rad(100.0)
RULES = Rules(
    hub_mm=5.0,
    keep_out=(circle(1.0, 7.0 * np.cos(SPOT), 7.0 * np.sin(SPOT)), sector(5.0, 9.0, 200.0, 250.0)),
)


def test_no_rule_is_broken(designs, tmp_path) -> None:
    assert {d.plate.turns for d in designs} == set(Turns)
    for design in designs:
        path = tmp_path / "pins.csv"
        path.write_text(format_pins(design.pins))
        pins = read_pins(path)
        assert len(pins) > 15 and {pin.side.value for pin in pins} == {"upper", "lower"}
        assert broken_rules(pins, design.comb, design.plate, RULES) == []


def test_the_keep_out_zones_cost_something(designs) -> None:
    """Without the zones pins would stand there: the rule is at work, not idle."""
    design = designs[0]
    free = plan_design(design.score, design.comb, design.plate, DesignSettings(), design.plate.revolution_s)
    assert any("metal" in line or "edge" in line for line in broken_rules(free.pins, free.comb, free.plate, RULES))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda p, q: replace(p, theta_deg=p.theta_deg, r_mm=p.r_mm + 0.1), "off its tooth's track"),
        (lambda p, q: replace(p, r_mm=16.9, theta_deg=90.0), "from an edge|in the metal"),
        (lambda p, q: replace(p, r_mm=q.r_mm, theta_deg=q.theta_deg + 0.3), "mm apart"),
        (lambda p, q: replace(q, id=p.id, theta_deg=(q.theta_deg + 0.05) % 360), "struck again after"),
    ],
    ids=["track", "rim", "holes", "time"],
)
def test_the_checker_finds_a_fault_put_in(designs, change, words) -> None:
    import re

    design = designs[3]
    pins = list(design.pins)
    pins[4] = change(pins[4], pins[9])
    found = broken_rules(pins, design.comb, design.plate, RULES)
    assert any(re.search(words, line) for line in found)


def test_strikes_give_back_the_arranged_notes(designs, tmp_path) -> None:
    for design in designs:
        path = tmp_path / "pins.csv"
        path.write_text(format_pins(design.pins))
        strikes = strikes_from_pins(read_pins(path), design.comb, design.plate)
        tune = arranged_tune(design)
        offset = design.playing.offset
        heard = sorted((round(s.pitch - offset), s.onset_s) for s in strikes)
        wanted = sorted((n.pitch, tune.start_s + float(n.onset_quarter) * tune.quarter_s) for n in tune.notes)
        assert [p for p, _ in heard] == [p for p, _ in wanted]
        assert max(abs(a - b) for (_, a), (_, b) in zip(heard, wanted, strict=True)) < 0.001
        assert len(tune.notes) == len(design.pins)


def test_one_pin_by_hand() -> None:
    """Two notes in a 20 s turn, rest arc 14, run-up 1: strikes at 8 and 352 degrees of turn.

    By the conventions' equation turn = s (phi - theta) mod 360; clockwise s = -1 gives theta = phi + turn, so with tips
    at 30 and 35 degrees the pins stand at 38 and 27 (35 + 352 - 360).
    """
    score = score_of([(0.0, 1.0, 60), (16.0, 1.0, 64)], quarter_s=1.5)
    design = plan_design(score, comb_of([72, 76]), PLATE, DesignSettings())
    assert [round(p.theta_deg, 6) for p in design.pins] == [38.0, 27.0]
    backwards = replace(PLATE, turns=Turns.COUNTERCLOCKWISE)
    design = plan_design(score, comb_of([72, 76]), backwards, DesignSettings())
    assert [round(p.theta_deg, 6) for p in design.pins] == [22.0, 43.0]  # phi - turn


def test_the_tempo_rules_the_turn_and_the_turn_the_tempo() -> None:
    score = score_of([(float(i), 1.0, 60 + 2 * (i % 3)) for i in range(65)], quarter_s=0.6)
    comb = comb_of([72, 74, 76, 72, 74, 76])
    free = plan_design(score, comb, PLATE, DesignSettings())
    # 64 quarters of 0.6 s fill 344 of 360 degrees: 38.4 s / (344 / 360).
    assert free.plate.revolution_s == pytest.approx(38.4 * 360 / 344)
    given = plan_design(score, comb, PLATE, DesignSettings(), revolution_s=45.0)
    assert given.plate.revolution_s == 45.0
    assert given.timing.quarter_s == pytest.approx(45.0 * 344 / 360 / 64, rel=0.051)  # up to 5 % quicker


def test_the_smallest_plate_is_chosen_when_none_is_given() -> None:
    from disc.design.plan import default_plate

    plate = default_plate(comb_of([72, 74]), DesignSettings())
    # Track at 12.5, half a pin and the edge's 0.25: 12.875 mm, so 25.75 across; to the next half millimetre.
    assert plate.diameter_mm == 26.0


def test_scale_on_the_smallest_plate_breaks_nothing() -> None:
    comb = comb_of([72, 74, 76, 77, 79, 81, 83, 84])
    plate = Plate(26.0)
    design = plan_design(score_of(SCALE), comb, plate, DesignSettings())
    assert design.arrangement.share.kept == 8
    assert broken_rules(design.pins, comb, design.plate, Rules()) == []
