"""The chain as a whole: photographs -> pins -> teeth -> strikes -> tune -> findings -> plan, truth beside each stage.

    python -m tests.bench.measure.chain FOLDER [FOLDER ...] [--names p3,h5] [--jobs FOLDER] [--own-slot] [--identify]

A folder holds NAME.json (truth: disc, comb, tune, pins, photos, distractors) beside NAME-upper.jpg and NAME-lower.jpg.
The comb's table and the plate are given as true, and the stop slot as well unless --own-slot. --jobs keeps the jobs
there (and uses readings that lie there already). Work that cannot be undone (pull, drill, plug) is right only at a
place with a fault that asks for it: a stub, a bent pin, or an extra that stands; said in doubt it does not count.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from disc.check.check_job import check_job
from disc.check.photo.photo_findings import read_probability
from disc.comb.comb_job import take_table
from disc.errors import DiscError
from disc.frame import to_xy_mm
from disc.job import Job, create_job, open_for_writing
from disc.photo.read_photos import read_job
from disc.photo.request import ReadRequest, ReadSettings
from disc.records import Condition, Pin, Side
from disc.repin.plan_job import PlanSettings, make_plan, rates_in_force
from disc.repin.records import Operation, Plan, Station
from disc.turn.turn_of_job import turn_of_job

REACH_MM = 0.15
SITES = ("sound", "bent", "stub", "missing")
IRREVERSIBLE = (Operation.PULL, Operation.DRILL, Operation.PLUG)


@dataclass
class Row:
    """What one disc gave at each stage."""

    name: str
    hits: int = 0
    false: int = 0
    missed: int = 0
    tooth_right: int = 0
    tooth_wrong: int = 0
    strikes_right: int = 0
    strikes_true: int = 0
    strikes_extra: int = 0
    metre: str = ""
    wrong_sure: list[str] = field(default_factory=list)
    right_sure: int = 0
    right_doubt: int = 0
    overlooked: int = 0
    set_wrong: list[str] = field(default_factory=list)
    doubts: Counter = field(default_factory=Counter)
    places: Counter = field(default_factory=Counter)
    stubs: Counter = field(default_factory=Counter)
    trouble: str = ""


def job_of(truth: dict[str, Any], photos: Path, folder: Path, own_slot: bool) -> Path:
    """A job with this disc read into it; a reading that lies there already is used again."""
    if (folder / "pins.csv").is_file():
        return folder
    disc = truth["disc"]
    names = ("diameter_mm", "turns", "revolution_s", "rest_arc_deg", "thickness_mm", "bore_mm")
    create_job(folder, {name: disc[name] for name in names})
    table = folder / "given-comb.csv"
    heads = ("number", "side", "tip_r_mm", "tip_theta_deg", "pitch")
    rows = [",".join(str(tooth[name]) for name in heads) for tooth in truth["comb"]]
    table.write_text("\n".join([",".join(heads), *rows]) + "\n", encoding="utf-8")
    plain = [photo for photo in truth["photos"] if "sheet" not in photo]
    slots = {Side(photo["side"]): ReadSettings(slot=tuple(photo["datum_px"])) for photo in plain}
    upper, lower = (tuple(photos / p["file"] for p in plain if p["side"] == side) for side in ("upper", "lower"))
    with open_for_writing(folder) as job:
        read_job(job, ReadRequest(upper, lower, None, {} if own_slot else slots))
        take_table(job, table)
    return folder


def measure(truth: dict[str, Any], job: Job) -> tuple[Row, Plan]:
    """One disc through the chain."""
    row = Row(truth["name"])
    sites = [pin for pin in truth["pins"] if pin["condition"] in SITES]
    pins = job.pins()
    pairs = _pairs([_place(p.side, p.r_mm, p.theta_deg) for p in pins], [_place_of(s) for s in sites])
    row.hits, row.false, row.missed = len(pairs), len(pins) - len(pairs), len(sites) - len(pairs)
    turn = turn_of_job(job)
    for k, j in pairs:
        right = turn.pins[k].tooth == sites[j]["tooth"]
        row.tooth_right += right
        row.tooth_wrong += not right
    wanted = {(s["tooth"], round(s["theta_deg"])) for s in sites if s["condition"] in ("sound", "bent")}
    by_pin = {pins[k].id: sites[j] for k, j in pairs}
    struck = [by_pin.get(strike.pin_id or -1) for strike in turn.strikes]
    row.strikes_true = len(wanted)
    row.strikes_right = sum(s is not None and s["condition"] in ("sound", "bent") for s in struck)
    row.strikes_extra = len(struck) - row.strikes_right
    row.metre = "-" if turn.tune is None else f"{turn.tune.metre.beats}/{turn.tune.metre.unit}"
    checked = check_job(job)
    plan = make_plan(job, PlanSettings(), rates_in_force(job))
    row.doubts = Counter(doubt.about.value for doubt in checked.doubts)
    judge_plan(row, truth, plan)
    count_stubs(row, truth, pins, plan)
    return row, plan


def count_stubs(row: Row, truth: dict[str, Any], pins: Sequence[Pin], plan: Plan) -> None:
    """Every pin that is broken off: what the reading called it, how sure of that it was, and what the plan does.

    So sure of site and condition together, before the music: "nine in ten" 0.9 and more, "certain" 0.98 and more.
    """
    found = {pin.id: pin for pin in pins}
    places = [_place_of(p) for p in truth["pins"]]
    at = {here["id"]: s for s in plan.stations if (here := _nearest(s, truth["pins"], places)) is not None}
    for true in truth["pins"]:
        if true["condition"] != "stub":
            continue
        station = at.get(true["id"])
        pin = None if station is None else found.get(station.pin_id or -1)
        row.stubs["there"] += 1
        row.stubs["no site" if pin is None else f"called {pin.condition.value}"] += 1
        if station is None or pin is None or pin.condition is not Condition.STUB:
            continue
        read = read_probability(pin, 0.0)
        sure = "certain" if read >= 0.98 else "nine in ten" if read >= 0.9 else "less sure"
        does = "ordered" if Operation.PULL in station.operations and not station.in_doubt else "looked at first"
        row.stubs[f"called stub, {sure}, {does}"] += 1


def judge_plan(row: Row, truth: dict[str, Any], plan: Plan) -> None:
    """Count the plan's places against the truth."""
    faults = [p for p in truth["pins"] if p["condition"] in ("stub", "bent", "missing") or _stands_extra(p)]
    places = [_place_of(p) for p in truth["pins"]]
    for station in plan.stations:
        if station.number is None:
            continue
        here = _nearest(station, truth["pins"], places)
        if here is not None:
            kind = here["condition"] + ("" if station.in_doubt or not _is_work(station) else " ordered")
            row.places[kind] += 1
        irreversible = any(op in IRREVERSIBLE for op in station.operations)
        fault = here if here is not None and here in faults else None
        asks = (fault is not None and fault["condition"] in ("stub", "bent")) or (
            fault is not None and _stands_extra(fault)
        )
        if irreversible and not station.in_doubt:
            if asks:
                row.right_sure += 1
            else:
                row.wrong_sure.append(_told(station, here))
        elif Operation.SET in station.operations and not station.in_doubt and not irreversible:
            if fault is None or fault["condition"] != "missing":
                row.set_wrong.append(_told(station, here))
            else:
                row.right_sure += 1
        elif fault is not None:
            row.right_doubt += 1
    named = [_nearest(s, truth["pins"], places) for s in plan.stations if s.number is not None]
    row.overlooked = sum(fault not in named for fault in faults)


