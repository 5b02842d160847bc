"""Hostile days: kill -9 at random moments, a full disk, a read-only place, no network, strange names.

    python -m tests.bench.measure.hostile --kills 200        # needs root for the small and read-only file systems

Prints, for each kind of day, how often it was tried, what was survived, and what was lost (must be nothing).
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from disc.errors import DiscError
from disc.job import JOB_FILE, open_job
from disc.job.journal import LOCK_FILE, STAGING_FOLDER


@dataclass(frozen=True, slots=True)
class Day:
    """What came of one kind of day. counts: tried, survived and so on, by name; lost: in words."""

    counts: dict[str, int]
    lost: list[str]


SAMPLE = Path(__file__).parents[3] / "samples" / "first-disc"
DISC = [sys.executable, "-c", "from disc.cli import main; main()"]
# What the desk's page does when a person corrects: pins changed, moved, removed, added, and taken back, over and over.
DESK_EDITS = """
import sys
from pathlib import Path
from disc.desk.open_job.session import Session
session = Session(Path(sys.argv[1]))
for turn in range(int(sys.argv[2])):
    pin = session.pins[turn % len(session.pins)]
    session.change({"do": "change", "pins": [pin.id], "changes": {"condition": ("bent", "stub", "sound")[turn % 3]}})
    session.change({"do": "move", "pin": pin.id, "r_mm": pin.r_mm, "theta_deg": (pin.theta_deg + 0.5) % 360.0})
    session.change({"do": "add", "side": "upper", "r_mm": 14.0, "theta_deg": 11.0 * (turn + 1) % 360.0})
    session.change({"do": "remove", "pins": [session.pins[-1].id]})
    session.go_to(session.history.done - 2)
