"""Fuzzes the readers: whatever the bytes, a reader answers or raises DiscError with one line; nothing else.

    python tests/bench/fuzz.py                      # every target for a minute
    python tests/bench/fuzz.py tables --minutes 10  # one target

By seeded mutation of good examples, and where atheris is installed (pip install atheris) coverage-guided after that.
Each target runs in a process of its own, so that the largest memory counted is the target's. A fault is anything but
DiscError, an input that takes over LONGEST_S of processor time (a busy machine does not count as a hang), memory over
MOST_MB, or a file written, renamed or removed outside the input's own folder.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import suppress
from copy import deepcopy
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from disc.errors import BadInput, DiscError

if TYPE_CHECKING:
    from disc.job import Job

LONGEST_S = 5.0
MOST_MB = 1000
# A reader is stopped after so many times LONGEST_S.
PATIENCE = 3
LARGEST_INPUT = 20_000
# The smallest photograph that the photo reader takes, so that mutated ones get beyond the check of its size.
SEED_PICTURE_PX = 200

Reader = Callable[[Path], object]


def _job(path: Path) -> object:
    from disc.job import open_job

    folder = path.parent / "job"
    folder.mkdir(exist_ok=True)
    (folder / "job.json").write_bytes(path.read_bytes())
    return open_job(folder)


def _corrections(path: Path) -> object:
    from disc.job import load_corrections

    return load_corrections(path)


def _pins(path: Path) -> object:
    from disc.tables import read_pins

    return read_pins(path)


def _comb(path: Path) -> object:
    from disc.tables import read_comb

    return read_comb(path)


def _decisions(path: Path) -> object:
    from disc.check.decisions import load_decisions

    return load_decisions(_job_with(path, "decisions.json"))


def _findings(path: Path) -> object:
    from disc.check.store import read_findings

    return read_findings(path)


def _tune(path: Path) -> object:
    from disc.tune.store import load_tune

    return load_tune(_job_with(path, "out/tune.json"))


def _plan(path: Path) -> object:
    from disc.repin.store import load_plan

    return load_plan(_job_with(path, "out/plan.json"))


def _heard(path: Path) -> object:
    from disc.listen.store import LISTEN_FILE, load_listen

    return load_listen(_job_with(path, LISTEN_FILE))


def _known(path: Path) -> object:
    from disc.check.known_file import KNOWN_FILE, load_known

    return load_known(_job_with(path, KNOWN_FILE))


def _plucked(path: Path) -> object:
    from disc.listen.plucked_job import PLUCKED_FILE, heard_pitches

    return heard_pitches(_job_with(path, PLUCKED_FILE))


def _journal(path: Path) -> object:
    """The record of an interrupted step, in a job that came from elsewhere."""
    from disc.job import JOURNAL, STAGING_FOLDER, open_job

    staging = path.parent / "job" / STAGING_FOLDER
    _job_with(path, "out/x")
    shutil.rmtree(staging, ignore_errors=True)
    staging.mkdir()
    (staging / "out").mkdir()
    (staging / "out" / "x").write_text("whole")
    (staging / JOURNAL).write_bytes(path.read_bytes())
    try:
        return open_job(path.parent / "job")
    finally:
        shutil.rmtree(staging, ignore_errors=True)


def _log(path: Path) -> object:
    from disc.report.log import LOG_FILE, load_log

    return load_log(_job_with(path, LOG_FILE))


def _desk_history(path: Path) -> object:
    from disc.desk.history import load_history

    return load_history(path)


def _job_with(path: Path, name: str) -> Job:
    """A job whose file `name` is the input."""
    from disc.job import create_job, open_job
    from disc.records import Plate

    folder = path.parent / "job"
    if not folder.exists():
        create_job(folder, Plate(28.0))
    (folder / name).write_bytes(path.read_bytes())
    return open_job(folder)


def _score(path: Path) -> object:
    from disc.tune.score_in import read_score

    return read_score(path)


def _library_score(path: Path) -> object:
    """A file of a person's own collection: read_sources lets no file stop a build, whatever it raises in one line."""
    from disc.library.reading import Source, read_sources

    tunes, broken = read_sources([Source("own", path.parent)], lambda done: None, 1)
    if broken:
        raise BadInput(broken[0].why)
    return tunes


def _strikes(path: Path) -> object:
    from disc.listen.strikes_file import read_strikes

    return read_strikes(path)


def _query(path: Path) -> object:
    from disc.library.query_in import read_queries

    return read_queries(path)


def _rates(path: Path) -> object:
    from disc.repin.estimate import read_rates

    return read_rates(path)


def _sound(path: Path) -> object:
    from disc.listen.audio import read_recording

    return read_recording(path)


def _photo(path: Path) -> object:
    from disc.photo.image import load_photo

    return load_photo(path)


def _log_photo(path: Path) -> object:
    from disc.report.pictures import small_jpeg, taken_at

    taken_at(path)
    return small_jpeg(path)


