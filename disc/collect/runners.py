"""Who does the work: processes of this machine, or the workers of a Dask cluster.

Both take the tasks as they come and hold only a few of them at a time, so that memory does not grow with the
collection, and both outlive a worker that dies: the discs it held are done again by another, and since each row is
written by itself nothing else is lost or done twice. Discs that take milliseconds are handed out by the dozen, for else
handing out would cost as much as a tenth of the work.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from itertools import islice
from multiprocessing import get_context

from disc.collect.one_disc import DiscTask, work_through
from disc.errors import BadInput, MissingPart

# Unless said otherwise: chosen by hand, not measured.
# Batches handed out ahead of the workers: enough to keep them busy, few enough to keep memory flat.
AHEAD = 3
# A batch is discs for about this long: handing out and answering take 0.4 ms and more a batch, a quick disc 8 ms.
# Longer batches would only let one worker end long after the other.
BATCH_MS = 100
# A disc that kills its worker this often is the cause, not the victim.
TRIES = 3
# A scheduler that is there answers in well under a second, also from another machine.
SCHEDULER_PATIENCE_S = 5.0
# Workers share the cores; threads within them would only push each other aside. Read when the libraries are imported.
THREAD_NAMES = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OPENCV_FOR_THREADS_NUM")

Work = Callable[[DiscTask], bool]
Batch = tuple[DiscTask, ...]
Result = tuple[DiscTask, bool | None]


def batches(tasks: Iterable[DiscTask]) -> Iterator[Batch]:
    """The tasks in their order, quick ones by the dozen, slow ones one by one."""
    held: list[DiscTask] = []
    for task in tasks:
        held.append(task)
        if sum(one.usual_ms for one in held) >= BATCH_MS:
            yield tuple(held)
            held = []
    if held:
        yield tuple(held)


def run_here(tasks: Iterable[DiscTask], workers: int, work: Work = work_through) -> Iterator[Result]:
    """(task, made now) as each is done, by processes of this machine; None where it killed its worker TRIES times."""
    waiting = batches(tasks)
    more = True
    while more:
        held: dict[Future[list[bool]], Batch] = {}
        try:
            with _pool(workers) as pool:
                while True:
                    for batch in islice(waiting, max(workers * AHEAD - len(held), 0)):
                        held[pool.submit(_do_all, work, batch)] = batch
                    if not held:
                        more = False
                        break
                    done, _ = wait(held, return_when=FIRST_COMPLETED)
                    for future in done:
                        made = future.result()
                        yield from zip(held.pop(future), made, strict=True)
        except BrokenProcessPool:
            # Any of those in hand may have been the cause: each is tried by itself.
            yield from _one_by_one([task for batch in held.values() for task in batch], work)


def _do_all(work: Work, batch: Batch) -> list[bool]:
    return [work(task) for task in batch]


def _pool(workers: int) -> ProcessPoolExecutor:
    for name in THREAD_NAMES:
        os.environ.setdefault(name, "1")  # handed down; libraries that this process has loaded stay as they are
    # "spawn": a worker that was forked would inherit locks and threads of libraries.
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"))


def _one_by_one(tasks: list[DiscTask], work: Work) -> Iterator[Result]:
    """Each task alone in hand of one worker, so that a death has one cause; a new worker after each death."""
    left, deaths = list(tasks), 0
    while left:
        try:
            with _pool(1) as pool:
                while left:
                    made: bool | None = pool.submit(work, left[0]).result()
                    yield left.pop(0), made
                    deaths = 0
        except BrokenProcessPool:
            deaths += 1
            if deaths == TRIES:
                yield left.pop(0), None
                deaths = 0


def run_on_cluster(tasks: Iterable[DiscTask], scheduler: str, work: Work = work_through) -> Iterator[Result]:
    """(task, made now) as each is done, by the workers of a Dask cluster that share this file system.

    Raises MissingPart without the extra "collection", BadInput if no scheduler answers.
    """
    try:
        from distributed import Client, as_completed
        from distributed.scheduler import KilledWorker
    except ImportError:
        raise MissingPart("a cluster needs the extra: pip install 'disc[collection]'") from None
    try:
        client = Client(scheduler, timeout=SCHEDULER_PATIENCE_S)
    except (OSError, ValueError) as error:
        raise BadInput(f"{scheduler}: no scheduler answers there ({error}). Check the address.") from error
    with client:
        waiting = batches(tasks)
        cores = max(sum(client.ncores().values()), 1)
        held: dict[object, Batch] = {}

        def submit(batch: Batch) -> object:
            future = client.submit(partial(_do_all, work), batch, pure=False, retries=TRIES)
            held[future.key] = batch
            return future

        ready = as_completed([submit(batch) for batch in list(islice(waiting, cores * AHEAD))])
        for future in ready:
            batch = held.pop(future.key)
            try:
                yield from zip(batch, future.result(), strict=True)
            except KilledWorker:
                if len(batch) == 1:
                    yield batch[0], None
                for task in batch if len(batch) > 1 else ():
                    ready.add(submit((task,)))
            future.release()
            for more in islice(waiting, 1):
                ready.add(submit(more))
