"""Fuzzes the readers: whatever the bytes, a reader answers or raises DiscError with one line; nothing else.

    python -m tests.bench.measure.fuzz                      # every target for a minute
    python -m tests.bench.measure.fuzz tables --minutes 10  # one target

By seeded mutation of good examples, by what hypothesis makes of them (any JSON value or cell in any place), and where
atheris is installed (pip install atheris) coverage-guided after that; each has its share of the time.
Each target runs in a process of its own, so that the largest memory counted is the target's. A fault is anything but
DiscError, an input that takes over LONGEST_S of processor time (a busy machine does not count as a hang), memory over
MOST_MB, or a file written, renamed or removed outside the input's own folder.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Iterator
from contextlib import suppress
from copy import deepcopy
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from disc.errors import DiscError
from tests.bench.truth.fuzz_targets import TARGETS

if TYPE_CHECKING:
    from hypothesis.strategies import SearchStrategy

LONGEST_S = 5.0
MOST_MB = 1000
# A reader is stopped after so many times LONGEST_S.
PATIENCE = 3
LARGEST_INPUT = 20_000


class Hang(BaseException):
    """Raised within a reader that does not come back; no reader may catch it."""


class Trial:
    """Feeds inputs to one reader and counts what happens. Faults keep their input in `kept`."""

    def __init__(self, name: str, kept: Path) -> None:
        self.reader, self.ending, seeds = TARGETS[name]
        self.seeds = seeds()
        self.kept = kept
        self.tried = self.refused = 0
        self.slowest_s = 0.0
        self.faults: list[str] = []
        # Two folders deep, so that "../../x" in an input is still within reach of the look at the end.
        self.base = Path(tempfile.mkdtemp(prefix="disc-fuzz-"))
        self.folder = self.base / "one" / "two"
        self.folder.mkdir(parents=True)
        self.strays: set[str] = set()
        signal.signal(signal.SIGPROF, self._stop)

    def warm_up(self) -> None:
        """Import what the reader needs: its time is not the first input's."""
        path = self.folder / f"input{self.ending}"
        for seed in self.seeds:
            path.write_bytes(seed)
            with suppress(DiscError):
                self.reader(path)

    def __call__(self, data: bytes) -> None:
        """One input."""
        path = self.folder / f"input{self.ending}"
        path.write_bytes(data)
        self.tried += 1
        started = time.process_time()
        signal.setitimer(signal.ITIMER_PROF, PATIENCE * LONGEST_S)  # counts processor time
        WATCH.trial = self
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                self.reader(path)
        except DiscError as error:
            self.refused += 1
            if len(str(error).splitlines()) != 1:
                self._fault(data, f"{len(str(error).splitlines())} lines: {error!r}")
        except (Exception, Hang) as error:  # what this script looks for
            self._fault(data, f"{type(error).__name__}: {error}"[:200])
        finally:
            WATCH.trial = None
            signal.setitimer(signal.ITIMER_PROF, 0.0)
        took_s = time.process_time() - started
        self.slowest_s = max(self.slowest_s, took_s)
        if took_s > LONGEST_S:
            self._fault(data, f"took {took_s:.1f} s")

    @staticmethod
    def _stop(signum: int, frame: object) -> None:
        raise Hang("does not come back")

    def may_touch(self, path: str) -> bool:
        """Whether a reader given this trial's input may write there."""
        return path == str(self.folder) or path.startswith((f"{self.folder}{os.sep}", "/dev/")) or "__pycache__" in path

    def _fault(self, data: bytes, words: str) -> None:
        WATCH.trial = None  # what follows is ours
        kind = words.split(":")[0]
        if sum(fault.startswith(kind) for fault in self.faults) < 5:
            (self.kept / f"{len(self.faults):03d}{self.ending}").write_bytes(data)
        self.faults.append(words)

    def table_row(self) -> dict[str, object]:
        """What the run found."""
        most_mb = most_memory_mb()
        if most_mb > MOST_MB:
            self.faults.append(f"{most_mb} MB of memory")
        here = [p for p in self.base.rglob("*") if self.folder not in (p, *p.parents) and p not in self.folder.parents]
        strays = [*sorted(self.strays), *map(str, here)]
        return {
            "tried": self.tried,
            "refused": self.refused,
            "slowest_s": round(self.slowest_s, 2),
            "cpu_s": round(time.process_time()),
            "most_mb": most_mb,
            "faults": len(self.faults) + len(strays),
            "first": [*sorted(set(self.faults))[:5], *strays[:5]],
        }


