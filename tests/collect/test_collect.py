"""A collection worked through: resumed, with bad discs, a killed worker, and on a real cluster of processes."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from disc.collect import runners
from disc.collect.collect import collect
from disc.collect.groups import REACH, same_habits, same_tune
from disc.collect.items import find_items
from disc.collect.one_disc import DiscTask, work_through
from disc.collect.rows import DONE, DiscRow, RowStore
from disc.collect.runners import THREAD_NAMES, batches, run_here, run_on_cluster
from disc.errors import BadInput
from disc.job import create_job
from disc.records import Comb, Pin, Plate, Side, Tooth


def invented_job(folder, seed, pins=60):
    rng = np.random.default_rng(seed)
    teeth = tuple(Tooth(n, Side.UPPER, 4.0 + 0.5 * n, float(rng.uniform(0, 360)), 60.0 + n) for n in range(1, 11))
    chosen = rng.integers(0, 10, pins)
    made = tuple(
        Pin(n, Side.UPPER, teeth[t].tip_r_mm + rng.normal(0, 0.02), float(rng.uniform(0, 360)), 0.25, tooth=int(t) + 1)
        for n, t in enumerate(chosen, start=1)
    )
    job = create_job(folder, Plate(28.0))
    with job.step("read") as stage:
        job.stage_reading(stage, made)
        job.stage_comb(stage, Comb(teeth))
    return job


def six_discs(folder):
    for seed in range(6):
        invented_job(folder / f"disc {seed}", seed)
    return folder


@pytest.fixture
def folder(tmp_path):
    return six_discs(tmp_path)


def table(folder):
    with (folder / "collection/collection.csv").open() as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def collected(tmp_path_factory):
    """Six discs, the fourth bad, worked through once: the folder, what was said, and the table as it was then."""
    folder = six_discs(tmp_path_factory.mktemp("discs"))
    (folder / "disc 3" / "pins.csv").write_text("id,side\n1,upper\n")
    done = collect(folder, identify=False)
    import pyarrow.parquet as parquet

    return folder, done, table(folder), parquet.read_table(folder / "collection/collection.parquet").num_rows


def test_every_disc_has_its_row_and_a_bad_one_its_reason(collected):
    _, done, rows, parquet_rows = collected
    assert (done.discs, done.made, done.kept, done.failed) == (6, 6, 0, 1)
    assert [row["name"] for row in rows] == [f"disc {n}" for n in range(6)]
    assert "has no column r_mm" in rows[3]["reason"]
    assert {row["pins_upper"] for row in rows if row["status"] == DONE} == {"60"}
    assert parquet_rows == 6


def test_a_second_run_does_only_what_is_new_or_changed_or_failed(collected):
    folder = collected[0]
    invented_job(folder / "disc 9", 9)
    again = collect(folder, identify=False)
    assert (again.made, again.kept) == (2, 5)  # the new one, and the one that failed


def test_pairs_of_photographs_are_found_with_their_diameters(tmp_path):
    for name in ("a-upper.jpg", "a-lower.jpg", "b_upper.PNG", "b_lower.PNG"):
        (tmp_path / name).write_bytes(b"")
    with pytest.raises(BadInput, match="how wide is a"):
        find_items(tmp_path, tmp_path / "jobs")
    (tmp_path / "discs.csv").write_text("name;diameter_mm;turns\na;28,5;counterclockwise\nb;30;\n")
    items = find_items(tmp_path, tmp_path / "jobs")
    assert [(i.name, i.plate.diameter_mm, i.plate.turns.value) for i in items] == [
        ("a", 28.5, "counterclockwise"),
        ("b", 30.0, "clockwise"),
    ]
    (tmp_path / "c-upper.jpg").write_bytes(b"")
    with pytest.raises(BadInput, match="c has a photograph of one face only"):
        find_items(tmp_path, tmp_path / "jobs")


def test_an_empty_folder_is_told(tmp_path):
    with pytest.raises(BadInput, match="no job folders here"):
        collect(tmp_path)


def kill_own_worker_once(task: DiscTask) -> bool:
    """Dies as if the system had killed it, the first time that disc 2 comes up."""
    mark = task.rows.parent / "killed"
    if task.item.name == "disc 2" and not mark.exists():
        mark.write_text("once")
        os.kill(os.getpid(), signal.SIGKILL)
    made = work_through(task)
    with (task.rows.parent / "log").open("a") as log:
        log.write(f"{task.item.name}\n" if made else "")
    return made


def worked_through(tasks):
    """How often each disc was worked through from its pins on (a row that stood already does not count)."""
    return Counter((tasks[0].rows.parent / "log").read_text().splitlines())


def kill_own_worker_always(task: DiscTask) -> bool:
    if task.item.name == "disc 2":
        os.kill(os.getpid(), signal.SIGKILL)
    return work_through(task)


def tasks_of(folder):
    rows = folder / "collection" / "rows"
    rows.mkdir(parents=True)
    return [DiscTask(item, rows, identify=False) for item in find_items(folder, folder / "collection/jobs")]


def test_a_killed_worker_loses_nothing(folder):
    tasks = tasks_of(folder)
    done = [task.item.name for task, made in run_here(tasks, 2, kill_own_worker_once) if made is not None]
    assert sorted(done) == sorted(task.item.name for task in tasks)
    store = RowStore(tasks[0].rows)
    assert all(store.load(t.item.name, str(t.item.job)) for t in tasks)
    assert worked_through(tasks) == {task.item.name: 1 for task in tasks}


def test_a_disc_that_always_kills_its_worker_is_given_up_and_the_rest_done(folder):
    results = {t.item.name: made for t, made in run_here(tasks_of(folder)[:4], 1, kill_own_worker_always)}
    assert results.pop("disc 2") is None
    assert len(results) == 3
    assert None not in results.values()


@pytest.mark.slow
def test_a_cluster_with_one_worker_killed_midway(folder):
    from distributed import LocalCluster

    tasks = tasks_of(folder)
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        results = list(run_on_cluster(tasks, cluster.scheduler_address, kill_own_worker_once))
    assert sorted(task.item.name for task, _ in results) == sorted(task.item.name for task in tasks)
    assert all(made is not None for _, made in results)
    store = RowStore(tasks[0].rows)
    assert all(store.load(t.item.name, str(t.item.job))[0].status == DONE for t in tasks)
    assert worked_through(tasks) == {task.item.name: 1 for task in tasks}
    assert len(list(tasks[0].rows.glob("*/*.json"))) == len(tasks)
    assert list(tasks[0].rows.glob("*/*.tmp")) == []


def test_discs_go_out_in_order_by_a_tenth_of_a_second_of_work(folder, monkeypatch):
    monkeypatch.setattr(DiscTask, "usual_ms", property(lambda task: 60 if task.identify else 4))
    tasks = [task for task in tasks_of(folder) for _ in range(5)]  # 30 discs of 4 ms
    tunes = [replace(task, identify=True) for task in tasks]  # of 60 ms
    made = list(batches([*tasks[:2], tunes[0], *tasks]))
    assert [task for batch in made for task in batch] == [*tasks[:2], tunes[0], *tasks]
    assert [len(batch) for batch in made] == [11, 22]  # 2 x 4 + 60 + 8 x 4 ms, then what is left
    assert [len(batch) for batch in batches(tunes)] == [2] * 15


def threads_of_a_worker(task: DiscTask) -> bool:
    import cv2
    import threadpoolctl

    return cv2.getNumThreads() == 1 and all(pool["num_threads"] == 1 for pool in threadpoolctl.threadpool_info())


def test_workers_have_one_thread_each(folder, monkeypatch):
    for name in THREAD_NAMES:
        monkeypatch.delenv(name, raising=False)
    assert [one_threaded for _, one_threaded in run_here(tasks_of(folder)[:1], 1, threads_of_a_worker)] == [True]


DAMAGES = ({"diameter_mm": "wide"}, {"tracks": True}, {"seconds": 10**400}, {"name": "\ud800"})


def test_damaged_rows_are_made_again(folder):
    collect(folder, identify=False)
    paths = sorted((folder / "collection/rows").glob("*/*.json"))[: len(DAMAGES)]
    contents = [json.loads(path.read_text()) for path in paths]
    for path, content, damage in zip(paths, contents, DAMAGES, strict=True):
        path.write_text(json.dumps(content | {"row": content["row"] | damage}))
    again = collect(folder, identify=False)
    assert (again.made, again.kept, again.failed) == (4, 2, 0)
    for path, content in zip(paths, contents, strict=True):
        assert json.loads(path.read_text())["row"] | {"seconds": 0} == content["row"] | {"seconds": 0}


def test_no_scheduler_there(folder, monkeypatch):
    monkeypatch.setattr(runners, "SCHEDULER_PATIENCE_S", 0.5)
    with pytest.raises(BadInput, match="no scheduler answers there"):
        list(run_on_cluster(tasks_of(folder), "tcp://127.0.0.1:9"))


BASE = DiscRow(
    "a", "a", DONE, diameter_mm=28.0, inner_r_mm=4.5, outer_r_mm=12.0, track_gap_mm=0.5, pin_diameter_mm=0.25, tracks=20
)


def test_discs_with_the_same_habits_are_grouped():
    rows = [
        BASE,
        replace(BASE, name="b", diameter_mm=28.2, inner_r_mm=4.55),
        replace(BASE, name="c", track_gap_mm=0.62),
        replace(BASE, name="d", diameter_mm=None),
    ]
    assert [group["discs"] for group in same_habits(rows)] == [["a", "b"]]


def test_grouping_joins_what_a_comparison_of_every_pair_joins():
    rng = np.random.default_rng(20260311)
    spread = {"diameter_mm": 1.5, "inner_r_mm": 0.7, "outer_r_mm": 0.9, "track_gap_mm": 0.14, "pin_diameter_mm": 0.16}
    rows = [
        replace(
            BASE,
            name=f"{n:03d}",
            tracks=20 + int(rng.integers(5)),
            **{habit: getattr(BASE, habit) + rng.uniform(0.0, wide) for habit, wide in spread.items()},
        )
        for n in range(150)
    ]
    # Reference: scipy's single linkage, in the metric of the habit that differs most.
    from scipy.cluster.hierarchy import fcluster, linkage

    habits = np.array([[getattr(row, habit) / reach for habit, reach in REACH.items()] for row in rows])
    numbers = fcluster(linkage(habits, "single", "chebyshev"), 1.0 + 1e-9, "distance")
    wanted = [[row.name for row, n in zip(rows, numbers, strict=True) if n == k] for k in set(numbers)]
    found = [group["discs"] for group in same_habits(rows)]
    assert len(found) > 3
    assert sorted(found) == sorted(group for group in wanted if len(group) > 1)


def test_one_tune_on_several_discs():
    known = replace(BASE, tune_file="x/y.abc", tune_number="7", tune_title="The Lea Rig", tune_probability=0.99)
    rows = [known, replace(known, name="b"), replace(known, name="c", tune_probability=0.1), replace(known, name="d")]
    assert [(g["title"], g["discs"]) for g in same_tune(rows)] == [("The Lea Rig", ["a", "b", "d"])]


def test_by_command(folder):
    code = "from disc.cli import main; main()"
    run = [sys.executable, "-c", code, "collect", str(folder), "--no-identify", "--workers", "1", "--json"]
    done = subprocess.run(run, capture_output=True, text=True)
    assert json.loads(done.stdout)["discs"] == 6
    wrong = subprocess.run([*run[:4], str(folder / "none")], capture_output=True, text=True)
    assert (wrong.returncode, len(wrong.stderr.splitlines())) == (2, 1)
