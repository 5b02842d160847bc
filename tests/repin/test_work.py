"""What is done with each pin, and which way: one disc, every state, every word of a person."""

from __future__ import annotations

from dataclasses import replace

import pytest

from disc.check.decisions import Verdict, decision_on, settle
from disc.check.evidence import HEARD, SEEN, combine
from disc.check.photo.photo_findings import lean_words
from disc.doubts import misfits
from disc.photo.seen.seen_map import RINGS, SeenMap
from disc.records import About, Condition, Doubt, Evidence, Pin, Side, Turns
from disc.repin.records import Operation
from disc.repin.work.hold_back import disc_doubt, look_first
from disc.repin.work.nominal_places import lay_out
from disc.repin.work.stations import Shop, stations_of_design, stations_of_reading
from disc.repin.work.what_to_do import tip_over, verdicts_of, work_at_pin

from .material import PLATE, accepted, damaged, finding, make_comb, make_pins

SOUND = Pin(1, Side.UPPER, 8.0, 0.0, 0.25, 0.5, tooth=3)
STUB = replace(SOUND, condition=Condition.STUB)
HOLE = replace(SOUND, condition=Condition.MISSING, height_mm=None)


def work(pin, kind=None, probability=1.0, verdict=None, height=0.5, plate=PLATE):
    findings = [finding(kind, pin, probability)] if kind else []
    decisions = [decision_on(findings[0], verdict)] if verdict else []
    settled, _ = settle(findings, decisions)
    return work_at_pin(pin, verdicts_of(pin, settled), plate, height)


def held(pin, probability, verdict=None, doubts=(), seen=None, found=None):
    """The work at a stub as it is ordered under these doubts."""
    found = found or finding("stub", pin, probability)
    settled, _ = settle([found], [decision_on(found, verdict)] if verdict else [])
    said = verdicts_of(pin, settled)
    at = (pin.side, pin.r_mm, pin.theta_deg)
    return look_first(work_at_pin(pin, said, PLATE, 0.5), said, at, disc_doubt(doubts, seen or {}))


def operations(made):
    return [task.operation.value for task in made.tasks]


@pytest.mark.parametrize(
    "pin, kind, probability, verdict, expected, wanted",
    [
        (SOUND, None, 0, None, ["leave"], 1.0),
        (HOLE, None, 0, None, ["set"], 0.5),
        (HOLE, "missing", 0.97, None, ["set"], 0.97),
        (HOLE, "missing", 0.6, Verdict.ACCEPTED, ["set"], 1.0),
        (HOLE, "missing", 0.97, Verdict.REJECTED, ["leave"], 1.0),  # what is not missing is abandoned
        (HOLE, "in-doubt", 0.4, None, ["set"], 0.4),
        (HOLE, "in-doubt", 0.4, Verdict.DOUBT, ["set"], 0.4),
        (HOLE, "abandoned", 0.95, None, ["leave"], 1.0),
        (HOLE, "abandoned", 0.7, None, ["set"], 0.3),
        (HOLE, "abandoned", 0.95, Verdict.REJECTED, ["set"], 1.0),
        (
            replace(SOUND, condition=Condition.STUB, height_mm=0.1),
            None,
            0,
            None,
            ["leave"],
            0.0,
        ),  # nothing bears it out
        (SOUND, "stub", 0.8, None, ["pull", "set"], 0.8),
        (SOUND, "bent", 0.98, None, ["straighten"], 0.98),
        (SOUND, "bent", 0.98, Verdict.REJECTED, ["leave"], 1.0),
        (SOUND, "extra", 0.95, None, ["leave"], 1.0),  # nobody asked: left, and spoken about
        (SOUND, "extra", 0.95, Verdict.ACCEPTED, ["pull"], 1.0),
        (SOUND, "in-rest-arc", 0.95, Verdict.ACCEPTED, ["pull"], 1.0),
        (SOUND, "off-beat", 0.95, None, ["leave"], 1.0),
        (replace(SOUND, height_mm=0.7), "uneven-height", 0.9, Verdict.ACCEPTED, ["shorten"], 1.0),
        (replace(SOUND, height_mm=0.3), "uneven-height", 0.9, Verdict.ACCEPTED, ["leave"], 1.0),
        (replace(SOUND, height_mm=0.7), "uneven-height", 0.9, None, ["leave"], 1.0),
    ],
)
def test_what_is_done(pin, kind, probability, verdict, expected, wanted):
    made = work(pin, kind, probability, verdict)
    assert operations(made) == expected
    assert made.wanted == pytest.approx(wanted)
    assert all(task.reason for task in made.tasks)


