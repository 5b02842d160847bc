"""What the desk keeps in memory from edit to edit is what a desk opened afresh reads from the disk."""

from __future__ import annotations

import random
import threading

import pytest

from disc.desk.open_job.pin_table import PinTable
from disc.desk.open_job.session import Session
from disc.errors import BadInput
from disc.job import corrections
from disc.tables import format_pins

from .rig import make_job, pins


@pytest.fixture
def session(tmp_path):
    made = Session(make_job(tmp_path / "watch", size_px=200))
    yield made
    made.close()


def known(session):
    state = session.all_pins(), session.history_state(), session.pins
    return [sorted(state[0], key=lambda pin: pin["id"]), *state[1:]]


def test_after_any_edits_the_desk_shows_what_one_opened_afresh_shows(session):
    chance = random.Random(11)
    teeth = [tooth.number for tooth in session.comb.teeth]
    for number in range(40):
        pin = chance.choice(session.pins)
        request = chance.choice([
            {"do": "change", "pins": [pin.id], "changes": {"condition": chance.choice(["bent", "missing", "sound"])}},
            {"do": "change", "pins": [pin.id], "changes": {"tooth": chance.choice([*teeth, None])}},
            {"do": "note", "pins": [pin.id], "note": f"seen {number}"},
            {"do": "move", "pin": pin.id, "r_mm": round(pin.r_mm + 0.05, 3), "theta_deg": pin.theta_deg},
            {"do": "remove", "pins": [pin.id]},
            {"do": "add", "side": "upper", "r_mm": 7.0 + number / 20, "theta_deg": 9.0 * number, "note": "by hand"},
            {"back": chance.randrange(4)},
        ])  # fmt: skip
        try:
            if "back" in request:
                session.go_to(max(0, session.history.done - request["back"]))
            else:
                session.change(request)
        except BadInput:
            continue  # an added pin fell onto another
        if number % 8 == 7:
            fresh = Session(session.folder)
            assert known(fresh) == known(session)
            fresh.close()
    assert session.history.done > 10 and session.notes and session.by_hand


def test_an_edit_lays_one_correction_and_tells_one_step_however_many_there_were(session, monkeypatch):
    laid = []
    real = corrections.Standing.lay
    here = threading.get_ident()  # what follows from an edit is thought out in another thread, which lays its own

    def lay(self, one):
        if threading.get_ident() == here:
            laid.append(one)
        return real(self, one)

    monkeypatch.setattr(corrections.Standing, "lay", lay)
    counts = []
    for number in range(6):
        laid.clear()
        answer = session.change({"do": "change", "pins": [3], "changes": {"condition": ("bent", "stub")[number % 2]}})
        counts.append(len(laid))
        assert answer["history"]["from"] == number and len(answer["history"]["steps"]) == 1
        assert [pin["id"] for pin in answer["pins"]] == [3]
    assert counts[1:] == [1] * 5  # the first puts the reading aside in a file of its own


def test_after_an_undo_the_steps_are_told_from_where_they_differ(session):
    for condition in ("bent", "stub", "sound"):
        session.change({"do": "change", "pins": [3], "changes": {"condition": condition}})
    back, only_pins = session.go_to(1)
    assert only_pins
    assert (back["history"]["done"], back["history"]["steps"]) == (1, []) and back["history"]["from"] == 3
    other = session.change({"do": "change", "pins": [5], "changes": {"condition": "bent"}})
    assert other["history"]["from"] == 1 and [s["words"] for s in other["history"]["steps"]] == [
        "pin 5: condition bent"
    ]


def test_the_table_written_line_by_line_is_the_table_written_whole():
    table, some = PinTable(), pins()
    assert table.text(some) == format_pins(some)
    assert table.text(some[3:]) == format_pins(some[3:]) and table.text(()) == format_pins(())
