"""The promise that everything stays on this computer: every command works with the network taken away.

Where the system allows it (unshare, as root), a command runs where there is no network but its own loopback;
everywhere, every attempt to reach another address is refused and told. The last test fails where a new command is not
tried.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import typer

from disc.cli import COMMANDS, app_with

SAMPLE = Path(__file__).parents[2] / "samples" / "first-disc"
PATIENCE_S = 240
ABC = "X:1\nT:Small\nM:6/8\nL:1/8\nK:G\n|:GAB cBA|Bcd e2d|GAB cBA|BGD G3:|\n"

# Before the command. The loopback of an empty network is down at first: ioctl SIOCSIFFLAGS, IFF_UP; netdevice(7).
PROLOGUE = """
import fcntl, os, socket, struct, sys
with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as handle:
    try:
        fcntl.ioctl(handle, 0x8914, struct.pack("16sh14x", b"lo", 1))
    except OSError:
        pass  # no right to: then it is this machine's own, and up
def is_here(address):
    return not isinstance(address, tuple) or str(address[0]) in ("127.0.0.1", "localhost", "", "None")
def told(true_call, place):
    def call(*given, **more):
        if not is_here(given[place] if len(given) > place else None):
            os.write(2, b"a command reached for the network")
            os._exit(99)
        return true_call(*given, **more)
    return call
for name in ("connect", "connect_ex"):
    setattr(socket.socket, name, told(getattr(socket.socket, name), 1))
socket.socket.sendto = told(socket.socket.sendto, -1)
socket.create_connection = told(socket.create_connection, 0)
true_lookup = socket.getaddrinfo
def lookup(host, *given, **more):
    if not is_here((host,)):
        os.write(2, b"a command looked an address up")
        os._exit(99)
    return true_lookup(host, *given, **more)
socket.getaddrinfo = lookup
from disc.library.read import read_files as reading
reading.CORPUS_COLLECTIONS = ("miscFolk",)  # a small library, to save time
from disc.cli import main
"""
# One process loads the rooms where there is no network, and each command runs in one forked from it: to load them anew
# for each is not what is asked here. A line on standard input: the words, and where to write what is said.
SERVE = (
    PROLOGUE
    + """
import json, signal
import cv2, scipy.optimize, scipy.signal, scipy.stats, verovio
import disc.check.check_job, disc.desk.server.server, disc.library.search.find_tunes, disc.listen.listen_job
import disc.photo.read_photos, disc.repin.plan_job, disc.report.condition, disc.turn.transcribe_job
def command(words, places):
    for number, (place, how) in enumerate(zip((os.devnull, *places), (os.O_RDONLY, os.O_WRONLY, os.O_WRONLY))):
        os.dup2(os.open(place, how | os.O_CREAT), number)
    signal.alarm(PATIENCE_S)
    sys.argv = ["disc", *words]
    try:
        main()
    except SystemExit as end:
        return end.code or 0
    return 0
for line in sys.stdin:
    asked = json.loads(line)
    child = os.fork()
    if not child:
        code = 70  # sysexits.h, EX_SOFTWARE
        try:
            code = command(*asked)
        except BaseException:
            import traceback
            traceback.print_exc()
        sys.stdout.flush(), sys.stderr.flush()
        os._exit(code)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""
)
# The desk serves until Ctrl-C: a thread waits for its address, asks for the page, and presses it.
DESK = (
    PROLOGUE
    + """
import io, json, signal, threading, time, urllib.request
said = io.StringIO()
def visit():
    while not said.getvalue().strip():
        time.sleep(0.05)
    try:
        browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())  # the key goes into a cookie
        page = browser.open(json.loads(said.getvalue())["address"], timeout=20).read()
        sys.stderr.write(f"{len(page)} bytes of the page")
    finally:
        os.kill(os.getpid(), signal.SIGINT)
threading.Thread(target=visit, daemon=True).start()
sys.stdout = said
main()
"""
)


def apart() -> list[str]:
    """Words before a command that take the network away; none where the system does not allow it."""
    unshare = shutil.which("unshare")
    allowed = unshare and subprocess.run([unshare, "-n", "true"], capture_output=True).returncode == 0
    return [unshare, "-n"] if unshare and allowed else []


APART = apart()


class Apart:
    """Runs commands where there is no network. folder: for what they make; the library lies there too."""

    def __init__(self, folder):
        self.folder = folder
        self.environment = {**os.environ, "DISC_LIBRARY": str(folder / "library")}
        words = [*APART, sys.executable, "-c", SERVE.replace("PATIENCE_S", str(PATIENCE_S))]
        self._server = subprocess.Popen(
            words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=self.environment
        )

    def run(self, *arguments):
        """What the command says on standard output; it must end well."""
        out, err = (self.folder / name for name in ("said", "told"))
        out.write_text("")
        err.write_text("")
        print(json.dumps([arguments, [str(out), str(err)]]), file=self._server.stdin, flush=True)
        assert self._server.stdout.readline() == "0\n", (arguments, err.read_text(encoding="utf-8"))
        return out.read_text(encoding="utf-8")

    def close(self):
        """No more commands come."""
        self._server.stdin.close()
        assert self._server.wait(PATIENCE_S) == 0
        self._server.stdout.close()