@pytest.mark.parametrize(
    ("probability", "verdict", "ordered", "then"),
    [
        (0.99, None, ["pull", "set"], []),
        (0.97, None, ["look"], ["pull", "set"]),
        (0.60, None, ["look"], ["pull", "set"]),
        (0.60, Verdict.ACCEPTED, ["pull", "set"], []),
        (0.05, None, ["leave"], []),
    ],
)
def test_nothing_irreversible_is_ordered_on_more_than_two_per_cent_of_doubt(probability, verdict, ordered, then):
    made, if_so = held(STUB, probability, verdict)
    assert operations(made) == ordered and [task.operation.value for task in if_so] == then
    if then:
        assert "cut steel" in made.tasks[0].reason and "if not, nothing is done here" in made.tasks[0].reason


def test_nothing_irreversible_is_ordered_where_something_was_likely_given_wrongly():
    """Swapped faces, another comb: a stub that is certain in itself may be drawn on the wrong face."""
    made, if_so = held(STUB, 0.99, doubts=(Doubt(About.FACES, "the photographs are swapped", probability=0.97),))
    assert operations(made) == ["look"] and [task.operation.value for task in if_so] == ["pull", "set"]
    assert made.tasks[0].reason.startswith("settle first what was likely given wrongly")
    never_said = Doubt(About.DIRECTION, "the way it turns was never said")
    swapped = Doubt(About.FACES, "the photographs are swapped", probability=0.97)
    unlikely, stale = Doubt(About.SLOT, "the slot", probability=0.3), Doubt(About.STALE, "older", probability=0.9)
    assert misfits((never_said, swapped, unlikely, stale)) == (swapped,)


ONE_FACE = Doubt(About.FACE, "the photographs show one and the same face")
NEVER_SAID = Doubt(About.DIRECTION, "which way the disc turns was never said")
NOT_ITS_TUNE = Doubt(About.TUNE, "this tune does not lie on the disc", probability=0.95)
LOWER_UNSEEN = {Side.UPPER: SeenMap.clear(Side.UPPER, 15.0), Side.LOWER: SeenMap.unseen(Side.LOWER, 15.0)}
PART = ["." * 360] * RINGS
PART[int(STUB.r_mm / 15.0 * RINGS)] = "c" + "." * 359  # a fingertip just over the stub's place
COVERED_THERE = {Side.LOWER: SeenMap(side=Side.LOWER, radius_mm=15.0, rows=tuple(PART))}


@pytest.mark.parametrize(
    ("doubts", "seen"),
    [((ONE_FACE,), {}), ((), LOWER_UNSEEN), ((), COVERED_THERE)],
    ids=["one face twice", "not photographed", "covered there"],
)
def test_a_stub_is_not_pulled_where_the_other_face_is_not_seen(doubts, seen):
    """It may be the foot of a sound pin of that face: certain as the mark is, the disc is turned over first."""
    made, if_so = held(STUB, 0.995, doubts=doubts, seen=seen)
    assert operations(made) == ["look"] and [task.operation.value for task in if_so] == ["pull", "set"]
    assert made.tasks[0].reason.startswith("turn the disc over first, a pin of the other face may end here")
    assert operations(held(STUB, 0.6, Verdict.ACCEPTED, doubts, seen)[0]) == ["pull", "set"]  # the person has looked
    elsewhere = replace(STUB, theta_deg=90.0)
    assert operations(held(elsewhere, 0.995, doubts=(), seen=COVERED_THERE)[0]) == ["pull", "set"]


@pytest.mark.parametrize("doubt", [NEVER_SAID, NOT_ITS_TUNE], ids=["direction", "tune"])
@pytest.mark.parametrize(
    ("seen_nats", "heard_nats", "ordered"),
    [(4.5, 0.0, ["pull", "set"]), (3.0, 1.5, ["look"]), (5.5, -1.0, ["pull", "set"])],
)
def test_music_in_doubt_adds_nothing_to_a_stub(doubt, seen_nats, heard_nats, ordered):
    """The photographs alone must leave less than two per cent of doubt (3.9 nats); what speaks against still counts."""
    said = (Evidence(SEEN, "a root without a pin", seen_nats), Evidence(HEARD, "the other verse has it", heard_nats))
    one = replace(finding("stub", STUB, combine(0.5, said)), evidence=said)
    assert operations(held(STUB, 0.0, doubts=(doubt,), found=one)[0]) == ordered
    assert operations(held(STUB, 0.0, found=one)[0]) == ["pull", "set"]  # with nothing in doubt the music counts


