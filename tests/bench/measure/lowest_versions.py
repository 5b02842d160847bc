"""Does the package run with the lowest versions that pyproject.toml declares? Installs just those, and uses it.

    python -m tests.bench.measure.lowest_versions [--folder DIR] [--only demo design ...] [--installed]

A fresh virtual environment is made with uv (fetched from PyPI): the lowest version of each dependency named, the
newest of what those need in turn. Then the demo, a design, the library with one tune and identify, the report, a
recorded turn and the desk's start are run as a user would run them. Exit code 1 if any of it fails. With --installed
the environment of an earlier run in the same folder is used as it is.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[3]
SCORE, COMB = ROOT / "scores" / "evening-round.abc", ROOT / "samples" / "first-disc" / "comb.csv"
START_LIMIT_S, LIMIT_S = 120.0, 1800.0


def install(folder: Path) -> None:
    """The environment with the lowest versions; what was chosen is printed by uv."""
    venv = folder / "venv"
    subprocess.run([sys.executable, "-m", "venv", str(venv)], check=True)
    subprocess.run([str(venv / "bin" / "pip"), "install", "-q", "uv"], check=True)
    uv = [str(venv / "bin" / "uv"), "pip", "install", "--python", str(venv / "bin" / "python")]
    subprocess.run([*uv, "--resolution", "lowest-direct", str(ROOT)], check=True)


class Bench:
    """The installed package, and one folder in which it is used."""

    def __init__(self, folder: Path) -> None:
        self.disc = folder / "venv" / "bin" / "disc"
        self.work = Path(tempfile.mkdtemp(dir=folder))
        self.job = self.work / "first-disc"
        own = {"DISC_LIBRARY": "library", "DISC_LENSES": "lenses", "XDG_STATE_HOME": "state"}
        self.environment = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"} | {
            name: str(self.work / part) for name, part in own.items()
        }

    def run(self, *words: str | Path) -> None:
        """One command, which must end with exit code 0. Raises RuntimeError with its last lines otherwise."""
        command = [str(self.disc), *map(str, words)]
        done = subprocess.run(
            command, cwd=self.work, env=self.environment, capture_output=True, text=True, timeout=LIMIT_S
        )
        if done.returncode:
            raise RuntimeError(f"exit code {done.returncode}: " + (done.stderr or done.stdout).strip()[-600:])

    def demo(self) -> None:
        """The sample from photographs to report."""
        self.run("demo", self.job)

    def design(self) -> None:
        """A new disc from a tune, and its plan."""
        self.run("design", SCORE, "--comb", COMB, "--out", self.work / "new")
        self.run("repin", self.work / "new")

    def identify(self) -> None:
        """One tune taken into a library, and the sample searched in it."""
        self.run("library", "add", SCORE)
        self.run("identify", self.job)

    def report(self) -> None:
        """The condition report."""
        self.run("report", self.job)

    def listen(self) -> None:
        """The sample's own sound as a recorded turn."""
        self.run("listen", self.job, self.job / "out" / "tune.wav")

    def desk(self) -> None:
        """The page is served, and says that there is a job."""
        command = [str(self.disc), "desk", str(self.job), "--no-browser", "--json"]
        with subprocess.Popen(
            command, cwd=self.work, env=self.environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        ) as desk:
            try:
                assert desk.stdout is not None and desk.stderr is not None
                line = desk.stdout.readline()
                if not line:
                    raise RuntimeError(desk.stderr.read()[-600:])
                opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
                with opener.open(json.loads(line)["address"], timeout=START_LIMIT_S) as page:
                    if b"<html" not in page.read():
                        raise RuntimeError("the desk's address gives no page")
            finally:
                desk.terminate()


def main() -> None:
    """Install, use, and print a line for each use."""
    parser = argparse.ArgumentParser(description=__doc__)
    uses = ("demo", "design", "identify", "report", "listen", "desk")
    parser.add_argument("--folder", type=Path, help="where the environment is made; kept if given")
    parser.add_argument("--only", nargs="+", choices=uses, default=uses)
    parser.add_argument("--installed", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = (given.folder or Path(scratch)).resolve()
        folder.mkdir(parents=True, exist_ok=True)
        if not given.installed:
            install(folder)
        bench = Bench(folder)
        failed = 0
        for name in given.only:
            failed += not tried(name, getattr(bench, name))
    raise SystemExit(1 if failed else 0)


def tried(name: str, use: Callable[[], None]) -> bool:
    """Whether it went well; prints which, and for how long it ran."""
    began = time.monotonic()
    try:
        use()
    except (RuntimeError, OSError, subprocess.TimeoutExpired) as error:
        print(f"{name:10s} FAILED: {error}", flush=True)
        return False
    print(f"{name:10s} ran, {time.monotonic() - began:.0f} s", flush=True)
    return True


if __name__ == "__main__":
    main()