def _is_work(station: Station) -> bool:
    return bool(set(station.operations) - {Operation.LOOK, Operation.LEAVE})


def _stands_extra(pin: dict[str, Any]) -> bool:
    return pin["condition"] == "extra" and pin["height_mm"] > 0


def _told(station: Station, here: dict[str, Any] | None) -> str:
    what = "+".join(op.value for op in station.operations)
    at = f"{station.side.value} {station.place.r_mm:.2f} mm {station.place.theta_deg:.1f} deg"
    return f"{what} {at} on {None if here is None else here['condition']}, p {station.probability:.3f}"


def _nearest(
    station: Station, pins: list[dict[str, Any]], places: list[tuple[str, float, float]]
) -> dict[str, Any] | None:
    spot = station.found or station.place
    side, x, y = _place(station.side, spot.r_mm, spot.theta_deg)
    near = [(np.hypot(px - x, py - y), k) for k, (ps, px, py) in enumerate(places) if ps == side]
    best = min(near, default=(9.0, -1))
    return pins[best[1]] if best[0] <= 2 * REACH_MM else None


def _place(side: Side, r_mm: float, theta_deg: float) -> tuple[str, float, float]:
    x, y = to_xy_mm(r_mm, theta_deg)
    return side.value, float(x), float(y)