JOB = {"schema_version": 1, "plate": {"diameter_mm": 28.0}, "settings": {"key": "D"}, "runs": []}
CORRECTIONS = {"schema": 1, "done": [{"action": "add", "side": "upper", "r_mm": 5, "theta_deg": 3, "changes": []}]}
PINS = "id,side,r_mm,theta_deg,condition,tooth\n1,upper,7.31,121.4,sound,5\n2,lower,8,359.9,bent,\n"
PINS_OF_A_GERMAN_SHEET = "id;side;r_mm;theta_deg;condition\n2;lower;8;359,9;bent\n"
COMB = "number,side,tip_r_mm,tip_theta_deg,pitch\n1,upper,4.6,12.0,67.0\n2,lower,5.1,,\n"
STRIKES = "turn_fraction,tooth\n0.125,3\n0.5,4\n"
QUERY = "onset_s,pitch\n0.5,67\n1.0,69.5\n1.5,71\n2.0,67\n2.5,67\n"
DECISION = {"kind": "missing", "side": "upper", "r_mm": 5.0, "theta_deg": 3.0, "verdict": "accepted"}
DECISIONS = {"schema": 1, "decisions": [DECISION | {"reason": "seen", "at": "2026-01-01"}]}
EVIDENCE = {"kind": "seen", "words": "an empty hole", "weight": 0.9}
FINDING = {"kind": "missing", "side": "upper", "r_mm": 5.0, "theta_deg": 3.0, "probability": 0.9, "pin_id": 1}
FINDING |= {"tooth": None, "bar": 1, "beat": "5/2", "evidence": [EVIDENCE], "heading": "missing pin"}
FINDINGS = {"schema": 1, "findings": [FINDING], "summary": {}}
HEARD = {"schema": 1, "findings": [FINDING | {"listen_s": 1.5}]}
LOG_STEP = {
    "number": 1,
    "at": "2026-01-01T10:00:00",
    "note": "springs down",
    "photos": ["photos/log/1.jpg"],
    "done": False,
}
LOG = {"schema": 1, "steps": [LOG_STEP | {"parts": [{"name": "fly", "screws": "2 short"}]}]}
DESK_STEP = {"words": "a", "at": "b", "corrections": 1, "changes": []}
DESK = {"schema": 1, "done": 1, "steps": [DESK_STEP]}
KNOWN = {"schema": 1, "file": "a/b.abc", "number": 1, "title": "A", "collection": "a", "metre": [6, 8], "fifths": 1}
KNOWN |= {"onset_tick": [0, 480], "duration_tick": [480, 480], "pitch": [67, 69], "bar": [1, 1]}
PLUCKED = {"teeth": [{"tooth": 1, "pitch": 67.1}, {"tooth": 2, "pitch": None}]}
STEP_JOURNAL = {"names": ["out/x"], "removed": ["out/y"]}
ABC = "X:1\nT:A\nM:6/8\nL:1/8\nK:Dmix\n|:AB=c d2e|[1 (3fga f3:|[2 d3-d3|]\n"
KERN = "**kern\n*M4/4\n*k[f#]\n=1\n4g\n8a\n8b\n2.cc\n*-\n"
MUSICXML = """<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>x</part-name>
</score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>2</divisions><time><beats>2</beats>
<beat-type>4</beat-type></time></attributes><note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration>
</note></measure></part></score-partwise>"""


def _tune_seed() -> bytes:
    from fractions import Fraction

    from disc.records import Key, Metre, Note, Repeat, Tune
    from disc.tune.store import format_tune

    notes = (Note(Fraction(1, 3), Fraction(1, 2), 74, pins=(1, 2)),)
    tune = Tune(notes, Metre(6, 8), Key(2, "major", 2), Fraction(1, 2), 0.5, repeats=(Repeat(1, 4),))
    return format_tune(tune).encode()


def _plan_seed() -> bytes:
    from disc.job import create_job
    from disc.records import Condition, Pin, Plate, Side
    from disc.repin.estimate import parse_rates, sample_rates_text
    from disc.repin.make_plan import PlanSettings, make_plan
    from disc.repin.store import format_plan

    with tempfile.TemporaryDirectory() as name:
        job = create_job(Path(name) / "job", Plate(28.0))
        with job.step("read") as stage:
            job.stage_reading(stage, (Pin(1, Side.UPPER, 5.0, 90.0, 0.25, condition=Condition.MISSING),))
        return format_plan(make_plan(job, PlanSettings(), parse_rates(sample_rates_text(), "rates"))).encode()


def _rates_seed() -> bytes:
    from disc.repin.estimate import sample_rates_text

    return sample_rates_text().encode()


def _midi_seed() -> bytes:
    import io

    import mido

    file = mido.MidiFile(tracks=[mido.MidiTrack()])
    for note in (60, 64):
        file.tracks[0].append(mido.Message("note_on", note=note, time=0))
        file.tracks[0].append(mido.Message("note_off", note=note, time=240))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def _mxl_seed() -> bytes:
    import io
    import zipfile

    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as bag:
        bag.writestr(
            "META-INF/container.xml", '<container><rootfiles><rootfile full-path="a.xml"/></rootfiles></container>'
        )
        bag.writestr("a.xml", MUSICXML)
    return out.getvalue()


