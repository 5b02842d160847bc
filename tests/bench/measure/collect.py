"""Whole collections: throughput on two workers, memory of a worker, cost of a disc as their number grows.

    python -m tests.bench.measure.collect                 # about four minutes on two idle cores
    python -m tests.bench.measure.collect --quick         # a tenth of the discs
    python -m tests.bench.measure.collect --only speed    # or growth

The discs are the shipped sample's pins and comb, each job perturbed anew: pins shifted by what a maker's setting and a
photograph do, some gone, the whole scaled a little by one of forty makers. Pairs are the sample's photographs.

Wall times need an idle machine. `on two idle cores` is what the processor times alone allow: the parent's work before
and after the pool stands still for neither run, and two workers and the parent share two cores,
(serial_1 + workers_1) / (serial_2 + (dispatch_2 + workers_2) / 2).
On a busy machine the same work takes more or less processor time by turns, so each is run in the order one, two, two,
one (--rounds times) and the times are added up. Whatever the workers, no library has more than one thread.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from disc.job import COMB_FILE, JOB_FILE, PINS_FILE
from disc.job.schema import JobFile
from disc.records import Comb, Condition, Pin, Plate, Side, Tooth
from disc.tables import format_comb, format_pins, read_comb

SAMPLE = Path(__file__).parents[3] / "samples" / "first-disc"
SPEED_UP_BAR, MEMORY_BAR_MB, GROWTH_BAR = 1.8, 1500, 1.15
MAKERS = 40

# Runs one collection and prints what it cost: this process alone, and its workers (rusage of ended children).
RUN = """
import json, resource, sys, time
from pathlib import Path
import disc.collect.collect as room
import disc.collect.summary as last
marks = []
def marked(work):
    def run(*given):
        marks.append(time.process_time())
        return work(*given)
    return run
last.write_summary = marked(last.write_summary)
room.run_here = marked(room.run_here)
started = time.perf_counter()
done = room.collect(Path(sys.argv[1]), workers=int(sys.argv[2]), identify=sys.argv[3] == "identify")
wall_s = time.perf_counter() - started
own, children = resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN)
dispatch_s = marks[1] - marks[0]
print(json.dumps({"wall_s": wall_s, "own_s": time.process_time(), "dispatch_s": dispatch_s,
    "workers_s": children.ru_utime + children.ru_stime, "worker_mb": children.ru_maxrss / 1024,
    "own_mb": own.ru_maxrss / 1024, "made": done.made, "failed": done.failed, "tunes": done.tunes_shared,
    "makers": done.makers_shared}))
"""


@dataclass(frozen=True)
class Cost:
    """One run. workers_s: processor time of the workers; own_s: of the parent; dispatch_s: of it beside the workers."""

    wall_s: float
    own_s: float
    dispatch_s: float
    workers_s: float
    worker_mb: float
    own_mb: float
    made: int
    failed: int
    tunes: int
    makers: int

    @property
    def serial_s(self) -> float:
        """The parent's work before and after the pool."""
        return self.own_s - self.dispatch_s


def sample_disc() -> tuple[Plate, tuple[Pin, ...], Comb]:
    """The sample's plate, pins (from its truth) and comb."""
    truth = json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8"))
    pins = [
        Pin(n, Side(pin["side"]), pin["r_mm"], pin["theta_deg"], pin.get("diameter_mm"), tooth=pin.get("tooth"))
        for n, pin in enumerate(truth["pins"], start=1)
    ]
    return Plate(30.0, revolution_s=52.0, rest_arc_deg=12.0), tuple(pins), read_comb(SAMPLE / "comb.csv")


def maker_scale(maker: int) -> float:
    """How large a maker makes his discs: 23 to 37 mm, each far enough from the next to be told apart."""
    return 1.0 + 0.012 * (maker - MAKERS / 2)