@pytest.fixture(scope="module")
def without(tmp_path_factory):
    """The demo's job, made without a network as well, and what the other commands need."""
    apart = Apart(tmp_path_factory.mktemp("no-network"))
    (apart.folder / "own").mkdir()
    (apart.folder / "own" / "small.abc").write_text(ABC)
    apart.run("demo", str(apart.folder / "job"))
    yield apart
    apart.close()


def names() -> set[str]:
    """Every command, those of a group with the group's name before."""
    found = set()
    for name, command in typer.main.get_command(app_with(COMMANDS)).commands.items():  # type: ignore[attr-defined]
        parts = getattr(command, "commands", None)
        found |= {f"{name} {part}" for part in parts} if parts else {name}
    return found


STEPS = (
    ("start", "{new}", "--diameter-mm", "30", "--json"),
    ("set", "{new}", "--turns", "counterclockwise", "--json"),
    ("read", "{new}", "--upper", "{sample}/upper.jpg", "--lower", "{sample}/lower.jpg", "--json"),
    ("comb", "{new}", "--table", "{sample}/comb.csv", "--json"),
    ("transcribe", "{job}", "--json"),
    ("library", "build", "--json"),
    ("library", "add", "{folder}/own", "--json"),
    ("library", "list", "--json"),
    ("library", "find", "small", "--json"),
    ("library", "show", "own/small.abc:1", "--out", "{folder}/shown", "--json"),
    ("identify", "{job}", "--json"),
    ("library", "remove", "own", "--json"),
    ("check", "{job}", "--json"),
    ("repin", "{job}", "--json"),
    ("listen", "{job}", "{job}/out/tune.wav", "--json"),
    ("log", "{job}", "add", "--note", "dial off", "--photo", "{sample}/upper.jpg", "--json"),
    ("log", "{job}", "list", "--json"),
    ("log", "{job}", "edit", "2", "--note", "dial and hands off", "--json"),
    ("log", "{job}", "tick", "2", "--json"),
    ("log", "{job}", "put-back", "--json"),
    ("report", "{job}", "--json"),
    ("design", "{folder}/own/small.abc", "--comb", "{sample}/comb.csv", "--out", "{folder}/designed", "--json"),
    ("set", "{folder}/designed", "--thickness-mm", "1.0", "--json"),
    ("repin", "{folder}/designed", "--json"),
    ("drill", "{folder}/designed", "--json"),
    ("sheet", "--diameter-mm", "28", "--out", "{folder}/sheet.pdf", "--json"),
    ("object", "{job}", "--maker", "a maker", "--json"),
    ("offer", "{job}", "--json"),
    ("archive", "{job}", "--json"),
    ("take", "{job}", "--json"),
    ("undo", "{new}", "--json"),
    ("collect", "{folder}", "--no-identify", "--json"),
)


@pytest.mark.slow
@pytest.mark.parametrize("step", STEPS, ids=lambda step: " ".join(step[:1] if "{" in step[1] else step[:2]))
def test_without_a_network(step, without):
    folder = without.folder
    places = {"new": folder / "new", "job": folder / "job", "folder": folder, "sample": SAMPLE}
    json.loads(without.run(*(word.format(**places) for word in step)))


def test_the_desk_without_a_network(without):
    words = [*APART, sys.executable, "-c", DESK, "desk", str(without.folder / "job"), "--no-browser", "--json"]
    done = subprocess.run(words, capture_output=True, text=True, env=without.environment, timeout=PATIENCE_S)
    assert done.returncode == 0, done.stderr
    assert done.stderr.endswith("bytes of the page"), done.stderr
    assert int(done.stderr.split()[0]) > 1000


def test_a_command_that_reached_out_would_be_told(tmp_path):
    reach = PROLOGUE.rpartition("from disc.library")[0] + "socket.create_connection(('192.0.2.1', 80), 1)\n"  # RFC 5737
    done = subprocess.run([sys.executable, "-c", reach], capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (99, "a command reached for the network")


def test_there_is_no_network_where_the_commands_run():
    """Where the network cannot be taken away, the words that would are none, and the refusals stand alone."""
    reach = "import socket; socket.create_connection(('192.0.2.1', 80), 0.5)"
    done = subprocess.run([*APART, sys.executable, "-c", reach], capture_output=True, text=True)
    assert done.returncode == 1
    assert not APART or "unreachable" in done.stderr


def test_every_command_was_tried():
    done = {" ".join(step[:1]) if step[0] != "library" else " ".join(step[:2]) for step in STEPS} | {"demo", "desk"}
    done = (done - {"log"}) | {f"log {step[2]}" for step in STEPS if step[0] == "log"}
    assert done == names()
