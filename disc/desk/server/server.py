"""The server of one desk: 127.0.0.1 only, one desk a job, ended with Ctrl-C."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import socket
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from disc.desk.open_job.session import Session
from disc.desk.server import place
from disc.desk.server.guard import Guard
from disc.errors import BadInput, JobBusy
from disc.job import JOB_FILE, PHOTO_FOLDER, open_job

DESK_LOCK = ".desk.lock"
DESK_ADDRESS = ".desk.json"  # where the desk that holds the lock is; without the key
# How long the thread that thinks may keep the others waiting: an edit writes in some forty small steps, and before each
# of them it waits so long. Chosen: with Python's own 5 ms an edit during a thought took twice as long.
HAND_OVER_S = 0.0005
# Unless said otherwise: chosen by hand, not measured.
OUTSIDE_LOOK_S = 2.0  # how often the job is looked at for changes made by other commands


@contextmanager
def only_desk(folder: Path) -> Iterator[Callable[[str], None]]:
    """Hold the job's place at the desk. Yields a function to call with the desk's address.

    Raises JobBusy, naming the other desk, if one is open on this job. The lock falls with its process, however it ends.
    """
    from filelock import FileLock, Timeout

    made = _make_room(folder)
    lock = FileLock(folder / DESK_LOCK, timeout=0)
    try:
        lock.acquire()
    except Timeout:
        raise JobBusy(
            f"{folder}: a desk is open on this job already, {_other_desk(folder)}. Use that one, or end it."
        ) from None
    try:
        yield lambda address: _write_address(folder, address)
    finally:
        (folder / DESK_ADDRESS).unlink(missing_ok=True)
        lock.release()
        (folder / DESK_LOCK).unlink(missing_ok=True)
        if made and not any(folder.iterdir()):
            folder.rmdir()


def _make_room(folder: Path) -> bool:
    """Make the folder of a job that is to be started from the page; whether it was made."""
    try:
        if folder.is_dir():
            if not (folder / JOB_FILE).exists() and not (folder / PHOTO_FOLDER).exists() and any(folder.iterdir()):
                raise BadInput(f"{folder}: this folder holds no job, but other things. Choose a new or empty folder.")
            return False
        folder.mkdir(parents=True)
    except FileExistsError:
        raise BadInput(f"{folder}: this is a file, not a folder. Choose another name for the job.") from None
    except OSError as error:
        raise BadInput(f"{folder}: the desk cannot be set up there ({error.strerror or error}).") from error
    return True


def _write_address(folder: Path, address: str) -> None:
    (folder / DESK_ADDRESS).write_text(json.dumps({"address": address, "process": os.getpid()}), encoding="utf-8")


def _other_desk(folder: Path) -> str:
    try:
        other = json.loads((folder / DESK_ADDRESS).read_text(encoding="utf-8"))
        return f"at {other['address']} (process {other['process']})"
    except (OSError, ValueError, KeyError, TypeError):
        return "just being set up"


def run_desk(folder: Path, opened: Callable[[str, Path], None], port: int = 0, earlier: Path | None = None) -> None:
    """Serve the desk of a job until the process is told to stop.

    opened: called once with the address (and key) to open in a browser, and with a file of this user's own that leads
    there. port 0: any free one. earlier: a job that
    holds an earlier reading of the same disc, to compare with. Raises JobBusy if a desk is open on it already,
    BadInput if one of the folders holds no job.
    """
    if earlier is not None:
        open_job(earlier)  # a wrong name is told now, not when the slider is moved
    with only_desk(folder) as tell, tempfile.TemporaryDirectory(prefix="disc-desk-") as uploads:
        session = Session(folder)
        sys.setswitchinterval(HAND_OVER_S)
        try:
            asyncio.run(_serve(session, opened, tell, port, Path(uploads), earlier))
        finally:
            session.close()


async def _serve(
    session: Session,
    opened: Callable[[str, Path], None],
    tell: Callable[[str], None],
    port: int,
    uploads: Path,
    earlier: Path | None,
) -> None:
    from tornado import httpserver

    from disc.desk.server.api import make_application
    from disc.desk.server.handlers import LONGEST_REQUEST_BYTES

    loop = asyncio.get_running_loop()
    session.news.bind(loop)
    before = place.kept(session.folder)
    sockets, key = _sockets(port, before)
    rules = Guard(sockets[0].getsockname()[1], **({"key": key} if key else {}))
    place.keep(session.folder, place.DeskPlace(rules.port, rules.key))
    application = make_application(session, rules, uploads, earlier)
    # Longer bodies are the uploads', which say so and go to the disk piece by piece.
    server = httpserver.HTTPServer(application, max_body_size=LONGEST_REQUEST_BYTES)
    server.add_sockets(sockets)
    tell(rules.address)
    ended = asyncio.Event()
    for name in (signal.SIGINT, signal.SIGTERM):
        with suppress(NotImplementedError):  # Windows: Ctrl-C raises KeyboardInterrupt by itself
            loop.add_signal_handler(name, ended.set)
    opened(rules.first_address, _entry_file(uploads, rules.first_address))
    await watch_until(ended, session)
    server.stop()
    session.news.close()
    await server.close_all_connections()


def _sockets(port: int, before: place.DeskPlace | None) -> tuple[list[socket.socket], str]:
    """Sockets on this port; on 0, where this job's desk was last, so that a page left open finds it again, or any free
    one. Returns the key that goes with that place too, empty for a fresh one. Raises BadInput."""
    from tornado import netutil

    if port == 0 and before is not None:
        with suppress(OSError):
            return netutil.bind_sockets(before.port, "127.0.0.1"), before.key
    try:
        return netutil.bind_sockets(port, "127.0.0.1"), ""
    except OSError as error:
        raise BadInput(
            f"port {port} cannot be used ({error.strerror or error}). Choose another, or leave it out."
        ) from error


def _entry_file(folder: Path, address: str) -> Path:
    """A page that leads to the desk, in a folder that only this user can read."""
    path = folder / "open-desk.html"
    path.write_text(f'<!doctype html><title>Desk</title><meta http-equiv="refresh" content="0;url={address}">\n')
    return path


async def watch_until(ended: asyncio.Event, session: Session) -> None:
    """Wait for the end; meanwhile look now and then whether another command changed the job.

    The look is taken by the writing thread, so that it never falls into the middle of the desk's own step; it is not
    waited for, so that a long step does not keep the desk from ending.
    """
    looking: asyncio.Future[None] | None = None
    while not ended.is_set():
        with suppress(TimeoutError):
            await asyncio.wait_for(ended.wait(), OUTSIDE_LOOK_S)
        if not ended.is_set() and (looking is None or looking.done()):
            looking = asyncio.get_running_loop().run_in_executor(session.bench, session.notice_outside_change)