def perturbed(pins: tuple[Pin, ...], comb: Comb, maker: int, rng: np.random.Generator) -> tuple[tuple[Pin, ...], Comb]:
    """The pins and comb as another disc of this maker would give them."""
    scale = maker_scale(maker)
    missing = rng.random(len(pins)) < 0.04
    shifts = rng.normal(0.0, 0.02, (len(pins), 2))
    placed = tuple(
        replace(
            pin,
            r_mm=pin.r_mm * scale + shift[0],
            theta_deg=float(pin.theta_deg + np.degrees(shift[1] / pin.r_mm)) % 360.0,
            condition=Condition.MISSING if gone else Condition.SOUND,
        )
        for pin, gone, shift in zip(pins, missing, shifts, strict=True)
    )
    return placed, Comb(tuple(_scaled(tooth, scale) for tooth in comb.teeth))


def _scaled(tooth: Tooth, scale: float) -> Tooth:
    return replace(tooth, tip_r_mm=tooth.tip_r_mm * scale)


def make_jobs(folder: Path, count: int, seed: int) -> None:
    """Job folders of perturbed discs, written straight as files: 10,000 must not take longer than reading them."""
    rng = np.random.default_rng(seed)
    plate, pins, comb = sample_disc()
    for number in range(count):
        maker = int(rng.integers(MAKERS))
        placed, teeth = perturbed(pins, comb, maker, rng)
        job = folder / f"maker {maker:02d}, Stück {number:05d}"
        job.mkdir(parents=True)
        content = JobFile.new(replace(plate, diameter_mm=plate.diameter_mm * maker_scale(maker)), {})
        (job / JOB_FILE).write_text(content.to_json(), encoding="utf-8")
        (job / PINS_FILE).write_text(format_pins(placed), encoding="utf-8")
        (job / COMB_FILE).write_text(format_comb(teeth), encoding="utf-8")


def make_pairs(folder: Path, count: int) -> None:
    """Pairs of photographs with a table of their discs."""
    folder.mkdir()
    lines = ["name,diameter_mm,comb"]
    shutil.copyfile(SAMPLE / "comb.csv", folder / "comb.csv")
    for number in range(count):
        for face in ("upper", "lower"):
            shutil.copyfile(SAMPLE / f"{face}.jpg", folder / f"pair {number}-{face}.jpg")
        lines.append(f"pair {number},30.0,comb.csv")
    (folder / "discs.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def run(folder: Path, workers: int, identify: bool) -> Cost:
    """Work through a folder from the beginning, in a process of its own."""
    shutil.rmtree(folder / "collection", ignore_errors=True)
    given = [str(folder), str(workers), "identify" if identify else "plain"]
    one_thread = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}  # workers share the cores, not threads
    done = subprocess.run(
        [sys.executable, "-c", RUN, *given], capture_output=True, text=True, env={**os.environ, **one_thread}
    )
    if done.returncode:
        raise SystemExit(done.stderr)
    return Cost(**json.loads(done.stdout))


def speed_up(folder: Path, what: str, identify: bool, rounds: int) -> tuple[float, list[Cost]]:
    """One worker against two, by turns; prints a line."""
    seen: dict[int, list[Cost]] = {1: [], 2: []}
    for workers in (1, 2, 2, 1) * rounds:
        seen[workers].append(run(folder, workers, identify))
    one, two = (_added(seen[workers]) for workers in (1, 2))
    idle = (one.serial_s + one.workers_s) / (two.serial_s + (two.dispatch_s + two.workers_s) / 2)
    print(
        f"{what:26} {one.made:6} {one.wall_s:8.1f} {two.wall_s:8.1f} {one.wall_s / two.wall_s:6.2f} {idle:13.2f}   "
        f"{one.serial_s:.2f} + {one.dispatch_s:.2f} + {one.workers_s:.2f}, "
        f"{two.serial_s:.2f} + {two.dispatch_s:.2f} + {two.workers_s:.2f}   failed {two.failed}",
        flush=True,
    )
    return idle, [*seen[1], *seen[2]]


