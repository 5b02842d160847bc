"""Bad days at the terminal and with files: one line, the right exit code, and a true word about the job."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time

import mido
import numpy as np
import pytest
from PIL import Image

from disc.errors import BadInput
from disc.job import create_job, open_job
from disc.job.corrections_file import load_corrections
from disc.records import Comb, Pin, Plate, Side, Tooth
from disc.report.log import LOG_FILE, load_log
from disc.terminal import LONGEST_LINE, one_line, printable
from disc.tune.score.read_score import read_score

RUN = [sys.executable, "-m", "disc"]


def disc(*arguments: object, **options) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*RUN, *map(str, arguments)], capture_output=True, text=True, **options)


def is_one_line(done: subprocess.CompletedProcess[str], *words: str) -> None:
    assert done.returncode == 2 and len(done.stderr.splitlines()) == 1, done.stderr
    for word in words:
        assert word in done.stderr


@pytest.fixture
def job(tmp_path):
    made = create_job(tmp_path / "job", Plate(28.0))
    with made.step("read") as stage:
        made.stage_reading(stage, tuple(Pin(n, Side.UPPER, 5.0 + 0.1 * n, 10.0 * n, tooth=1) for n in range(1, 9)))
        made.stage_comb(stage, Comb((Tooth(1, Side.UPPER, 5.1, 3.0, 70.0),)))
    return made.folder


# ---- files


def midi(path, *messages, sharps=None):
    track = mido.MidiTrack(messages)
    for note in (60, 64, 67, 72):
        track += [mido.Message("note_on", note=note, time=0), mido.Message("note_off", note=note, time=240)]
    file = mido.MidiFile(tracks=[track])
    file.save(path)
    if sharps is not None:
        data = path.read_bytes()
        path.write_bytes(data.replace(b"\xff\x59\x02\x02\x00", b"\xff\x59\x02" + bytes([sharps]) + b"\x00"))
    return path


def test_a_key_of_127_sharps_costs_the_key_and_not_the_tune(tmp_path):
    path = midi(tmp_path / "a.mid", mido.MetaMessage("key_signature", key="D"), sharps=127)
    (score,) = read_score(path)
    assert [note.pitch for note in score.notes] == [60, 64, 67, 72] and score.key is None
    assert read_score(midi(tmp_path / "b.mid", mido.MetaMessage("key_signature", key="D")))[0].key.fifths == 2


def test_a_tempo_of_zero_is_none(tmp_path):
    path = midi(tmp_path / "a.mid", mido.MetaMessage("set_tempo", tempo=0))
    assert read_score(path)[0].quarter_s == 0.5  # 120 a minute where no tempo is given (Standard MIDI Files 1.0)


@pytest.mark.parametrize("command", ["check", "transcribe", "repin", "identify", "report", "listen"])
def test_a_pipe_is_no_file(command, job, tmp_path):
    os.mkfifo(tmp_path / "pipe")
    options = {"check": ["--tune"], "repin": ["--rates"], "report": ["--compare"], "transcribe": ["--order"]}
    if command in ("identify", "listen"):
        arguments = [command, tmp_path / "pipe"] if command == "identify" else [command, job, tmp_path / "pipe"]
    elif command == "transcribe":
        arguments = ["comb", job, "--table", tmp_path / "pipe"]
    else:
        arguments = [command, job, *options[command], tmp_path / "pipe"]
    is_one_line(disc(*arguments, timeout=60), str(tmp_path / "pipe"))


def test_a_device_is_no_photograph(job):
    is_one_line(disc("read", job, "--upper", "/dev/zero", timeout=60), "/dev/zero: this is a pipe or a device")


def test_postscript_is_not_opened(job, tmp_path):
    (tmp_path / "p.jpg").write_bytes(b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 900 900\n(x) print\n%%EOF\n")
    is_one_line(disc("read", job, "--upper", tmp_path / "p.jpg"), "not a photo that can be opened")
    is_one_line(disc("log", job, "add", "--photo", tmp_path / "p.jpg"), "not a photograph that can be read")


@pytest.mark.parametrize("ending", ["png", "jpg"])
def test_a_picture_of_nothing_takes_no_gigabyte(ending, job, tmp_path):
    Image.fromarray(np.full((9000, 9000), 90, np.uint8)).save(tmp_path / f"p.{ending}")
    watch = (
        "import sys; from disc.entry import main\n"
        "try: main()\n"
        "finally: print([x for x in open('/proc/self/status') if 'VmHWM' in x][0].split()[1])"
    )
    run = [sys.executable, "-c", watch, "read", str(job), "--upper", str(tmp_path / f"p.{ending}")]
    done = subprocess.run(run, capture_output=True, text=True)
    is_one_line(done, "hold next to nothing")
    assert int(done.stdout.split()[-1]) < 300_000  # kB


@pytest.mark.parametrize(
    "change, words",
    [
        ({"settings": {"repin": 3}}, "settings: repin must be a table"),
        ({"settings": {"metre": {"beats": 3}}}, "settings: metre must be a value"),
        ({"settings": {"tip_limit": "wide"}}, "settings: tip_limit must be degrees"),
        ({"results": {"teeth": [1]}}, "results: teeth must be a table"),
    ],
)
def test_settings_of_a_wrong_kind_are_told(change, words, job):
    path = job / "job.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | change))
    with pytest.raises(BadInput, match=words):
        open_job(job)
    is_one_line(disc("transcribe", job), words)


def test_corrections_and_logs_of_a_newer_program_are_refused(job):
    path = job / "corrections.json"
    path.write_text('{"schema": 99, "done": [], "undone": []}')
    with pytest.raises(BadInput, match="corrections of schema 99, this program knows 1"):
        load_corrections(path)
    (job / LOG_FILE).write_text('{"schema": 99, "steps": []}')
    with pytest.raises(BadInput, match="schema 99"):
        load_log(open_job(job))


# ---- the terminal


def test_a_note_that_the_terminal_has_no_letters_for_is_kept_and_shown(job):
    env = os.environ | {"PYTHONIOENCODING": "ascii", "LC_ALL": "C"}
    done = subprocess.run([*RUN, "log", str(job), "add", "--note", "Größe 円"], capture_output=True, env=env)
    assert done.returncode == 0 and b"Gr??e ?" in done.stdout
    assert load_log(open_job(job))[-1].note == "Größe 円"
    said = subprocess.run([*RUN, "log", str(job), "list", "--json"], capture_output=True, env=env)
    assert json.loads(said.stdout)["steps"][-1]["note"] == "Größe 円"


@pytest.mark.parametrize("stream", [1, 2])
def test_a_closed_stream_costs_the_words_only(stream, job):
    line = f'"$@" {stream}>&-'
    good = subprocess.run(["sh", "-c", line, "sh", *RUN, "log", str(job), "list"], capture_output=True, text=True)
    assert good.returncode == 0, good.stderr
    bad = subprocess.run(["sh", "-c", line, "sh", *RUN, "check", "/nowhere"], capture_output=True, text=True)
    assert bad.returncode == 2 and "Traceback" not in bad.stderr


@pytest.mark.parametrize("stream", ["2</dev/null", "2>/dev/full"])
def test_an_error_stream_that_takes_no_words_keeps_the_exit_code(stream, job):
    """Seen with a wrapping script: the words waited in the stream, and Python ended with 120 over them."""
    bad = subprocess.run(
        ["sh", "-c", f'"$@" {stream}', "sh", *RUN, "check", "/nowhere"], capture_output=True, text=True
    )
    assert bad.returncode == 2


def test_a_reader_that_goes_away_is_no_fault(job):
    done = subprocess.run(
        ["bash", "-c", 'set -o pipefail; "$@" | head -c 1', "sh", *RUN, "log", str(job), "list"],
        capture_output=True,
        text=True,
    )
    assert "Traceback" not in done.stderr and "Exception" not in done.stderr


def test_control_characters_do_not_reach_the_terminal(job):
    disc("log", job, "add", "--note", "red \x1b[31m bell \a title \x1b]0;x\x07")
    shown = disc("log", job, "list").stdout
    assert "red ·[31m bell ·" in shown and "\x1b" not in shown and "\a" not in shown
    assert printable("a\u202eb\nc\td") == "a·b\nc\td"


def test_a_message_is_a_line_one_can_read():
    long = one_line("a" * 7000 + " b\n" + "c" * 790)
    assert len(long) <= LONGEST_LINE + 3 and "…" in long and long.endswith("ccc") and "\n" not in long


def test_the_message_of_thousands_of_letters_by_command(job):
    is_one_line(done := disc("transcribe", job, "--key", "K" * 7000))
    assert len(done.stderr) < LONGEST_LINE + 50


def test_libraries_do_not_speak_before_us(job):
    noisy = (
        "import os, sys; import disc.cli as c; import disc.commands.log as l\n"
        "from disc.errors import BadInput\n"
        "def loud(*a):\n"
        "    os.write(2, b'libfoo: warning\\n'); raise BadInput('no such thing')\n"
        "import disc.job; disc.job.open_job = loud\n"
        "sys.argv = ['disc', 'log', 'x', 'list']; c.main()"
    )
    done = subprocess.run([sys.executable, "-c", noisy], capture_output=True, text=True)
    assert done.stderr == "disc: no such thing\n" and done.returncode == 2


@pytest.mark.parametrize("after_s", [0.02, 0.05, 0.1, 0.2, 0.4, 0.8])
def test_ctrl_c_in_the_first_second_is_one_line(after_s, job):
    process = subprocess.Popen(
        [*RUN, "transcribe", str(job)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    time.sleep(after_s)
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=60)
    if "disc" in said:  # before our first line the interpreter itself answers; after the end nobody does
        assert "Traceback" not in said or "disc/cli" not in said
    # Before the program is entered the interpreter answers itself: it sends the interrupt to itself once more, by the
    # signal's own action, and returns SIGINT + 128 where it still runs after that (CPython, Modules/main.c,
    # exit_sigint; bpo-1054041).
    assert process.returncode in (2, -signal.SIGINT, 0, 1, 128 + signal.SIGINT)
    open_job(job)


@pytest.mark.parametrize("while_", ["loading", "running"])
def test_ctrl_c_is_answered_in_one_line_as_soon_as_our_own_code_runs(while_):
    """The interrupt comes at a known place: as the command's modules are loaded, or as it runs."""
    press = "import os, signal, sys, time\ndef press(*a, **k):\n  os.kill(os.getpid(), signal.SIGINT); time.sleep(9)\n"
    place = {
        "loading": "class At:\n  def find_spec(self, name, *a): return press() if name == 'disc.cli' else None\n"
        "sys.meta_path.insert(0, At())\n",
        "running": "import disc.cli\ndisc.cli.main = press\n",
    }[while_]
    begin = "from disc.entry import main\nmain()"
    done = subprocess.run([sys.executable, "-c", press + place + begin], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stderr) == (2, "disc: stopped.\n")