def _place_of(pin: dict[str, Any]) -> tuple[str, float, float]:
    return _place(Side(pin["side"]), pin["r_mm"], pin["theta_deg"])


def _pairs(found: list[tuple[str, float, float]], true: list[tuple[str, float, float]]) -> list[tuple[int, int]]:
    """One-to-one within REACH_MM, nearest first."""
    near = sorted(
        (float(np.hypot(a[1] - b[1], a[2] - b[2])), k, j)
        for k, a in enumerate(found)
        for j, b in enumerate(true)
        if a[0] == b[0] and abs(a[1] - b[1]) <= REACH_MM and abs(a[2] - b[2]) <= REACH_MM
    )
    left, right, pairs = set(), set(), []
    for apart, k, j in near:
        if apart <= REACH_MM and k not in left and j not in right:
            left.add(k)
            right.add(j)
            pairs.append((k, j))
    return pairs


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--names", default="")
    parser.add_argument("--jobs", type=Path)
    parser.add_argument("--own-slot", action="store_true")
    given = parser.parse_args()
    names = set(filter(None, given.names.split(",")))
    total: Counter = Counter()
    places: Counter = Counter()
    stubs: Counter = Counter()
    with tempfile.TemporaryDirectory() as scratch:
        jobs = given.jobs or Path(scratch)
        for folder in given.folders:
            for path in sorted(folder.glob("*.json")):
                if names and path.stem not in names:
                    continue
                truth = json.loads(path.read_text(encoding="utf-8"))
                if "photos" not in truth:
                    continue
                try:
                    at = job_of(truth, folder, jobs / path.stem, given.own_slot)
                    with open_for_writing(at) as job:
                        row, _ = measure(truth, job)
                except DiscError as error:
                    print(f"{path.stem}: refused: {error}")
                    total["refused"] += 1
                    continue
                print(
                    f"{row.name:4s} sites {row.hits} hit {row.false} false {row.missed} missed | "
                    f"teeth {row.tooth_right} right {row.tooth_wrong} wrong | "
                    f"strikes {row.strikes_right}/{row.strikes_true} +{row.strikes_extra} | "
                    f"{row.metre} | sure work {row.right_sure} right {len(row.wrong_sure)} wrong, set wrong "
                    f"{len(row.set_wrong)}; in doubt {row.right_doubt}, overlooked {row.overlooked} | "
                    f"doubts {dict(row.doubts)}"
                )
                for words in (*row.wrong_sure, *row.set_wrong):
                    print(f"       {words}")
                for name in ("right_sure", "right_doubt", "overlooked", "false", "missed", "hits"):
                    total[name] += getattr(row, name)
                places.update(row.places)
                stubs.update(row.stubs)
                total["wrong_sure"] += len(row.wrong_sure)
                total["set_wrong"] += len(row.set_wrong)
    print("all:", dict(total))
    print("numbered places, by what is truly there and whether work is ordered without doubt:", dict(places))
    print("stubs, all that are there:", dict(sorted(stubs.items())))


if __name__ == "__main__":
    main()