def _added(costs: list[Cost]) -> Cost:
    """Times added up; the rest of the first."""
    times = {
        name: sum(getattr(cost, name) for cost in costs) for name in ("wall_s", "own_s", "dispatch_s", "workers_s")
    }
    return replace(costs[0], **times)


def measure_speed(home: Path, part: int, seed: int, rounds: int) -> tuple[list[float], list[Cost]]:
    """Speed-ups of three kinds of collections."""
    head = f"{'one worker against two':26} {'discs':>6} {'1: s':>8} {'2: s':>8} {'wall x':>6} {'on idle cores':>13}"
    print(head + "   processor s: serial + dispatch + workers, for one and for two")
    make_pairs(home / "pairs", max(24 // part, 4))
    make_jobs(home / "known", 300 // part, seed)
    make_jobs(home / "plain", 5000 // part, seed + 1)
    ratios, costs = [], []
    for folder, what, identify in (
        ("pairs", "photographs, identified", True),
        ("known", "jobs, identified", True),
        ("plain", "jobs, not identified", False),
    ):
        ratio, seen = speed_up(home / folder, what, identify, rounds)
        ratios.append(ratio)
        costs += seen
    return ratios, costs


def measure_growth(home: Path, part: int, seed: int) -> tuple[float, list[Cost]]:
    """(cost of a disc, most discs to fewest; the runs)."""
    print(f"\n{'discs':>6} {'processor ms':>13} {'worker MB':>10} {'parent MB':>10} {'groups':>7} {'wall s':>8}")
    each, costs = [], []
    for count in (1000 // part, 3000 // part, 10_000 // part):
        make_jobs(home / str(count), count, seed + count)
        cost = run(home / str(count), 2, False)
        costs.append(cost)
        each.append(1000 * (cost.own_s + cost.workers_s) / count)
        memory = f"{cost.worker_mb:10.0f} {cost.own_mb:10.0f}"
        print(f"{count:6} {each[-1]:13.2f} {memory} {cost.makers:7} {cost.wall_s:8.1f}", flush=True)
        shutil.rmtree(home / str(count))
    return each[-1] / each[0], costs


def main() -> None:
    """Print the tables against the bars; exit code 1 if one is missed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--only", choices=("speed", "growth"))
    parser.add_argument("--rounds", type=int, default=1)
    parser.add_argument("--seed", type=int, default=20260310)
    options = parser.parse_args()
    part = 10 if options.quick else 1
    print("load of the machine:", " ".join(f"{load:.1f}" for load in os.getloadavg()), "on", os.cpu_count(), "cores")
    costs: list[Cost] = []
    bars: list[tuple[str, str, float, bool]] = []
    with tempfile.TemporaryDirectory(prefix="disc-collect-") as name:
        if options.only != "growth":
            ratios, seen = measure_speed(Path(name), part, options.seed, options.rounds)
            costs += seen
            least = min(ratios)
            words = "speed-up on two idle cores, least of all"
            bars.append((words, f">= {SPEED_UP_BAR}", least, least >= SPEED_UP_BAR))
        if options.only != "speed":
            growth, seen = measure_growth(Path(name), part, options.seed)
            costs += seen
            words = "cost of a disc, most discs to fewest"
            bars.append((words, f"<= {GROWTH_BAR}", growth, growth <= GROWTH_BAR))
    most_mb = max(max(cost.worker_mb, cost.own_mb) for cost in costs)
    bars.append(("memory of any process, MB", f"<= {MEMORY_BAR_MB}", most_mb, most_mb <= MEMORY_BAR_MB))
    print(f"\n{'bar':44} {'wanted':>9} {'measured':>9}")
    for words, wanted, measured, _ in bars:
        print(f"{words:44} {wanted:>9} {measured:9.2f}")
    sys.exit(0 if all(met for *_, met in bars) else 1)


if __name__ == "__main__":
    main()
