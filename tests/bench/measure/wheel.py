"""The built wheel installed into a clean environment, and the demo run there: what a restorer's `pip install` gives.

    python -m tests.bench.measure.wheel            # some minutes: every library is installed anew

The environment sees neither this checkout nor any library of the one that runs this. Exit code 1 if anything fails.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

ROOT = Path(__file__).parents[3]
BUILD = "import sys; from setuptools import build_meta; print(build_meta.build_wheel(sys.argv[1]))"
WANTED = (
    "pins.csv",
    "comb.csv",
    "out/tune.mid",
    "out/tune.pdf",
    "out/work-list.pdf",
    "out/report.pdf",
    "out/report.html",
)


def build(folder: Path) -> Path:
    """A wheel of a clean copy of the checkout."""
    source = folder / "source"
    for part in ("disc", "samples"):
        shutil.copytree(ROOT / part, source / part, ignore=shutil.ignore_patterns("__pycache__", ".*", "*.egg-info"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copyfile(ROOT / name, source / name)
    subprocess.run([sys.executable, "-c", BUILD, str(folder)], cwd=source, check=True, capture_output=True)
    (wheel,) = folder.glob("*.whl")
    return wheel


def run(folder: Path, *words: str) -> str:
    """One command of the clean environment, in an empty folder, without this one's variables."""
    kept = {name: os.environ[name] for name in ("PATH", "HOME", "LANG", "PIP_INDEX_URL") if name in os.environ}
    place = folder / "empty"
    place.mkdir(exist_ok=True)
    done = subprocess.run([*words], cwd=place, env=kept, capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(f"{' '.join(words)}: exit {done.returncode}\n{done.stderr[-2000:]}")
    return done.stdout


def main() -> None:
    """Build, install, run; one line each."""
    with tempfile.TemporaryDirectory(prefix="disc-wheel-") as name:
        folder = Path(name)
        wheel = build(folder)
        print(f"built {wheel.name}, {wheel.stat().st_size / 1e6:.1f} MB", flush=True)
        clean = folder / "clean"
        venv.create(clean, with_pip=True)
        run(folder, str(clean / "bin/python"), "-m", "pip", "install", "-q", str(wheel))
        program = str(clean / "bin/disc")
        print("installed:", run(folder, program, "--version").strip(), flush=True)
        where = run(folder, str(clean / "bin/python"), "-c", "import disc; print(disc.__file__)").strip()
        assert Path(where).is_relative_to(clean), where
        job = folder / "demo"
        run(folder, program, "demo", str(job))
        missing = [file_name for file_name in WANTED if not (job / file_name).is_file()]
        truth = json.loads((ROOT / "samples/first-disc/truth.json").read_text())
        rows = len((job / "pins.csv").read_text().splitlines()) - 1
        print(f"demo: {rows} sites read of {len(truth['pins'])} in the truth; missing files: {missing or 'none'}")
        run(folder, program, "report", str(job), "--language", "de", "--json")
    sys.exit(1 if missing else 0)


if __name__ == "__main__":
    main()