def test_no_hole_is_drilled_before_the_direction_is_said():
    """Where a new hole comes to lie rests on the way of turning, whatever a person saw at the old place."""
    comb = make_comb()
    whole, tune = make_pins(comb, PLATE)
    pins, findings = damaged(whole)
    off = next(p for p in pins if p.id == 10)
    moved = finding("displaced", off, 0.9)
    decisions = (*accepted(findings), decision_on(moved, Verdict.ACCEPTED, "it strikes early"))
    settled, _ = settle((*findings, moved), decisions)
    layout = lay_out(pins, comb, PLATE, tune)
    listed = stations_of_reading(pins, settled, layout, Shop(), disc_doubt((NEVER_SAID,), {}))
    new = next(s for s in listed if s.pin_id is None)
    assert [op.value for op in new.operations] == ["look"] and Operation.DRILL in new.possible and new.in_doubt
    assert not any(s.needs_hole or Operation.PLUG in s.operations for s in listed)
    (its,) = [s for s in listed if s.pin_id == off.id]
    assert its.operations == (Operation.LOOK,) and "which way the disc turns" in its.tasks[0].reason


def test_what_no_photograph_shows_is_only_looked_at():
    assert operations(work(replace(SOUND, condition=Condition.UNSEEN))) == ["look"]


def test_an_extra_that_stands_is_no_empty_hole():
    (task,) = work(replace(SOUND, condition=Condition.EXTRA, tooth=None)).tasks
    assert "a pin that stands" in task.reason and "hole" not in task.reason


def test_shorten_says_how_much():
    task = work(replace(SOUND, height_mm=0.7), "uneven-height", 0.9, Verdict.ACCEPTED).tasks[0]
    assert task.amount_mm == pytest.approx(0.2)


# A pin at theta 0 stands on the x axis. Seen on the upper side a disc that turns clockwise carries it towards -y, one
# that turns counter-clockwise towards +y.
@pytest.mark.parametrize("turns, y_with", [(Turns.CLOCKWISE, -1.0), (Turns.COUNTERCLOCKWISE, +1.0)])
def test_straighten_says_which_way_and_how_much(turns, y_with):
    plate = replace(PLATE, turns=turns)
    bent = replace(SOUND, condition=Condition.BENT, lean_x_mm=0.09, lean_y_mm=0.12 * y_with)
    task = work(bent, plate=plate).tasks[0]
    assert task.amount_mm == pytest.approx(0.15)
    assert (task.push_x_mm, task.push_y_mm) == (-0.09, -0.12 * y_with)
    assert task.toward == "0.12 mm against the turning and 0.09 mm inward"
    assert "leans 0.12 mm with the turning and 0.09 mm outward, 17° from upright" in task.reason


@pytest.mark.parametrize("turns, y_with", [(Turns.CLOCKWISE, -1.0), (Turns.COUNTERCLOCKWISE, +1.0)])
def test_a_way_is_told_by_the_clock_where_the_direction_was_never_said(turns, y_with):
    """A pin at theta 0 that leans towards +y leans counter-clockwise, whichever way is assumed."""
    plate = replace(PLATE, turns=turns, assumed=frozenset({"turns"}))
    bent = replace(SOUND, condition=Condition.BENT, lean_x_mm=0.09, lean_y_mm=0.12)
    task = work(bent, plate=plate).tasks[0]
    assert task.toward == "0.12 mm clockwise as seen on the upper face and 0.09 mm inward"
    assert "leans 0.12 mm counter-clockwise as seen on the upper face and 0.09 mm outward" in task.reason
    assert lean_words(bent, plate).endswith("counter-clockwise as seen on the upper face and outward")


def test_a_pin_bent_far_may_break():
    far = replace(SOUND, condition=Condition.BENT, lean_x_mm=0.0, lean_y_mm=0.4)
    assert work(far).may_break and not work(replace(far, lean_y_mm=0.1)).may_break


def test_a_tip_brought_over_a_hair_has_no_way_to_name():
    assert tip_over(0.005, 0.0, 0.0, PLATE, "").toward == "a hair"


# ---- the whole disc


@pytest.fixture(scope="module")
def stations():
    comb = make_comb()
    whole, tune = make_pins(comb, PLATE)
    pins, findings = damaged(whole)
    settled, _ = settle(findings, accepted(findings))
    return stations_of_reading(pins, settled, lay_out(pins, comb, PLATE, tune), Shop()), whole