class Watch:
    """Sees what Python writes, renames and removes while a trial reads. One for the process: a hook never goes away."""

    def __init__(self) -> None:
        self.trial: Trial | None = None
        sys.addaudithook(self)

    def __call__(self, event: str, given: tuple[Any, ...]) -> None:
        """Python calls this for everything that touches a file, and much else."""
        if self.trial is None:
            return
        touched, folder = _touched(event, given)
        for path in touched:
            if isinstance(path, (str, bytes, os.PathLike)):
                where = os.path.abspath(os.path.join(folder, os.fsdecode(path)))
                if not self.trial.may_touch(where):
                    self.trial.strays.add(f"{event} {where}"[:200])


def _touched(event: str, given: tuple[Any, ...]) -> tuple[list[Any], str]:
    """(paths that an event of Python's audit changes, the folder they are in where that is not the working one)."""
    if event == "open":
        path, mode, flags = given
        writes = (isinstance(mode, str) and set(mode) & set("wax+")) or (
            isinstance(flags, int) and flags & (os.O_WRONLY | os.O_RDWR)
        )
        return [path] if writes else [], ""
    if event in ("os.rename", "os.link", "os.symlink"):
        return list(given[:2]), ""
    if event in ("os.remove", "os.rmdir", "os.mkdir"):
        within = given[-1]  # an open folder, or -1
        return [given[0]], os.readlink(f"/proc/self/fd/{within}") if within >= 0 else ""
    return [], ""


WATCH = Watch()


