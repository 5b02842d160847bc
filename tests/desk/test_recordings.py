"""Recordings added, of one name, taken out, and brought back by undo; names in any script; long steps stopped."""

from __future__ import annotations

import json

import pytest

from disc.desk.open_job.session import Session
from disc.desk.work import tasks, uploads
from disc.errors import BadInput
from disc.job import open_for_writing, open_job

from .rig import make_job


@pytest.fixture
def desk(tmp_path):
    session = Session(make_job(tmp_path / "watch"))
    kept = tmp_path / "kept"
    kept.mkdir()
    yield session, kept
    session.close()


def bring(kept, name, data, kind="recording"):
    arrived = kept / "arriving"
    arrived.write_bytes(data)
    return uploads.take(kept, kind, name, arrived)


def add(desk, name, data):
    session, kept = desk
    return tasks.run_task(session, {"do": "recording", "token": bring(kept, name, data)["token"]}, kept)


def recordings(session):
    folder = session.folder / "recordings"
    return {path.name: path.read_bytes() for path in folder.iterdir()} if folder.is_dir() else {}


def test_a_second_recording_of_the_same_name_is_kept_beside_the_first(desk):
    session, _ = desk
    add(desk, "turn.wav", b"first")
    assert "turn-2.wav" in add(desk, "turn.wav", b"second")
    assert recordings(session) == {"turn.wav": b"first", "turn-2.wav": b"second"}


def test_added_taken_out_and_undone_to_the_beginning_and_back(desk):
    session, kept = desk
    add(desk, "turn.wav", b"first")
    with open_for_writing(session.folder) as job, job.step("listen") as stage:  # as listening would leave it
        stage.write_text("out/listen.json", json.dumps({"schema": 1}))
        job.content.results["listen"] = {"file": "turn.wav"}
    session.load()
    told = tasks.run_task(session, {"do": "recording-out", "recording": "turn.wav"}, kept)
    assert "Undo brings it back" in told
    job = open_job(session.folder)
    assert recordings(session) == {} and not job.has("out/listen.json") and "listen" not in job.content.results
    assert [step.words for step in session.history.steps] == [
        "added the recording turn.wav",
        "took out the recording turn.wav",
    ]
    session.go_to(1)
    job = open_job(session.folder)
    assert recordings(session) == {"turn.wav": b"first"} and job.content.results["listen"] == {"file": "turn.wav"}
    session.go_to(0)
    assert recordings(session) == {}
    session.go_to(2)
    session.go_to(1)
    assert recordings(session) == {"turn.wav": b"first"}


@pytest.mark.parametrize(
    "given, kept_as",
    [
        ("фото диска.wav", "фото-диска.wav"),
        ("録音.wav", "録音.wav"),
        ("Spieluhr (2).WAV", "Spieluhr-2-.WAV"),
        ("../../etc/x.wav", "x.wav"),
        ("a" * 300 + ".wav", "a" * 120 + ".wav"),
    ],
)
def test_names_in_any_script(desk, given, kept_as):
    assert bring(desk[1], given, b"x")["name"] == kept_as


def test_a_step_that_was_asked_to_stop_leaves_the_job_as_it_was(desk, monkeypatch):
    session, kept = desk
    before = {path: path.read_bytes() for path in session.folder.rglob("*") if path.is_file()}

    def long(session, body, uploads, advance):
        session.stop.set()  # the person presses Stop while it runs
        advance(0.5)
        raise AssertionError("it went on")

    monkeypatch.setitem(tasks.TASKS, "listen", ("Listening", long))
    assert tasks.run_task(session, {"do": "listen"}, kept) == "Stopped: listening. Nothing was changed."
    assert session.busy is None
    assert {path: path.read_bytes() for path in session.folder.rglob("*") if path.is_file()} == before


def test_what_does_not_belong_to_the_job_is_not_taken_out(desk):
    with pytest.raises(BadInput, match="does not belong"):
        tasks.run_task(desk[0], {"do": "recording-out", "recording": "../pins.csv"}, desk[1])
