"""Whole or not at all: how the files of a step come into a job's folder, and who may write there.

Files are first written into a staging folder; a journal then lists them; only then are they renamed into place. An
interrupted step without a journal is thrown away at the next opening, one with a journal is finished.
"""

from __future__ import annotations

import errno
import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from disc.errors import BadInput, DiscError, JobBusy
from disc.job.stage import Stage

if TYPE_CHECKING:
    from concurrent.futures import ThreadPoolExecutor

STAGING_FOLDER = ".staging"
JOURNAL = "journal.json"
LOCK_FILE = ".lock"
LOCK_WAIT_S = 10.0  # for another command at the same job to end; chosen by hand
MOST_AT_ONCE = 8  # files waited for side by side; an edit at the desk writes five (common practice, no source)
_done = 0  # steps that this process has brought to their end


def steps_done() -> int:
    """How many steps this process has written; a message can then say truly whether a job was changed."""
    return _done


@contextmanager
def locked(folder: Path, wait_s: float = LOCK_WAIT_S) -> Iterator[None]:
    """Hold the job's lock; one process may take it again inside. Raises JobBusy after wait_s seconds."""
    from filelock import FileLock, Timeout

    if not folder.is_dir():
        raise BadInput(f"{folder}: no job here. Run: disc start {folder}")
    lock = FileLock(folder / LOCK_FILE, is_singleton=True)
    with explained(folder):
        try:
            lock.acquire(timeout=wait_s)
        except Timeout:
            raise JobBusy(
                f"{folder}: another command is working on this job. Wait until it has ended, then run this again."
            ) from None
    try:
        yield
    finally:
        lock.release()


def commit(folder: Path, stage: Stage) -> None:
    """Make the staged files and the journal durable, give the journal its name, then rename the files in."""
    staging = folder / STAGING_FOLDER
    journal = staging / (JOURNAL + ".tmp")
    journal.write_text(json.dumps({"names": stage.names, "removed": stage.removed}), encoding="utf-8")
    _flush_all([*(staging / name for name in stage.names), journal])
    os.replace(journal, staging / JOURNAL)  # from here on the step counts as done
    global _done
    _done += 1
    _finish(folder)


def _finish(folder: Path) -> None:
    staging = folder / STAGING_FOLDER
    names, removed = _read_journal(staging)
    for name in names:
        if (staging / name).exists():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            os.replace(staging / name, folder / name)
    for name in removed:
        (folder / name).unlink(missing_ok=True)
    shutil.rmtree(staging)


def _read_journal(staging: Path) -> tuple[list[str], list[str]]:
    """(names, removed) of the step to finish. A job may come from elsewhere: its journal must not reach out of it."""
    try:
        journal = json.loads((staging / JOURNAL).read_text(encoding="utf-8"))
        names, removed = ([str(name) for name in journal[key]] for key in ("names", "removed"))
        folder = staging.resolve()
        if not all((folder / name).resolve().is_relative_to(folder) for name in (*names, *removed)):
            raise ValueError("it names a file outside the job")
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise BadInput(
            f"{staging}: the record of an interrupted step is damaged ({error}). Move this folder away to go on with "
            "the job as it was before that step."
        ) from error
    return names, removed


def recover(folder: Path) -> None:
    """Finish or throw away an interrupted step, unless another command is in the middle of it."""
    from filelock import FileLock, Timeout

    lock = FileLock(folder / LOCK_FILE, is_singleton=True)
    try:
        with lock.acquire(timeout=LOCK_WAIT_S):
            if (folder / STAGING_FOLDER / JOURNAL).exists():
                _finish(folder)
            else:
                shutil.rmtree(folder / STAGING_FOLDER, ignore_errors=True)
    except Timeout:
        return  # its owner is alive; the files in place are whole


def _flush_all(paths: list[Path]) -> None:
    """Wait until all of these stand on the disk, side by side: one after the other they take several times as long."""
    list(_flushers(os.getpid()).map(_flush, paths))


@cache
def _flushers(pid: int) -> ThreadPoolExecutor:
    """Threads that wait for the disk, kept: to begin and end them costs an edit at the desk a third of its time.

    pid: of the process that they belong to; a process forked from it has none of them.
    """
    from concurrent.futures import ThreadPoolExecutor  # `disc --help` must not wait for it

    return ThreadPoolExecutor(MOST_AT_ONCE, thread_name_prefix=f"flush-{pid}")


def _flush(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


@contextmanager
def explained(folder: Path) -> Iterator[None]:
    """Turn the system's own complaints into a line for the person at the bench."""
    try:
        yield
    except DiscError:
        raise
    except PermissionError as error:
        raise BadInput(
            f"{error.filename or folder}: no permission to write there. Choose another folder or change its rights."
        ) from error
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise BadInput(f"{folder}: the disk is full. Make room and run the command again.") from error
        if error.errno == errno.EROFS:
            raise BadInput(f"{folder}: this place can only be read. Copy the job to a folder of your own.") from error
        raise BadInput(f"{error.filename or folder}: {error.strerror or error}.") from error
