"""Who does the work: processes of this machine, or the workers of a Dask cluster.

Both take the tasks as they come and hold only a few of them at a time, so that memory does not grow with the
collection, and both outlive a worker that dies: the disc it held is done again by another, and since each row is
written by itself nothing else is lost or done twice.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from itertools import islice
from multiprocessing import get_context

from disc.collect.one_disc import Task, work_through
from disc.errors import BadInput, MissingPart

# Tasks handed out ahead of the workers: enough to keep them busy, few enough to keep memory flat.
AHEAD = 4
# A disc that kills its worker this often is the cause, not the victim.
TRIES = 3

Work = Callable[[Task], bool]


def run_here(tasks: Iterable[Task], workers: int, work: Work = work_through) -> Iterator[tuple[Task, bool | None]]:
    """(task, made now) as each is done, by processes of this machine; None where it killed its worker TRIES times."""
    waiting = iter(tasks)
    more = True
    while more:
        held: dict[Future[bool], Task] = {}
        try:
            with _pool(workers) as pool:
                while True:
                    for task in islice(waiting, max(workers * AHEAD - len(held), 0)):
                        held[pool.submit(work, task)] = task
                    if not held:
                        more = False
                        break
                    done, _ = wait(held, return_when=FIRST_COMPLETED)
                    for future in done:
                        made = future.result()
                        yield held.pop(future), made
        except BrokenProcessPool:
            # Any of those in hand may have been the cause: each is tried by itself.
            for task in held.values():
                yield task, _alone(task, work)


def _pool(workers: int) -> ProcessPoolExecutor:
    # "spawn": a worker that was forked would inherit locks and threads of libraries.
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_one_thread)


def _one_thread() -> None:
    """Workers share the cores; threads within them would only push each other aside. Read when OpenCV is imported."""
    os.environ.setdefault("OPENCV_FOR_THREADS_NUM", "1")


def _alone(task: Task, work: Work) -> bool | None:
    for _ in range(TRIES):
        try:
            with _pool(1) as pool:
                return pool.submit(work, task).result()
        except BrokenProcessPool:
            continue
    return None


def run_on_cluster(
    tasks: Iterable[Task], scheduler: str, work: Work = work_through
) -> Iterator[tuple[Task, bool | None]]:
    """(task, made now) as each is done, by the workers of a Dask cluster that share this file system.

    Raises MissingPart without the extra "collection", BadInput if no scheduler answers.
    """
    try:
        from distributed import Client, as_completed
        from distributed.scheduler import KilledWorker
    except ImportError:
        raise MissingPart("a cluster needs the extra: pip install 'disc[collection]'") from None
    try:
        client = Client(scheduler, timeout=5)
    except (OSError, ValueError) as error:
        raise BadInput(f"{scheduler}: no scheduler answers there ({error}). Check the address.") from error
    with client:
        waiting = iter(tasks)
        cores = max(sum(client.ncores().values()), 1)
        first = list(islice(waiting, cores * AHEAD))
        names = {}

        def submit(task: Task) -> object:
            future = client.submit(work, task, pure=False, retries=TRIES)
            names[future.key] = task
            return future

        ready = as_completed([submit(task) for task in first])
        for future in ready:
            task = names.pop(future.key)
            try:
                made: bool | None = future.result()
            except KilledWorker:
                made = None
            future.release()
            for more in islice(waiting, 1):
                ready.add(submit(more))
            yield task, made