def test_every_pin_has_its_place_in_the_list(stations):
    listed, whole = stations
    assert sorted(s.pin_id for s in listed if s.pin_id) == [p.id for p in whole if p.id != 50]
    done = {s.pin_id: [op.value for op in s.operations] for s in listed}
    assert done[5] == ["set"] and done[12] == ["set"] and done[20] == ["leave"]
    assert done[30] == ["pull", "set"] and done[41] == ["straighten"] and done[None] == ["drill", "set"]
    assert [s.pin_id for s in listed if s.in_doubt] == [12]


def test_the_hand_goes_once_round_each_face(stations):
    listed, _ = stations
    for side in Side:
        angles = [s.place.theta_deg for s in listed if s.side is side]
        assert angles == sorted(angles) and angles
    assert [s.side for s in listed] == sorted((s.side for s in listed), key=list(Side).index)
    numbers = [s.number for s in listed if s.number is not None]
    assert numbers == list(range(1, len(numbers) + 1)) == [1, 2, 3, 4, 5, 6]


def test_the_place_without_a_hole_is_drilled_where_the_maker_meant_it(stations):
    listed, whole = stations
    new = next(s for s in listed if s.needs_hole)
    lost = next(p for p in whole if p.id == 50)
    assert new.found is None and new.on_grid and new.side is lost.side
    assert new.place.r_mm == pytest.approx(lost.r_mm, abs=0.03)
    assert new.place.theta_deg == pytest.approx(lost.theta_deg, abs=0.25)
    assert new.stock is not None and new.stock.wire_mm == 0.25 and new.standing_mm == 0.5
    assert new.depth_mm == 0.75 and new.wall is not None


@pytest.mark.parametrize("shift_mm, expected", [(0.06, [["straighten"]]), (0.30, [["pull", "plug"], ["drill", "set"]])])
def test_a_pin_accepted_as_off_its_track(shift_mm, expected):
    comb = make_comb()
    pins, tune = make_pins(comb, PLATE)
    off = replace(pins[9], r_mm=comb.tooth(pins[9].tooth).tip_r_mm + shift_mm)
    pins = (*pins[:9], off, *pins[10:])
    said = finding("off-track", off, 0.9)
    settled, _ = settle([said], [decision_on(said, Verdict.ACCEPTED, "it scrapes its neighbour")])
    listed = stations_of_reading(pins, settled, lay_out(pins, comb, PLATE, tune), Shop())
    mine = [s for s in listed if s.pin_id == off.id]
    assert sorted([op.value for op in s.operations] for s in mine) == sorted(expected)
    assert all("it scrapes its neighbour" in s.tasks[0].reason or s.needs_hole for s in mine)
    moved = next(s for s in mine if s.operations[-1] in (Operation.SET, Operation.STRAIGHTEN))
    if moved.needs_hole:
        assert moved.place.r_mm == pytest.approx(comb.tooth(off.tooth).tip_r_mm)
    else:
        assert "inward" in moved.tasks[0].toward


def test_an_old_hole_off_the_beat_says_what_to_do():
    comb = make_comb()
    pins, tune = make_pins(comb, PLATE)
    late = replace(pins[9], theta_deg=pins[9].theta_deg + 0.35, condition=Condition.MISSING, height_mm=None)
    pins = (*pins[:9], late, *pins[10:])
    settled, _ = settle([finding("missing", late, 0.97)], ())
    listed = stations_of_reading(pins, settled, lay_out(pins, comb, PLATE, tune), Shop())
    mine = next(s for s in listed if s.pin_id == late.id)
    # The disc turns clockwise, so a larger theta has farther to go: late by 0.35 / 360 x 45 s = 44 ms.
    assert mine.early_ms == pytest.approx(-44.0, abs=15.0)
    assert any(
        "late: set the pin upright, then bring its tip over" in n and "with the turning" in n for n in mine.notes
    )


def test_a_new_disc_is_drilled_and_set_all_over():
    comb = make_comb()
    pins, tune = make_pins(comb, PLATE)
    listed = stations_of_design(pins, lay_out(pins, comb, PLATE, tune), Shop())
    assert [s.number for s in listed] == list(range(1, 61))
    assert all([op.value for op in s.operations] == ["drill", "set"] and not s.in_doubt for s in listed)
    assert all(s.place == s.nominal and s.depth_mm and s.wall and s.stock for s in listed)


def test_old_pins_that_stay_are_left():
    comb = make_comb()
    pins, tune = make_pins(comb, PLATE)
    listed = stations_of_design(pins, lay_out(pins, comb, PLATE, tune), Shop(), kept={p.id for p in pins[:40]})
    done = {s.pin_id: [op.value for op in s.operations] for s in listed}
    assert all(done[p.id] == (["leave"] if p.id <= 40 else ["drill", "set"]) for p in pins)
    assert [s.number for s in listed if s.number] == list(range(1, 21))