def most_memory_mb() -> int:
    """The most memory this process ever held; not ru_maxrss, which begins with the parent's."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) // 1024
    raise AssertionError("no VmHWM: is this Linux?")


# What no reader expects at that place of a JSON file.
ODD_VALUES: tuple[Any, ...] = (
    None,
    True,
    -1,
    0,
    1e308,
    float("nan"),
    float("inf"),
    10**400,
    "",
    "1/0",
    "nan",
    "a\nb",
    "../../x",
    [],
    {},
    [[]],
)
SPICE = (b"nan", b"-1", b"1e999", b"99999999999", b"\0", b"\xff\xff\xff\xff", b"[" * 500, b"{", b"</", b",", b"\n")


def mutations(seeds: list[bytes], rng: np.random.Generator) -> Iterator[bytes]:
    """Endless inputs: the seeds, then seeds with bytes changed, cut, doubled, or odd values put in.

    A seed that is JSON stays JSON every other time: one of its values becomes an odd one, or goes away.
    """
    yield from [b"", *seeds]
    while True:
        seed = seeds[rng.integers(len(seeds))]
        if seed.startswith(b"{") and rng.random() < 0.5:
            yield odd_json(seed, rng)
            continue
        data = bytearray(seed)
        for _ in range(int(rng.geometric(0.3))):
            at = int(rng.integers(len(data) + 1))
            kind = rng.integers(4)
            if kind == 0 and data:
                data[at % len(data)] = int(rng.integers(256))
            elif kind == 1:
                data[at:at] = SPICE[rng.integers(len(SPICE))]
            elif kind == 2:
                del data[at : at + int(rng.integers(1, 40))]
            else:
                data[at:at] = data[at : at + int(rng.integers(1, 200))]
        yield bytes(data[:LARGEST_INPUT])


def odd_json(seed: bytes, rng: np.random.Generator) -> bytes:
    """The seed with one or two values, anywhere within, made odd or taken away."""
    content = json.loads(seed)
    for _ in range(int(rng.integers(1, 3))):
        places = list(_places(content))
        if not places:
            break
        holder, key = places[rng.integers(len(places))]
        if rng.random() < 0.2:
            del holder[key]
        else:
            holder[key] = deepcopy(ODD_VALUES[rng.integers(len(ODD_VALUES))])
    return json.dumps(content).encode()


def _places(content: object) -> Iterator[tuple[Any, Any]]:
    """(holder, key or index) of every value within."""
    keys = content.keys() if isinstance(content, dict) else range(len(content)) if isinstance(content, list) else ()
    for key in keys:
        yield content, key
        yield from _places(content[key])  # type: ignore[index]


def invented(seeds: list[bytes]) -> SearchStrategy[bytes]:
    """What hypothesis makes of good examples: any value in any place of JSON, any text in any cell of a table, any
    bytes in place of a piece of anything."""
    from hypothesis import strategies as st

    plain = (
        st.none()
        | st.booleans()
        | st.integers()
        | st.floats()
        | st.text(max_size=30)
        | st.sampled_from(ODD_VALUES[:12])
    )
    any_json = st.recursive(
        plain, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    )

    @st.composite
    def made(draw: Any) -> bytes:
        seed = draw(st.sampled_from(seeds))
        if seed.startswith(b"{"):
            content = json.loads(seed)
            holder, key = draw(st.sampled_from(list(_places(content))))
            holder[key] = draw(any_json)
            return json.dumps(content).encode("utf-8", "surrogatepass")
        if b"," in seed.split(b"\n")[0] and seed.isascii():
            lines = [line.split(",") for line in seed.decode().split("\n")]
            line = draw(st.sampled_from([line for line in lines if len(line) > 1]))
            line[draw(st.integers(0, len(line) - 1))] = draw(
                st.text(max_size=20) | st.floats().map(str) | st.integers().map(str)
            )
            return "\n".join(map(",".join, lines)).encode("utf-8", "surrogatepass")
        start = draw(st.integers(0, len(seed)))
        end = draw(st.integers(start, min(start + 60, len(seed))))
        return seed[:start] + draw(st.binary(max_size=60)) + seed[end:]

    return made()


def try_invented(trial: Trial, number: int, examples: int, end: float = float("inf")) -> None:
    """Feed what hypothesis invents, from this seed and so many, to a trial, or until the clock says `end`."""
    import hypothesis

    kinds = list(hypothesis.HealthCheck)
    usual = hypothesis.settings(max_examples=examples, deadline=None, database=None, suppress_health_check=kinds)

    @hypothesis.seed(number)
    @usual
    @hypothesis.given(invented(trial.seeds))
    def one(data: bytes) -> None:
        if time.monotonic() < end:
            trial(data[:LARGEST_INPUT])

    one()


def run_target(name: str, seconds: float, guided: bool, kept: Path, draw: int = 0) -> dict[str, object]:
    """Run one target in this process. draw: another one gives other inputs, so that short runs add up to a long one."""
    kept.mkdir(parents=True, exist_ok=True)
    end = time.monotonic() + seconds
    trial = Trial(name, kept)
    if guided:
        import atheris

        # Instrument our own readers only: what libraries do inside is theirs. They are imported when first called.
        with atheris.instrument_imports(include=["disc"]):
            trial.warm_up()
    else:
        trial.warm_up()
    # Mutation that knows JSON gets where guided bytes rarely do; so each has its share of the time.
    share = seconds / (4 if guided else 2)
    own_end = time.monotonic() + share
    for data in mutations(trial.seeds, np.random.default_rng(20260301 + draw)):
        if time.monotonic() > own_end:
            break
        trial(data)
    for number in count(100_000 * draw):
        if time.monotonic() > own_end + share:
            break
        try_invented(trial, number, 200, own_end + share)
    if not guided:
        return trial.table_row()
    corpus = Path(tempfile.mkdtemp(prefix="disc-corpus-"))
    for number, seed in enumerate(trial.seeds):
        (corpus / str(number)).write_bytes(seed)

    def one(data: bytes) -> None:
        trial(data)
        if time.monotonic() > end:
            print(json.dumps(trial.table_row()), flush=True)
            os._exit(0)  # libFuzzer has no way back into Python

    flags = [
        str(corpus),
        f"-max_len={LARGEST_INPUT}",
        "-rss_limit_mb=0",
        "-timeout=600",
        f"-seed={1 + draw}",
        "-verbosity=0",
    ]
    flags.append(f"-artifact_prefix={corpus}/")  # what libFuzzer notes by itself must not lie about here
    atheris.Setup([sys.argv[0], *flags], one)
    atheris.Fuzz()
    raise AssertionError("the fuzzer came back")


def main() -> None:
    """Print the table; exit code 1 if there was a fault."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("targets", nargs="*", help=", ".join(TARGETS))
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "disc-fuzz-faults")
    parser.add_argument("--draw", type=int, default=0, help="another number gives other inputs")
    parser.add_argument("--plain", action="store_true", help="seeded mutation even where atheris is installed")
    parser.add_argument("--here", help=argparse.SUPPRESS)
    options = parser.parse_args()
    try:
        import atheris  # noqa: F401

        guided = not options.plain
    except ImportError:
        guided = False
    if options.here:
        row = run_target(options.here, options.minutes * 60, guided, options.keep / options.here, options.draw)
        print(json.dumps(row))
        return
    head = f"{'target':12} {'tried':>8} {'refused':>8} {'slowest s':>9} {'cpu s':>6} {'MB':>5} {'faults':>6}"
    print(f"{head}   guided: {guided}", flush=True)
    faults = 0
    for name in options.targets or TARGETS:
        command = [
            sys.executable,
            __file__,
            "--here",
            name,
            "--minutes",
            str(options.minutes),
            "--keep",
            str(options.keep),
            "--draw",
            str(options.draw),
        ]
        done = subprocess.run(command + ["--plain"] * (not guided), capture_output=True, text=True)
        lines = [line for line in done.stdout.splitlines() if line.startswith("{")]
        if not lines:
            faults += 1
            print(f"{name:12} the process died: {done.stderr.strip().splitlines()[-1:]}")
            continue
        row = json.loads(lines[-1])
        faults += row["faults"]
        counts = (
            f"{name:12} {row['tried']:8} {row['refused']:8} {row['slowest_s']:9} {row['cpu_s']:6} {row['most_mb']:5}"
        )
        print(f"{counts} {row['faults']:6}   {'; '.join(row['first'])}", flush=True)
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
