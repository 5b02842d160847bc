"""An invented disc for the tests of repin/: lopsided, so that a mirror, a wrong turn or swapped faces show at once."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from disc.check.decisions import Decision, Verdict, decision_on, stage_decisions
from disc.check.store import stage_findings
from disc.frame import theta_for, turn_for_onset_deg
from disc.job import PINS_FILE, create_job, open_for_writing
from disc.records import Comb, Condition, Evidence, Finding, Key, Metre, Note, Pin, Plate, Side, Tooth, Tune, Turns
from disc.tune.store import stage_tune

PLATE = Plate(30.0, Turns.CLOCKWISE, 45.0, 14.0, 1.0, 3.0, 1.0, 0.8)
QUARTER_S = 0.5
START_S = 2.0
SETTING_MM = 0.01  # standard deviation of the maker's hand, per axis


def make_comb() -> Comb:
    """Ten teeth: six above from 4.6 mm in steps of 0.9, four below from 5.0 in steps of 1.7, all tips staggered."""
    upper = [Tooth(n, Side.UPPER, 4.6 + 0.9 * n, 10.0 + 1.3 * n, 70.0 + n) for n in range(1, 7)]
    lower = [Tooth(n, Side.LOWER, 5.0 + 1.7 * (n - 7), 355.0 + 0.7 * (n - 7), 60.0 + n) for n in range(7, 11)]
    return Comb(tuple(upper + lower))


def make_pins(comb: Comb, plate: Plate, seed: int = 11) -> tuple[tuple[Pin, ...], Tune]:
    """Sixty pins on beats of a quarter and eighth, set with SETTING_MM of error, and the tune they play."""
    rng = np.random.default_rng(seed)
    pins, notes = [], []
    for number in range(1, 61):
        tooth = comb.teeth[int(rng.integers(len(comb.teeth)))]
        onset = Fraction(number + (number % 3 == 0) * Fraction(1, 2))
        seconds = START_S + float(onset) * QUARTER_S
        theta = float(theta_for(turn_for_onset_deg(seconds, plate.revolution_s), tooth.tip_theta_deg, plate.turns))
        r_mm = tooth.tip_r_mm + rng.normal(0.0, SETTING_MM)
        theta = (theta + np.rad2deg(rng.normal(0.0, SETTING_MM) / r_mm)) % 360.0
        pins.append(Pin(number, tooth.side, r_mm, theta, 0.25, 0.5, tooth=tooth.number, sigma_mm=0.01))
        notes.append(Note(onset, Fraction(1, 2), int(tooth.pitch), pins=(number,), tooth=tooth.number))
    tune = Tune(tuple(notes), Metre(4, 4), Key(0, "major", 0), Fraction(0), QUARTER_S, START_S, "an invented strain")
    return tuple(pins), tune


def finding(kind: str, pin: Pin, probability: float, words: str = "seen under the glass") -> Finding:
    """A finding about a pin."""
    return Finding(
        kind, pin.side, pin.r_mm, pin.theta_deg, probability, (Evidence("seen", words, 3.0),), pin.id, pin.tooth, 3
    )


def damaged(pins: tuple[Pin, ...]) -> tuple[tuple[Pin, ...], tuple[Finding, ...]]:
    """Pins 5, 12 and 20 gone (12 in doubt, 20 abandoned), 30 a stub, 41 bent; and a place without a hole."""
    changed = {
        5: {"condition": Condition.MISSING, "height_mm": None},
        12: {"condition": Condition.MISSING, "height_mm": None},
        20: {"condition": Condition.MISSING, "height_mm": None},
        30: {"condition": Condition.STUB, "height_mm": 0.1},
        41: {"condition": Condition.BENT, "lean_x_mm": 0.12, "lean_y_mm": -0.16},
    }
    now = tuple(replace(pin, **changed.get(pin.id, {})) for pin in pins if pin.id != 50)
    by_id = {pin.id: pin for pin in pins}
    findings = (
        finding("missing", by_id[5], 0.97),
        finding("in-doubt", by_id[12], 0.55),
        finding("abandoned", by_id[20], 0.95),
        finding("stub", by_id[30], 0.99),
        finding("bent", by_id[41], 0.98),
        replace(finding("missing", by_id[50], 0.93, "the strain that comes twice has it"), pin_id=None),
    )
    return now, findings


def accepted(findings: tuple[Finding, ...]) -> tuple[Decision, ...]:
    """A person's word that a pin belongs at the place without a hole: without it nothing is drilled there."""
    (gap,) = (one for one in findings if one.pin_id is None)
    return (decision_on(gap, Verdict.ACCEPTED, "a plugged hole is seen under the loupe"),)


def write_job(folder: Path, plate: Plate = PLATE, designed: bool = False, **design: list[int]) -> Path:
    """A job folder of the invented disc. design: what the design room stored besides the title."""
    comb = make_comb()
    pins, tune = make_pins(comb, plate)
    findings: tuple[Finding, ...] = ()
    if not designed:
        pins, findings = damaged(pins)
        gone = {pin.id for pin in pins if not pin.plays} | {50}
        notes = tuple(replace(n, pins=tuple(p for p in n.pins if p not in gone)) for n in tune.notes)
        tune = replace(tune, notes=notes)
    create_job(folder, plate, {"design": {"tune": "an invented strain"} | design} if designed else None)
    with open_for_writing(folder) as job:
        with job.step("read") as stage:
            job.stage_comb(stage, comb)
            job.stage_reading(stage, pins)
            stage_tune(stage, tune)
        if findings:
            with job.step("check", (folder / PINS_FILE,)) as stage:
                stage_findings(stage, findings)
                stage_decisions(stage, accepted(findings))
    return folder
