"""Every fitted number of the house: where it stands, how it was made, and whether the shipped one is what comes out.

    python -m tests.bench.fit.refit                       the table
    python -m tests.bench.fit.refit check/hole --verify   fit again beside the shipped numbers, and compare
    python -m tests.bench.fit.refit check/hole --write    fit again, into the program

A part is named ROOM/PART as the table does. --verify changes nothing; it prints the largest difference of any number,
as a part of the largest of its list, and exits with 1 where that is above --within. Networks are trained on another
machine: `photo_training/README.md` says with what, and from what the shipped ones descend.
"""

from __future__ import annotations

import argparse
import json
import shlex
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

import disc
from disc.fitted import MADE, Made, made_parts

HOUSE = Path(disc.__file__).parent
WITHIN = 0.02  # libraries' solvers stop at other digits; more than this is another fit


def fitted_files() -> list[Path]:
    """Every fitted file that is shipped."""
    return sorted(
        path
        for path in HOUSE.rglob("*.json")
        if isinstance(content := json.loads(path.read_text(encoding="utf-8")), dict) and MADE in content
    )


def all_parts() -> dict[str, tuple[Path, str, Made]]:
    """(file, part, how it was made) by ROOM/PART."""
    return {
        f"{path.relative_to(HOUSE).parts[0]}/{part}": (path, part, made)
        for path in fitted_files()
        for part, made in made_parts(path).items()
    }


def difference(shipped: Any, again: Any) -> float:
    """The largest difference of two parts, each as a part of the largest number of its list; inf if unlike."""
    worst = 0.0
    for one, other in lists_of(shipped, again):
        if one.shape != other.shape:
            return float("inf")
        if one.size:
            worst = max(worst, float(np.abs(one - other).max() / max(np.abs(one).max(), 1e-9)))
    return worst


def lists_of(one: Any, other: Any) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Lists of numbers at the same places of two parts, as arrays; of unlike shape where the parts are unlike."""
    unlike = np.zeros(1), np.zeros(2)
    if isinstance(one, dict):
        if not isinstance(other, dict) or one.keys() != other.keys():
            yield unlike
            return
        numbers = [key for key, value in one.items() if isinstance(value, int | float)]
        yield np.array([one[key] for key in numbers], float), np.array([other[key] for key in numbers], float)
        for key in one.keys() - set(numbers):
            yield from lists_of(one[key], other[key])
    elif isinstance(one, list) and all(isinstance(value, int | float) for value in one):
        yield np.array(one, float), np.array(other, float)
    elif isinstance(one, list):
        if not isinstance(other, list) or len(one) != len(other):
            yield unlike
            return
        for mine, yours in zip(one, other, strict=True):
            yield from lists_of(mine, yours)
    elif isinstance(one, int | float):
        yield np.array([one], float), np.array([other], float)


def fit_again(file: Path, made: Made, out: Path) -> None:
    """Run a part's script, its numbers into another file (which begins as a copy of the shipped one)."""
    if out != file:
        shutil.copy(file, out)
    words = [sys.executable, "-m", made.script, *shlex.split(made.arguments), "--out", str(out)]
    subprocess.run(words, check=True, cwd=HOUSE.parent)


def table(parts: dict[str, tuple[Path, str, Made]]) -> None:
    """One part a paragraph."""
    for name, (file, _, made) in parts.items():
        print(f"{name}  ({file.relative_to(HOUSE)})\n  python -m {made.script} {made.arguments}".rstrip())
        print(f"  seed {made.seed}; fitted on {made.data}\n  {made.score}" + (f"\n  {made.note}" if made.note else ""))


def verify(names: list[str], within: float) -> int:
    """Fit parts again and compare; parts of one run of a script are fitted once. Returns the exit code."""
    parts, done, code = all_parts(), dict[tuple[Path, str, str], Path](), 0
    with tempfile.TemporaryDirectory() as folder:
        for name in names:
            file, part, made = parts[name]
            run = file, made.script, made.arguments
            if run not in done:
                began = time.perf_counter()
                done[run] = Path(folder) / f"{len(done)}.json"
                fit_again(file, made, done[run])
                print(f"{made.script}: {time.perf_counter() - began:.0f} s", flush=True)
            shipped, again = (json.loads(path.read_text(encoding="utf-8"))[part] for path in (file, done[run]))
            off = difference(shipped, again)
            code |= int(off > within)
            print(f"{name}: {'as shipped' if off <= within else 'NOT as shipped'}, largest difference {off:.4f}")
    return code


def main() -> None:
    """List, verify or write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("parts", nargs="*", metavar="ROOM/PART", help="all, if none is named")
    parser.add_argument("--verify", action="store_true")
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--within", type=float, default=WITHIN)
    given = parser.parse_args()
    parts = all_parts()
    unknown = sorted(set(given.parts) - parts.keys())
    if unknown:
        sys.exit(f"{unknown[0]}: no such part; there are {', '.join(parts)}")
    chosen = given.parts or list(parts)
    if given.write:
        for file, made in {(parts[name][0], parts[name][2]): None for name in chosen}:
            fit_again(file, made, file)
    elif given.verify:
        sys.exit(verify(chosen, given.within))
    else:
        table({name: parts[name] for name in chosen})


if __name__ == "__main__":
    main()
