"""README's words hold: its ten steps run as written, from an empty folder, and every command it names is there.

The commands are taken out of README word for word. The files it names are the shipped sample's; the two recordings are
made with the program's own sound.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile
import typer

from disc.cli import COMMANDS as NAMES
from disc.cli import app_with
from disc.entry import main
from disc.report.log import FIRST_NOTE
from disc.tables import read_comb
from disc.tune.write.sound import RATE_HZ, tooth_sound

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
SAMPLE = ROOT / "samples" / "first-disc"
COMMANDS = typer.main.get_command(app_with(NAMES)).commands  # type: ignore[attr-defined]
PLUCK_S = 1.0  # between plucks; README says a second or two


def commands_in(text: str) -> list[str]:
    """The `disc ...` commands of a text in order: lines indented as code, and those between backquotes."""
    return [" ".join((a or b).split()) for a, b in re.findall(r"^ +(disc [a-z].*)$|`(disc [a-z][^`]*)`", text, re.M)]


def steps() -> list[list[str]]:
    """The commands of each of the ten steps of README's "Your first disc"."""
    section = README.partition("\n## Your first disc")[2].partition("\n## ")[0]
    return [commands_in(step) for step in re.split(r"^\d+\. \*\*", section, flags=re.M)[1:]]


def run(line: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> str:
    """Run one line as the `disc` command would; returns what it said."""
    monkeypatch.setattr(sys, "argv", shlex.split(line))
    with pytest.raises(SystemExit) as ended:
        main()
    out, err = capsys.readouterr()
    assert ended.value.code == 0, (line, err)
    return out


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder with the files that README names, and a small library to save time."""
    from disc.library.read import read_files

    monkeypatch.setattr(read_files, "CORPUS_COLLECTIONS", ("miscFolk",))
    for name in ("upper.jpg", "lower.jpg", "comb.csv"):
        shutil.copyfile(SAMPLE / name, tmp_path / name)
    shutil.copyfile(SAMPLE / "upper.jpg", tmp_path / "IMG_1.jpg")
    shutil.copytree(ROOT / "scores", tmp_path / "scores")
    soundfile.write(tmp_path / "teeth.wav", teeth_plucked(), RATE_HZ)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def teeth_plucked() -> np.ndarray:
    """Every tooth of the sample's comb plucked twice, from the lowest up, in quiet."""
    pitches = sorted(tooth.pitch for tooth in read_comb(SAMPLE / "comb.csv").teeth if tooth.pitch is not None)
    rng = np.random.default_rng(1)
    sound = 1e-5 * rng.normal(size=int((2 * len(pitches) + 2) * PLUCK_S * RATE_HZ))
    for place, pitch in enumerate(pitch for pitch in pitches for _ in range(2)):
        tone = 0.3 * tooth_sound(pitch, PLUCK_S)
        start = int((place + 0.5) * PLUCK_S * RATE_HZ)
        sound[start : start + len(tone)] += tone
    return sound


def as_m4a(source: Path, target: Path) -> None:
    """The tune's sound as a telephone would have recorded it."""
    samples, rate = soundfile.read(source, dtype="float32")
    with av.open(str(target), "w", format="ipod") as container:
        stream = container.add_stream("aac", rate=rate, layout="mono")
        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(samples.reshape(1, -1)), "fltp", "mono")
        frame.sample_rate = rate
        resampler = av.AudioResampler("fltp", "mono", rate, frame_size=1024)
        for piece in (*resampler.resample(frame), *resampler.resample(None)):
            container.mux(stream.encode(piece))
        container.mux(stream.encode(None))


# In place of the browser: follow the file to the desk, fetch the page, press Ctrl-C at the desk that opened it.
VISIT_AND_LEAVE = """
import os, pathlib, re, signal, sys, urllib.request
try:
    text = urllib.request.urlopen(sys.argv[1], timeout=20).read().decode()
    address = re.search("http://127[.]0[.]0[.]1[^<> \\x22\\x27]*", text)
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())  # the key goes into a cookie
    pathlib.Path("visited").write_bytes(browser.open(address[0], timeout=20).read())
finally:
    os.kill(os.getppid(), signal.SIGINT)
"""


