"""disc listen and disc comb --plucked through the command line: JSON, findings, words of errors."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from disc.cli import main
from disc.frame import theta_for
from disc.job import create_job, open_for_writing, open_job
from disc.listen.comb.plucked_store import heard_pitches
from disc.listen.store import load_course, load_listen, load_listen_findings, load_turn
from disc.records import Comb, Pin, Plate, Side, Tooth
from disc.tables import format_comb, format_pins

from .struck_bars import RATE, a_tune, played_turn, plucked_comb

PITCHES = [70.0, 72.0, 74.0, 76.0, 78.0, 80.0, 82.0]
COMB = Comb(tuple(Tooth(k, Side.UPPER, 6.0 + 0.5 * k, 40.0, p) for k, p in enumerate(PITCHES, start=1)))


def run(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *arguments: object
) -> tuple[int, str, str]:
    monkeypatch.setattr(sys, "argv", ["disc", *map(str, arguments)])
    with pytest.raises(SystemExit) as ended:
        main()
    out, err = capsys.readouterr()
    return int(ended.value.code or 0), out, err


@pytest.fixture(scope="module")
def sounds(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sounds")
    rng = np.random.default_rng(21)
    audio, _ = plucked_comb(rng, PITCHES, dead=(4,))
    soundfile.write(folder / "comb.wav", audio, RATE)
    tune = a_tune(rng, list(range(1, 8)), 40)
    audio, _ = played_turn(rng, dict(enumerate(PITCHES, start=1)), tune, 20.0, silent=(12,), extra=((0.403, 1),))
    soundfile.write(folder / "turn.flac", audio, RATE)
    lines = "".join(f"{u:.6f},{tooth}\n" for u, tooth in tune)
    (folder / "strikes.csv").write_text("turn_fraction,tooth\n" + lines)
    (folder / "comb.csv").write_text(format_comb(COMB))
    return folder


def a_job(folder: Path, sounds: Path) -> Path:
    """A job whose pins play the strikes of strikes.csv."""
    plate = Plate(diameter_mm=30.0, revolution_s=20.0)
    create_job(folder, plate)
    pins = []
    rows = (sounds / "strikes.csv").read_text().splitlines()[1:]
    for n, line in enumerate(rows, start=1):
        u, tooth = float(line.split(",")[0]), int(line.split(",")[1])
        theta = float(theta_for(u * 360.0, 40.0, plate.turns))
        pins.append(Pin(n, Side.UPPER, 6.0 + 0.5 * tooth, theta, tooth=tooth))
    with open_for_writing(folder) as job, job.step("test") as stage:
        job.stage_comb(stage, COMB)
        stage.write_text("pins.csv", format_pins(pins))
    return folder


def test_plucked_without_a_table(
    tmp_path: Path, sounds: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    create_job(tmp_path / "job", Plate(30.0))
    code, out, err = run(
        monkeypatch, capsys, "comb", tmp_path / "job", "--plucked", sounds / "comb.wav", "--teeth", 7, "--plucks", 2,
        "--json",
    )  # fmt: skip
    assert (code, err) == (0, "")
    teeth = json.loads(out)["teeth"]
    assert [t["tooth"] for t in teeth] == [1, 2, 3, 4, 5, 6, 7]
    assert [t["condition"] for t in teeth] == ["sound"] * 3 + ["dead"] + ["sound"] * 3
    assert {"tooth", "pitch", "t60_s", "condition", "plucks_s"} <= set(teeth[0])
    assert [t["pitch"] for t in teeth if t["pitch"]] == pytest.approx([p for p in PITCHES if p != 76.0], abs=0.01)
    job = open_job(tmp_path / "job")
    assert heard_pitches(job)[7] == pytest.approx(82.0, abs=0.01)
    assert job.out("plucked.svg").is_file() and not job.has("comb.csv")


def test_plucked_into_a_table(
    tmp_path: Path, sounds: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = a_job(tmp_path / "job", sounds)
    code, out, _ = run(monkeypatch, capsys, "comb", folder, "--plucked", sounds / "comb.wav")
    assert code == 0 and "A = " in out and "dead" in out
    comb = open_job(folder).comb()
    assert [t.condition and t.condition.value for t in comb.teeth][3] == "dead"
    assert comb.tooth(4).pitch == 76.0  # not heard: left as it stood
    assert comb.tooth(1).tip_theta_deg == 40.0


def test_teeth_that_do_not_fit_the_table(
    tmp_path: Path, sounds: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = a_job(tmp_path / "job", sounds)
    before = (folder / "job.json").read_bytes()
    code, out, err = run(monkeypatch, capsys, "comb", folder, "--plucked", sounds / "comb.wav", "--teeth", 9)
    assert (code, out) == (2, "") and "7 teeth" in err and err.count("\n") == 1
    assert (folder / "job.json").read_bytes() == before


def test_listen_to_files(sounds: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(
        monkeypatch, capsys, "listen", "--comb", sounds / "comb.csv", "--strikes", sounds / "strikes.csv",
        sounds / "turn.flac", "--json",
    )  # fmt: skip
    assert (code, err) == (0, "")
    heard = json.loads(out)
    assert heard["silent"] == [12]
    assert len(heard["extra"]) == 1 and heard["extra"][0][1] == pytest.approx(70.0, abs=0.1)
    assert heard["revolution_s"] == pytest.approx(20.0, rel=0.002)
    assert all(len(row) == 3 for row in heard["onsets"]) and all(len(row) == 2 for row in heard["speed"])


def test_listen_to_a_job_leaves_findings(
    tmp_path: Path, sounds: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = a_job(tmp_path / "job", sounds)
    code, out, _ = run(monkeypatch, capsys, "listen", folder, sounds / "turn.flac")
    assert code == 0 and "Let the mainsprings down" in out
    job = open_job(folder)
    kinds = [f.kind for f in load_listen_findings(job)]
    assert sorted(kinds) == ["extra-sound", "silent-strike"]
    silent = next(f for f in load_listen_findings(job) if f.kind == "silent-strike")
    pin = next(p for p in job.pins() if p.id == silent.pin_id)
    assert (silent.r_mm, silent.theta_deg) == pytest.approx((pin.r_mm, pin.theta_deg))
    extra = next(f for f in load_listen_findings(job) if f.kind == "extra-sound")
    expected = theta_for(0.403 * 360.0, 40.0, job.plate.turns)
    assert extra.theta_deg == pytest.approx(float(expected), abs=0.5) and extra.tooth == 1
    assert all(0.0 < at < 25.0 for _, at in load_listen(job))
    assert job.out("listen/turn.flac").is_file() and job.content.results["listen"]["silent"] == 1


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["job-none", "turn.flac"], "no job here"),
        (["turn.flac"], "give the job and the recording"),
        (["--comb", "comb.csv", "turn.flac"], "give all three"),
        (["--comb", "comb.csv", "--strikes", "strikes.csv", "none.wav"], "no such recording"),
        (["--comb", "comb.csv", "--strikes", "wrong.csv", "turn.flac"], "wrong.csv line 3: turn_fraction is 1.2"),
        (["--comb", "comb.csv", "--strikes", "tooth.csv", "turn.flac"], "tooth 88"),
        (["--comb", "comb.csv", "--strikes", "comb.csv", "turn.flac"], "no column turn_fraction"),
    ],
)
def test_bad_use(
    sounds: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], arguments: list[str], words: str
) -> None:
    (sounds / "wrong.csv").write_text("turn_fraction,tooth\n0.1,1\n1.2,2\n")
    (sounds / "tooth.csv").write_text("turn_fraction,tooth\n0.1,88\n")
    monkeypatch.chdir(sounds)
    code, out, err = run(monkeypatch, capsys, "listen", *arguments)
    assert (code, out) == (2, "")
    assert words in err and err.count("\n") == 1 and "Traceback" not in err


def test_the_two_recordings_exchanged_are_each_refused_in_one_line(
    tmp_path: Path, sounds: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = a_job(tmp_path / "job", sounds)
    before = (folder / "comb.csv").read_bytes()
    code, out, err = run(monkeypatch, capsys, "comb", folder, "--plucked", sounds / "turn.flac")
    assert (code, out) == (2, "") and "no comb plucked tooth by tooth" in err and err.count("\n") == 1
    code, out, err = run(monkeypatch, capsys, "listen", folder, sounds / "comb.wav")
    assert (code, out) == (2, "") and err.count("\n") == 1
    assert (folder / "comb.csv").read_bytes() == before and not open_job(folder).has("out/listen.json")


def test_what_recurs_in_two_turns_is_one_finding(
    tmp_path: Path, sounds: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = a_job(tmp_path / "job", sounds)
    once, rate = soundfile.read(sounds / "turn.flac")
    turn = once[: int(20.0 * rate)]
    soundfile.write(tmp_path / "two.wav", np.concatenate([turn, once]), rate)
    assert run(monkeypatch, capsys, "listen", folder, tmp_path / "two.wav")[0] == 0
    extra = [f for f in load_listen_findings(open_job(folder)) if f.kind == "extra-sound"]
    assert len(extra) == 1 and "; again at " in extra[0].evidence[0].words


def test_the_recordings_place_on_the_disc_is_stored(
    tmp_path: Path, sounds: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every onset with the pin that sounded it, and the disc at that pin's place when it did."""
    folder = a_job(tmp_path / "job", sounds)
    assert run(monkeypatch, capsys, "listen", folder, sounds / "turn.flac")[0] == 0
    job = open_job(folder)
    course, turn = load_course(job), load_turn(job)
    assert course is not None and turn is not None and len(course.onset_pins) == len(turn["onsets"])
    assert sum(pin is None for pin in course.onset_pins) == 1  # the extra sound
    rows = [line.split(",") for line in (sounds / "strikes.csv").read_text().splitlines()[1:]]
    for (at, _, tooth), pin in zip(turn["onsets"], course.onset_pins, strict=True):
        if pin is not None:
            place, struck = float(rows[pin - 1][0]), int(rows[pin - 1][1])
            assert struck == tooth
            assert np.interp(at, course.points[:, 0], course.points[:, 1]) == pytest.approx(place, abs=0.002)