session.wait_for_thoughts()
session.close()
"""
DESK = "desk edits"
DESK_TURNS = 8
# Steps that leave the tables as they are.
READ_ONLY_STEPS = ("check", "repin", "report")


def commands(job: Path) -> dict[str, list[str]]:
    """The steps of a job, by name, in the order in which they are first run."""
    photos = ["--upper", str(SAMPLE / "upper.jpg"), "--lower", str(SAMPLE / "lower.jpg")]
    return {
        "read": ["read", str(job), *photos],
        "comb": ["comb", str(job), "--table", str(SAMPLE / "comb.csv")],
        "transcribe": ["transcribe", str(job)],
        "check": ["check", str(job)],
        "repin": ["repin", str(job)],
        "report": ["report", str(job)],
    }


def killable(job: Path) -> dict[str, list[str]]:
    """Whole command lines of everything that writes to a job: its steps, and the desk at work."""
    steps = {name: [*DISC, *arguments] for name, arguments in commands(job).items()}
    return {**steps, DESK: [sys.executable, "-c", DESK_EDITS, str(job), str(DESK_TURNS)]}


def run(arguments: list[str], **more: object) -> subprocess.CompletedProcess[str]:
    """One command of the program."""
    return subprocess.run([*DISC, *arguments], capture_output=True, text=True, **more)  # type: ignore[call-overload, no-any-return]


def prepared(folder: Path) -> tuple[Path, dict[str, float]]:
    """A job with every step done, and how long each took, s."""
    job = folder / "prepared"
    plate = ["--diameter-mm", _diameter(), "--json"]
    assert run(["start", str(job), *plate]).returncode == 0
    took = {}
    for name, arguments in commands(job).items():
        started = time.monotonic()
        done = run(arguments)
        assert done.returncode == 0, (name, done.stderr)
        took[name] = time.monotonic() - started
    copy = folder / "for the desk"
    shutil.copytree(job, copy)
    started = time.monotonic()
    subprocess.run(killable(copy)[DESK], check=True, capture_output=True)
    took[DESK] = time.monotonic() - started
    return job, took


def _diameter() -> str:
    import json

    return str(json.loads((SAMPLE / "sample.json").read_text())["diameter_mm"])


def losses(job: Path) -> list[str]:
    """What is wrong with a job after a bad day; empty if it is whole."""
    try:
        opened = open_job(job)
        pins = opened.pins()
        opened.comb()
        opened.corrections()
    except DiscError as error:
        return [str(error)]
    faults = [] if pins else ["no pins"]
    digest = hashlib.sha256((job / "pins.csv").read_bytes()).hexdigest()
    if digest != opened.content.pins_sha256:
        faults.append("pins.csv is not what job.json says")
    faults += [
        f"{name} of the last step is not there" for name in opened.content.runs[-1].outputs if not opened.has(name)
    ]
    for name in {name for record in opened.content.runs for name in record.outputs}:
        path = job / name
        if path.exists() and path.stat().st_size == 0:
            faults.append(f"{name} is empty")
    faults += [str(path) for path in job.rglob("*.tmp")]
    if (job / STAGING_FOLDER).exists():
        faults.append("a staging folder was left")
    return faults


def fingerprints(job: Path) -> dict[str, str]:
    """SHA-256 of every file of a job but its lock."""
    files = [path for path in job.rglob("*") if path.is_file() and path.name != LOCK_FILE]
    return {str(path.relative_to(job)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def changed_without_a_record(before: dict[str, str], after: dict[str, str]) -> list[str]:
    """Files that differ although job.json says that no step was done: a step that was not whole."""
    if before[JOB_FILE] != after[JOB_FILE]:
        return []
    return [
        f"{name} changed, but no step" for name in before.keys() | after.keys() if before.get(name) != after.get(name)
    ]


def killed(job: Path, took: dict[str, float], times: int, rng: np.random.Generator, folder: Path) -> Day:
    """Kill commands at random moments of their run."""
    survived, lost, interrupted = 0, [], 0
    names = list(took)
    for _ in range(times):
        name = names[rng.integers(len(names))]
        copy = folder / "killed"
        shutil.rmtree(copy, ignore_errors=True)
        shutil.copytree(job, copy)
        before = fingerprints(copy)
        process = subprocess.Popen(
            killable(copy)[name], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
        )
        # Most of the time near the end, where the files are written.
        at = took[name] * (rng.uniform(0.0, 1.0) if rng.random() < 0.4 else rng.uniform(0.8, 1.1))
        try:
            process.wait(at)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
            interrupted += 1
        faults = losses(copy)
        after = fingerprints(copy)
        faults += changed_without_a_record(before, after)
        if name in READ_ONLY_STEPS and any(before[table] != after[table] for table in ("pins.csv", "comb.csv")):
            faults.append(f"{name} changed the tables")
        lost += [f"{name} at {at:.2f} s: {fault}" for fault in faults]
        survived += not faults
    return Day({"tried": times, "survived": survived, "interrupted": interrupted}, lost)


@contextmanager
def small_disk(folder: Path, megabytes: float) -> Iterator[Path]:
    """A file system of its own with this much room."""
    place = folder / "small"
    place.mkdir(exist_ok=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={int(megabytes * 1024)}k", "tmpfs", place], check=True)
    try:
        yield place
    finally:
        subprocess.run(["umount", place], check=True)


def full_disk(job: Path, folder: Path) -> Day:
    """Every step on a disk with a little more room than the job has, from none to plenty."""
    size_mb = sum(path.stat().st_size for path in job.rglob("*") if path.is_file()) / 1e6
    tried, lost, refused = 0, [], 0
    for name in commands(job):
        for spare in (0.05, 0.3, 1.0, 3.0):
            with small_disk(folder, size_mb * 1.1 + spare) as place:
                copy = place / "job"
                shutil.copytree(job, copy)
                done = run(commands(copy)[name])
                tried += 1
                if done.returncode:
                    refused += 1
                    if done.returncode != 2 or len(done.stderr.splitlines()) != 1:
                        lost.append(f"{name}: exit {done.returncode}: {done.stderr[-200:]}")
                lost += [f"{name} with {spare} MB: {fault}" for fault in losses(copy)]
    return Day({"tried": tried, "survived": tried - len(lost), "refused": refused}, lost)


def read_only(job: Path, folder: Path) -> Day:
    """Every step on a job that can only be read: one line, exit code 2."""
    lost = []
    with small_disk(folder, 100) as place:
        copy = place / "job"
        shutil.copytree(job, copy)
        subprocess.run(["mount", "-o", "remount,ro", place], check=True)
        names = commands(copy)
        for name, arguments in names.items():
            done = run(arguments)
            if done.returncode != 2 or len(done.stderr.splitlines()) != 1:
                lost.append(f"{name}: exit {done.returncode}: {done.stderr[-200:]}")
        lost += losses(copy)
    return Day({"tried": len(names), "survived": len(names) - len(lost)}, lost)


def no_network(job: Path, folder: Path) -> Day:
    """Every step with the network taken away."""
    lost = []
    copy = folder / "alone"
    shutil.copytree(job, copy)
    names = commands(copy)
    for name, arguments in names.items():
        done = subprocess.run(["unshare", "-n", *DISC, *arguments], capture_output=True, text=True)
        if done.returncode:
            lost.append(f"{name}: {done.stderr[-200:]}")
    return Day({"tried": len(names), "survived": len(names) - len(lost)}, lost)


def strange_names(job: Path, folder: Path) -> Day:
    """Jobs in folders with names that break careless programs; and one moved while nobody looked."""
    lost, tried = [], 0
    for name in ("a disc with spaces", "Käthes größte Scheibe", "時計の円盤", "-n", "100%", "it's #1 [new]"):
        copy = folder / "names" / name
        shutil.copytree(job, copy)
        for step, arguments in commands(copy).items():
            tried += 1
            done = run(arguments)
            if done.returncode:
                lost.append(f"{name} {step}: {done.stderr[-200:]}")
        lost += losses(copy)
    return Day({"tried": tried, "survived": tried - len(lost)}, lost)


def main() -> None:
    """Print the table; exit code 1 if anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=20260302)
    options = parser.parse_args()
    days: dict[str, Day] = {}
    with tempfile.TemporaryDirectory(prefix="disc-hostile-") as name:
        folder = Path(name)
        job, took = prepared(folder)
        print("steps, s:", {step: round(seconds, 1) for step, seconds in took.items()}, flush=True)
        rng = np.random.default_rng(options.seed)
        days["strange names"] = strange_names(job, folder)
        if os.geteuid() == 0:
            days["no network"] = no_network(job, folder)
            days["read-only"] = read_only(job, folder)
            days["full disk"] = full_disk(job, folder)
        days["kill -9"] = killed(job, took, options.kills, rng, folder)
    for day, result in days.items():
        print(f"{day:14}", result.counts, "lost:", len(result.lost), *result.lost[:5], sep="  ")
    sys.exit(1 if any(result.lost for result in days.values()) else 0)


if __name__ == "__main__":
    main()