def test_ctrl_c_within_a_command_says_how_the_job_stands(job):
    """Seen by hand: the library that parts the command line had swallowed the interrupt, and said nothing."""
    press = (
        "import os, signal, sys, time\nimport disc.turn.transcribe_job as t\n"
        "def press(*a, **k):\n  os.kill(os.getpid(), signal.SIGINT); time.sleep(9)\n"
        "t.transcribe_job = press\nfrom disc.entry import main\nmain()"
    )
    done = subprocess.run([sys.executable, "-c", press, "transcribe", str(job)], capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (2, "disc: stopped; the job is as it was before this command.\n")


def test_a_fault_after_a_step_does_not_say_that_nothing_was_done(job):
    broken = (
        "import sys; import disc.cli as c; import disc.commands.log as l\n"
        "def fail(*a): raise RuntimeError('odd')\n"
        "l._show = fail\n"
        "sys.argv = ['disc', 'log', sys.argv[1], 'add', '--note', 'kept']; c.main()"
    )
    done = subprocess.run([sys.executable, "-c", broken, str(job)], capture_output=True, text=True)
    assert done.returncode == 1 and "what was written before that is kept, whole" in done.stderr
    assert load_log(open_job(job))[-1].note == "kept"
    early = "import sys; import disc.cli as c; import disc.job as j\ndef fail(*a, **k): raise RuntimeError('odd')\n"
    early += "j.open_job = fail\nsys.argv = ['disc', 'log', sys.argv[1], 'list']; c.main()"
    done = subprocess.run([sys.executable, "-c", early, str(job)], capture_output=True, text=True)
    assert done.returncode == 1 and "the job is as it was before this command" in done.stderr