def _sound_seed(form: str) -> bytes:
    import io

    import soundfile

    out = io.BytesIO()
    soundfile.write(out, np.sin(np.arange(4900) * 0.3) * 0.5, 8000, format=form)
    return out.getvalue()


def _picture_seed(form: str) -> bytes:
    import io

    from PIL import Image

    out = io.BytesIO()
    speckled = np.random.default_rng(1).integers(90, 110, (25, 25, 3), np.uint8)
    large = Image.fromarray(speckled).resize((SEED_PICTURE_PX, SEED_PICTURE_PX), Image.Resampling.NEAREST)
    large.save(out, form, **({"compression": "tiff_deflate"} if form == "TIFF" else {}))
    return out.getvalue()


# name: (reader, ending, seeds)
TARGETS: dict[str, tuple[Reader, str, Callable[[], list[bytes]]]] = {
    "job": (_job, ".json", lambda: [json.dumps(JOB).encode()]),
    "corrections": (_corrections, ".json", lambda: [json.dumps(CORRECTIONS).encode()]),
    "pins": (_pins, ".csv", lambda: [PINS.encode(), PINS_OF_A_GERMAN_SHEET.encode("utf-8-sig")]),
    "comb": (_comb, ".csv", lambda: [COMB.encode()]),
    "strikes": (_strikes, ".csv", lambda: [STRIKES.encode()]),
    "query": (_query, ".csv", lambda: [QUERY.encode()]),
    "decisions": (_decisions, ".json", lambda: [json.dumps(DECISIONS).encode()]),
    "findings": (_findings, ".json", lambda: [json.dumps(FINDINGS).encode()]),
    "heard": (_heard, ".json", lambda: [json.dumps(HEARD).encode()]),
    "tune": (_tune, ".json", lambda: [_tune_seed()]),
    "plan": (_plan, ".json", lambda: [_plan_seed()]),
    "rates": (_rates, ".toml", lambda: [_rates_seed()]),
    "known": (_known, ".json", lambda: [json.dumps(KNOWN).encode()]),
    "plucked": (_plucked, ".json", lambda: [json.dumps(PLUCKED).encode()]),
    "journal": (_journal, ".json", lambda: [json.dumps(STEP_JOURNAL).encode()]),
    "log": (_log, ".json", lambda: [json.dumps(LOG).encode()]),
    "desk": (_desk_history, ".json", lambda: [json.dumps(DESK).encode()]),
    "midi": (_score, ".mid", lambda: [_midi_seed()]),
    "musicxml": (_score, ".musicxml", lambda: [MUSICXML.encode()]),
    "mxl": (_score, ".mxl", lambda: [_mxl_seed()]),
    "abc": (_score, ".abc", lambda: [ABC.encode()]),
    "kern": (_score, ".krn", lambda: [KERN.encode()]),
    "own-abc": (_library_score, ".abc", lambda: [ABC.encode()]),
    "own-midi": (_library_score, ".mid", lambda: [_midi_seed()]),
    "query-abc": (_query, ".abc", lambda: [ABC.encode()]),
    "wav": (_sound, ".wav", lambda: [_sound_seed("WAV")]),
    "flac": (_sound, ".flac", lambda: [_sound_seed("FLAC")]),
    "jpeg": (_photo, ".jpg", lambda: [_picture_seed("JPEG")]),
    "png": (_photo, ".png", lambda: [_picture_seed("PNG")]),
    "tiff": (_photo, ".tif", lambda: [_picture_seed("TIFF")]),
    "log-photo": (_log_photo, ".jpg", lambda: [_picture_seed("JPEG")]),
}


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
ODD_VALUES = (
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


def run_target(name: str, seconds: float, guided: bool, kept: Path) -> dict[str, object]:
    """Run one target in this process."""
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
    # Mutation that knows JSON gets where guided bytes rarely do; so both have their share of the time.
    own_end = time.monotonic() + (seconds / 3 if guided else seconds)
    for data in mutations(trial.seeds, np.random.default_rng(20260301)):
        if time.monotonic() > own_end:
            break
        trial(data)
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

    flags = [str(corpus), f"-max_len={LARGEST_INPUT}", "-rss_limit_mb=0", "-timeout=600", "-seed=1", "-verbosity=0"]
    atheris.Setup([sys.argv[0], *flags], one)
    atheris.Fuzz()
    raise AssertionError("the fuzzer came back")


def main() -> None:
    """Print the table; exit code 1 if there was a fault."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("targets", nargs="*", help=", ".join(TARGETS))
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "disc-fuzz-faults")
    parser.add_argument("--plain", action="store_true", help="seeded mutation even where atheris is installed")
    parser.add_argument("--here", help=argparse.SUPPRESS)
    options = parser.parse_args()
    try:
        import atheris  # noqa: F401

        guided = not options.plain
    except ImportError:
        guided = False
    if options.here:
        row = run_target(options.here, options.minutes * 60, guided, options.keep / options.here)
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
