"""Fuzzes the readers: whatever the bytes, a reader answers or raises DiscError with one line; nothing else.

    python tests/bench/fuzz.py                      # every target for a minute
    python tests/bench/fuzz.py tables --minutes 10  # one target

Coverage-guided with atheris where it is installed (pip install atheris), else by seeded mutation of good examples.
Each target runs in a process of its own, so that the largest memory counted is the target's. A fault is anything but
DiscError, an input that takes over LONGEST_S, memory over MOST_MB, or a file outside the folder.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from disc.errors import DiscError

LONGEST_S = 5.0
MOST_MB = 1000
LARGEST_INPUT = 20_000

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


def _score(path: Path) -> object:
    from disc.tune.score_in import read_score

    return read_score(path)


def _sound(path: Path) -> object:
    from disc.listen.audio import read_audio

    return read_audio(path)


def _photo(path: Path) -> object:
    from disc.photo.decode import decode

    return decode(path)


def _log_photo(path: Path) -> object:
    from disc.report.pictures import small_jpeg, taken_at

    taken_at(path)
    return small_jpeg(path)


JOB = {"schema_version": 1, "plate": {"diameter_mm": 28.0}, "settings": {"key": "D"}, "runs": []}
CORRECTIONS = {"schema": 1, "done": [{"action": "add", "side": "upper", "r_mm": 5, "theta_deg": 3, "changes": []}]}
PINS = "id,side,r_mm,theta_deg,condition,tooth\n1,upper,7.31,121.4,sound,5\n2;lower;8;359,9;bent;\n"
COMB = "number,side,tip_r_mm,tip_theta_deg,pitch\n1,upper,4.6,12.0,67.0\n2,lower,5.1,,\n"
ABC = "X:1\nT:A\nM:6/8\nL:1/8\nK:Dmix\n|:AB=c d2e|[1 (3fga f3:|[2 d3-d3|]\n"
KERN = "**kern\n*M4/4\n*k[f#]\n=1\n4g\n8a\n8b\n2.cc\n*-\n"
MUSICXML = """<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>x</part-name>
</score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>2</divisions><time><beats>2</beats>
<beat-type>4</beat-type></time></attributes><note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration>
</note></measure></part></score-partwise>"""


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
    soundfile.write(out, np.sin(np.arange(800) * 0.3) * 0.5, 8000, format=form)
    return out.getvalue()


def _picture_seed(form: str) -> bytes:
    import io

    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(np.random.default_rng(1).integers(0, 255, (32, 32, 3), np.uint8)).save(out, form)
    return out.getvalue()


# name: (reader, ending, seeds)
TARGETS: dict[str, tuple[Reader, str, Callable[[], list[bytes]]]] = {
    "job": (_job, ".json", lambda: [json.dumps(JOB).encode()]),
    "corrections": (_corrections, ".json", lambda: [json.dumps(CORRECTIONS).encode()]),
    "pins": (_pins, ".csv", lambda: [PINS.encode()]),
    "comb": (_comb, ".csv", lambda: [COMB.encode()]),
    "midi": (_score, ".mid", lambda: [_midi_seed()]),
    "musicxml": (_score, ".musicxml", lambda: [MUSICXML.encode()]),
    "mxl": (_score, ".mxl", lambda: [_mxl_seed()]),
    "abc": (_score, ".abc", lambda: [ABC.encode()]),
    "kern": (_score, ".krn", lambda: [KERN.encode()]),
    "wav": (_sound, ".wav", lambda: [_sound_seed("WAV")]),
    "flac": (_sound, ".flac", lambda: [_sound_seed("FLAC")]),
    "jpeg": (_photo, ".jpg", lambda: [_picture_seed("JPEG")]),
    "png": (_photo, ".png", lambda: [_picture_seed("PNG")]),
    "tiff": (_photo, ".tif", lambda: [_picture_seed("TIFF")]),
    "log-photo": (_log_photo, ".jpg", lambda: [_picture_seed("JPEG")]),
}


class Trial:
    """Feeds inputs to one reader and counts what happens. Faults keep their input in `kept`."""

    def __init__(self, name: str, kept: Path) -> None:
        self.reader, self.ending, seeds = TARGETS[name]
        self.seeds = seeds()
        self.kept = kept
        self.tried = self.refused = 0
        self.slowest_s = 0.0
        self.faults: list[str] = []
        self.folder = Path(tempfile.mkdtemp(prefix="disc-fuzz-"))

    def __call__(self, data: bytes) -> None:
        """One input."""
        path = self.folder / f"input{self.ending}"
        path.write_bytes(data)
        self.tried += 1
        started = time.process_time()
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                self.reader(path)
        except DiscError as error:
            self.refused += 1
            if len(str(error).splitlines()) != 1:
                self._fault(data, f"{len(str(error).splitlines())} lines: {error!r}")
        except Exception as error:  # what this script looks for
            self._fault(data, f"{type(error).__name__}: {error}"[:200])
        took_s = time.process_time() - started
        self.slowest_s = max(self.slowest_s, took_s)
        if took_s > LONGEST_S:
            self._fault(data, f"took {took_s:.1f} s")

    def _fault(self, data: bytes, words: str) -> None:
        kind = words.split(":")[0]
        if sum(fault.startswith(kind) for fault in self.faults) < 5:
            (self.kept / f"{len(self.faults):03d}{self.ending}").write_bytes(data)
        self.faults.append(words)

    def table_row(self) -> dict[str, object]:
        """What the run found."""
        most_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
        if most_mb > MOST_MB:
            self.faults.append(f"{most_mb} MB of memory")
        strays = [p.name for p in self.folder.parent.glob("input*")]
        return {
            "tried": self.tried,
            "refused": self.refused,
            "slowest_s": round(self.slowest_s, 2),
            "most_mb": most_mb,
            "faults": len(self.faults) + len(strays),
            "first": sorted(set(self.faults))[:5],
        }


def mutations(seeds: list[bytes], rng: np.random.Generator) -> Iterator[bytes]:
    """Endless inputs: the seeds, then seeds with bytes changed, cut, doubled, or extreme numbers put in."""
    yield from [b"", *seeds]
    spice = [b"nan", b"-1", b"1e999", b"99999999999", b"\0", b"\xff\xff\xff\xff", b"[" * 500, b"{", b"</", b",", b"\n"]
    while True:
        data = bytearray(seeds[rng.integers(len(seeds))])
        for _ in range(int(rng.geometric(0.3))):
            at = int(rng.integers(len(data) + 1))
            kind = rng.integers(4)
            if kind == 0 and data:
                data[at % len(data)] = int(rng.integers(256))
            elif kind == 1:
                data[at:at] = spice[rng.integers(len(spice))]
            elif kind == 2:
                del data[at : at + int(rng.integers(1, 40))]
            else:
                data[at:at] = data[at : at + int(rng.integers(1, 200))]
        yield bytes(data[:LARGEST_INPUT])


def run_target(name: str, seconds: float, guided: bool, kept: Path) -> dict[str, object]:
    """Run one target in this process."""
    kept.mkdir(parents=True, exist_ok=True)
    end = time.monotonic() + seconds
    if guided:
        import atheris

        # Instrument our own readers only: what libraries do inside is theirs.
        with atheris.instrument_imports(include=["disc"]):
            import disc.job
            import disc.tables  # noqa: F401
    trial = Trial(name, kept)
    if not guided:
        for data in mutations(trial.seeds, np.random.default_rng(20260301)):
            if time.monotonic() > end:
                return trial.table_row()
            trial(data)
    corpus = Path(tempfile.mkdtemp(prefix="disc-corpus-"))
    for number, seed in enumerate(trial.seeds):
        (corpus / str(number)).write_bytes(seed)

    def one(data: bytes) -> None:
        trial(data)
        if time.monotonic() > end:
            print(json.dumps(trial.table_row()), flush=True)
            os._exit(0)  # libFuzzer has no way back into Python

    flags = [str(corpus), f"-max_len={LARGEST_INPUT}", "-rss_limit_mb=0", "-timeout=60", "-seed=1", "-verbosity=0"]
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
    print(f"{'target':12} {'tried':>8} {'refused':>8} {'slowest s':>9} {'MB':>5} {'faults':>6}   guided: {guided}")
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
        counts = f"{name:12} {row['tried']:8} {row['refused']:8} {row['slowest_s']:9} {row['most_mb']:5}"
        print(f"{counts} {row['faults']:6}   {'; '.join(row['first'])}", flush=True)
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