def run_desk(line: str, folder: Path) -> str:
    """Run `disc desk` in a process of its own, since it holds the terminal until Ctrl-C; returns what it said."""
    visitor = folder / "visit.py"
    visitor.write_text(VISIT_AND_LEAVE)
    done = subprocess.run(
        [sys.executable, "-c", "from disc.entry import main; main()", *shlex.split(line)[1:]],
        env={**os.environ, "BROWSER": f"{sys.executable} {visitor} %s", "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, (line, done.stderr)
    return done.stdout


def test_the_ten_steps_as_written(bench, monkeypatch, capsys):
    said = {}
    for step in steps():
        ways = [line for line in step if line.startswith("disc comb ")]
        for line in ways[1:]:  # of the ways to give the comb the first is gone on with
            shutil.copytree(bench, bench.parent / "other-way")
            monkeypatch.chdir(bench.parent / "other-way")
            said[line] = run(line, monkeypatch, capsys)
            monkeypatch.chdir(bench)
            shutil.rmtree(bench.parent / "other-way")
        for line in step:
            if line not in ways[1:]:
                if "turn.m4a" in line:
                    as_m4a(bench / "my-disc/out/tune.wav", bench / "turn.m4a")
                if line.startswith("disc desk "):
                    said[line] = run_desk(line, bench)
                else:
                    said[line] = run(line, monkeypatch, capsys)
    assert len((bench / "visited").read_bytes()) > 1000
    assert "24 teeth" in said["disc comb my-disc --plucked teeth.wav --teeth 24"]
    log = json.loads((bench / "my-disc/log.json").read_text())["steps"]
    assert [entry["note"] for entry in log] == [FIRST_NOTE, "dial off", "hands off"]
    made = {path.name for path in (bench / "my-disc/out").rglob("*")}
    assert made >= {"put-back.pdf", "map.svg", "tune.pdf", "findings.svg", "sheets.pdf", "report.pdf", "report.html"}
    assert (bench / "my-disc-archive").is_dir()


def test_there_are_ten_steps_with_their_commands():
    found = steps()
    assert len(found) == 10
    assert [bool(step) for step in found] == [number != 2 for number in range(1, 11)]  # 2: taking the photographs
    assert found[2] == [
        "disc start my-disc",
        "disc set my-disc --diameter-mm 30.0 --turns clockwise --revolution-s 52",
        "disc read my-disc --upper upper.jpg --lower lower.jpg",
    ]


def table_rows() -> list[str]:
    """The first cells of README's table of commands."""
    section = README.partition("\n## The commands")[2].partition("\n##")[0]
    return re.findall(r"^\| (`disc [^|]*) \|", section, re.M)


def test_every_command_has_its_line_in_the_table():
    named = [re.match(r"`disc ([a-z-]+)", row)[1] for row in table_rows()]
    assert sorted(named) == sorted(COMMANDS)


def test_the_parts_of_a_group_are_named():
    for name, command in COMMANDS.items():
        for part in getattr(command, "commands", {}):
            assert any(row.startswith(f"`disc {name} ") and part in row for row in table_rows()), f"{name} {part}"


@pytest.mark.parametrize("line", sorted(set(commands_in(README))))
def test_every_command_and_option_named_is_there(line):
    words = line.replace(",", " ").split()[1:]
    command = COMMANDS[words[0]]
    reached = [command, *(command.commands[word] for word in words[1:] if word in getattr(command, "commands", {}))]
    known = {option for one in reached for parameter in one.params for option in parameter.opts} | {"--help"}
    assert {word for word in words if word.startswith("--")} - known == set()


def test_no_line_is_over_long():
    prose = [line for line in README.splitlines() if not line.startswith(("|", "    ", "!")) and "](" not in line]
    assert [line for line in prose if len(line) > 128] == []
