"""The page and the commands tell the same of one job: metre, notes, places, findings, work and doubts.

Six jobs on which they once differed or might: tips left empty, teeth that share a pitch, a tune played twice, a disc by
design, one face alone, and pins corrected at the desk. The session is asked without a browser; the commands by what
they store.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from disc.check.check_job import check_job
from disc.check.store import load_findings
from disc.comb.comb_job import keep_comb
from disc.comb.strikes import pins_from_strikes
from disc.desk.open_job.session import Session
from disc.desk.page.state import page_state
from disc.desk.page.words import page_doubts
from disc.doubts import doubts_to_json
from disc.frame import turn_for_onset_deg
from disc.job import create_job, open_for_writing, open_job
from disc.records import About, Comb, Condition, Doubt, Pin, Side, Strike
from disc.repin.make_plan import PlanSettings, make_plan
from disc.repin.plan_job import rates_in_force
from disc.repin.records import Operation
from disc.tune.store import load_tune
from disc.turn.bars import BarGrid
from disc.turn.places import beat_words
from disc.turn.transcribe_job import transcribe_job
from disc.turn.turn_of_job import turn_of_job
from tests.repin.material import write_job

from .rig import BASS, FIRST_ONSET_S, MELODY, PLATE, QUARTER_S, comb, pins


def made(folder: Path, shown: tuple[Pin, ...], table: Comb) -> Path:
    """A job with these pins as its reading, and this comb."""
    create_job(folder, PLATE)
    with open_for_writing(folder) as job:
        with job.step("read") as stage:
            job.stage_reading(stage, shown)
        keep_comb(job, table, "comb", ())
    return folder


def damaged(shown: tuple[Pin, ...]) -> tuple[Pin, ...]:
    """The pins as read: without teeth, two holes, a stub and a bent pin among them."""
    made_so = [replace(p, tooth=None, height_mm=0.5, diameter_mm=0.26, sigma_mm=0.02, confidence=0.99) for p in shown]
    for index, condition in {5: Condition.MISSING, 17: Condition.MISSING, 22: Condition.STUB}.items():
        made_so[index] = replace(made_so[index], condition=condition, height_mm=0.0)
    made_so[9] = replace(made_so[9], condition=Condition.BENT, lean_x_mm=0.22, lean_y_mm=-0.12)
    return tuple(made_so)


def struck(at: list[tuple[float, int]], table: Comb) -> tuple[Pin, ...]:
    strikes = [Strike(float(turn_for_onset_deg(s, PLATE.revolution_s)), s, tooth) for s, tooth in at]
    return pins_from_strikes(strikes, table, PLATE)


def tips_empty(folder: Path) -> Path:
    """No tip measured on either face: all come from the beat."""
    table = comb()
    level = Comb(tuple(replace(t, tip_theta_deg=(0.3 * (t.number % 4)) % 360.0) for t in table.teeth))
    by_pitch = {round(t.pitch or 0): t.number for t in table.teeth}
    at = [(FIRST_ONSET_S + k * QUARTER_S, by_pitch[p]) for k, p in enumerate(MELODY)]
    at += [(FIRST_ONSET_S + 2 * k * QUARTER_S, by_pitch[p]) for k, p in enumerate(BASS)]
    bare = Comb(tuple(replace(t, tip_theta_deg=None) for t in table.teeth))
    return made(folder, damaged(struck(at, level)), bare)


def doubled_teeth(folder: Path) -> Path:
    """The commonest notes have two teeth each, as on combs for quick repetitions, struck by turns."""
    table = comb()
    twins = {round(t.pitch or 0): t for t in table.teeth if round(t.pitch or 0) in (67, 71, 74)}
    extra = tuple(
        replace(t, number=50 + t.number, tip_r_mm=t.tip_r_mm + 0.31, tip_theta_deg=t.tip_deg + 1.5)
        for t in twins.values()
    )
    doubled = Comb((*table.teeth, *extra))
    by_pitch = {round(t.pitch or 0): t.number for t in table.teeth}
    at = []
    for k, p in enumerate(MELODY):
        number = by_pitch[p] + (50 if p in twins and k % 2 else 0)
        at.append((FIRST_ONSET_S + k * QUARTER_S, number))
    at += [(FIRST_ONSET_S + 2 * k * QUARTER_S, by_pitch[p]) for k, p in enumerate(BASS)]
    return made(folder, damaged(struck(at, doubled)), doubled)


def repeats(folder: Path) -> Path:
    """The tune goes round twice in one turn of the disc, at twice the pace."""
    by_pitch = {round(t.pitch or 0): t.number for t in comb().teeth}
    step = QUARTER_S / 2
    at = [(FIRST_ONSET_S + k * step, by_pitch[p]) for k, p in enumerate(MELODY * 2)]
    at += [(FIRST_ONSET_S + 2 * k * step, by_pitch[p]) for k, p in enumerate(BASS * 2)]
    return made(folder, damaged(struck(at, comb())), comb())


def designed(folder: Path) -> Path:
    """A disc that was never read: its tune is known, its pins are all to be set."""
    return write_job(folder, designed=True)


def one_face(folder: Path) -> Path:
    """Only the upper side was photographed."""
    return made(folder, tuple(p for p in pins() if p.side is Side.UPPER), comb())


def corrected(folder: Path) -> Path:
    """Pins changed, added, moved and removed at the desk, a tooth given by hand."""
    made(folder, pins(), comb())
    with desk(folder) as session:
        session.think = lambda: None  # what follows is asked for once, after the last edit
        shown = session.pins
        other = next(t.number for t in comb().teeth if t.side is shown[8].side and t.number != shown[8].tooth)
        session.change({"do": "change", "pins": [shown[6].id], "changes": {"condition": "missing"}})
        session.change({"do": "change", "pins": [shown[8].id], "changes": {"tooth": other}})
        session.change(
            {"do": "move", "pin": shown[12].id, "r_mm": shown[12].r_mm, "theta_deg": shown[12].theta_deg + 3}
        )
        session.change({"do": "remove", "pins": [shown[20].id]})
        session.change({"do": "add", "side": "upper", "r_mm": comb().teeth[-1].tip_r_mm, "theta_deg": 200.0})
    return folder


@contextmanager
def desk(folder: Path) -> Iterator[Session]:
    session = Session(folder)
    session.wait_for_thoughts()
    yield session
    session.close()


def by_page(folder: Path) -> dict[str, Any]:
    with desk(folder) as session:
        return page_state(session)


def told(doubts: tuple[Doubt, ...] | list[Doubt], folder: Path) -> list[dict[str, Any]]:
    """Doubts as the page words them. The commands alone weigh the other way of turning, which takes a second reading
    of the tune, and say what is older than what it was made from, which the page shows file by file."""
    of_both = [
        d for d in doubts if d.about is not About.STALE and not (d.about is About.DIRECTION and d.probability < 1)
    ]
    return doubts_to_json(page_doubts(of_both, folder))


@pytest.mark.parametrize(
    "make", [tips_empty, doubled_teeth, repeats, designed, one_face, corrected], ids=lambda make: make.__name__
)
def test_page_and_commands_tell_the_same(make, tmp_path):
    folder = make(tmp_path / "watch")
    with open_for_writing(folder) as job:
        written = None if make is designed else transcribe_job(job)
        checked = None if make is designed else check_job(job)
        turn = turn_of_job(job) if written is None else written.turn
        plan = make_plan(job, PlanSettings(), rates_in_force(job), turn=turn)
    job = open_job(folder)
    page = by_page(folder)
    music = page["music"]
    tune = load_tune(job)
    assert tune is not None

    assert music["tune"]["metre"] == f"{tune.metre.beats}/{tune.metre.unit}"
    assert music["tune"]["notes"] == len(tune.notes)
    assert music["tune"]["quarter_s"] == pytest.approx(tune.quarter_s)
    if written is not None:
        found = job.content.results["tune"]
        assert (music["tune"]["metre"], music["tune"]["key"]) == (found["metre"], found["key"])
        assert music["alternatives"] and len(music["alternatives"]) == len(found["alternatives"])

    # Every pin that plays a note of the written score is named by the bar and beat it is printed at.
    grid = BarGrid(tune)
    printed = {pin: grid.at_quarter(note.onset_quarter) for note in tune.notes for pin in note.pins}
    shown = {int(pin): (p["bar"], p["beat"]) for pin, p in music["places"].items() if p["exact"]}
    assert shown == {pin: (bar, beat_words(beat)) for pin, (bar, beat) in printed.items()}
    assert [row[3] for row in music["should"]] == [s.pin_id for s in turn.whole]
    assert [row[1] for row in music["now"]] == pytest.approx([s.onset_s for s in turn.now], abs=1e-4)

    if checked is not None:
        stored = load_findings(job)
        assert [
            (f["kind"], f["pin"], f["tooth"], f["bar"], f["beat"], f["probability"])
            for f in page["findings"]["findings"]
        ] == [
            (
                str(f.kind),
                f.pin_id,
                f.tooth,
                f.bar,
                None if f.beat is None else beat_words(f.beat),
                round(f.probability, 3),
            )
            for f in (item.as_found for item in checked.settled)
        ]
        assert len(stored) == len(page["findings"]["findings"]) > 0
        worked = [s for s in plan.stations if s.operations != (Operation.LEAVE,)]
        assert [(line["pin"], line["work"].removeprefix("in doubt: ")) for line in page["plan"]["lines"]] == [
            (s.pin_id, ", ".join(op.value for op in s.operations)) for s in worked
        ]
        assert plan.estimate is not None and page["plan"]["words"] == plan.estimate.words
    assert page["doubts"] == told(turn.doubts if written is None else list(written.doubts), folder)
