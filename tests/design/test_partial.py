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


def test_broken_pins_get_their_holes_again(whole: Design) -> None:
    old = damaged(whole, np.random.default_rng(4), gone=12)
    stay = [pin for pin in old if pin.condition is Condition.SOUND]
    gone = {pin.id: pin for pin in old if pin.condition is not Condition.SOUND}
    plan = plan_partial(whole.score, whole.comb, whole.plate, DesignSettings(), old)
    assert plan.kept is not None and set(plan.kept.pins) == set(stay) and plan.kept.unexplained == ()
    assert plan.transposition == whole.transposition
    again = {pin.id: pin for pin in plan.pins if pin.id in gone}
    assert set(again) == set(gone) and plan.kept.holes == ()
    assert all((pin.r_mm, pin.theta_deg) == (gone[i].r_mm, gone[i].theta_deg) for i, pin in again.items())
    assert all(pin.condition is Condition.SOUND for pin in plan.pins)


def test_notes_never_pinned_get_new_holes(whole: Design) -> None:
    """Pins taken out of the table altogether: a plate that never had them. They come back where they were meant."""
    kept_ids = {pin.id for pin in whole.pins[::3]} | {pin.id for pin in whole.pins[1::3]}
    old = tuple(pin for pin in whole.pins if pin.id in kept_ids)
    plan = plan_partial(whole.score, whole.comb, whole.plate, DesignSettings(), old)
    new = [pin for pin in plan.pins if pin.id not in kept_ids]
    assert min(pin.id for pin in new) > max(kept_ids)
    before = [(s.tooth, s.onset_s) for s in whole.strikes if s.pin_id not in kept_ids]
    added = [s for s in plan.strikes if s.pin_id not in kept_ids]
    # Old pins stand exactly where they were designed, so the tempo found is the design's: within 1 ms.
    close = [any(abs(t - s.onset_s) < 0.001 for _, t in before) for s in added]
    assert len(close) >= len(before) - 1 and sum(close) >= len(before) - 1


def test_new_pins_keep_the_rules_against_old_ones(whole: Design) -> None:
    old = damaged(whole, np.random.default_rng(5), gone=15)[: int(0.8 * len(whole.pins))]
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


def test_from_the_command_line(whole: Design, tmp_path, monkeypatch, capsys) -> None:
    """--keep with the old job's folder: its comb and plate are taken, and the new job says what stays."""
    import json
    import sys

    from disc.cli import main
    from disc.design.design_job import write_job
    from disc.job import open_job

    write_job(tmp_path / "old", whole)
    table = tmp_path / "old" / "pins.csv"
    table.write_text(table.read_text().replace("sound", "missing", 7))
    words = ["design", str(tmp_path / "old" / "out" / "tune.mid"), "--keep", str(tmp_path / "old")]
    monkeypatch.setattr(sys, "argv", ["disc", *words, "--out", str(tmp_path / "new"), "--json"])
    with pytest.raises(SystemExit) as end:
        main()
    assert not end.value.code
    found = json.loads(capsys.readouterr().out)["design"]
    assert found["in_old_holes"] == 7 == found["new_pins"] and found["pins"] == len(whole.pins)
    job = open_job(tmp_path / "new")
    assert job.plate == whole.plate and len(job.settings["design"]["kept"]) == len(whole.pins) - 7


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
