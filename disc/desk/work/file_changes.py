"""Recordings and what was heard in them, added, compared and taken out as steps that can be undone.

A step of the history holds a file's digest, not the file; the file itself is kept once under its digest in the job, for
as long as a step may want it back.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from typing import Any

from disc.desk.open_job.history import ValueChange
from disc.desk.open_job.session import Session
from disc.errors import BadInput, MissingPart
from disc.job import Job, open_for_writing, sha256_of
from disc.listen.kept_recordings import RECORDINGS_FOLDER, recordings_of

KEPT_FOLDER = ".desk-kept"


def listen_files() -> tuple[str, ...]:
    """The files in which the listening room keeps a recorded turn."""
    from disc.listen.store import LISTEN_FILE, SOUND_FILE  # brings in numpy's friends, which the page must not wait for

    return LISTEN_FILE, SOUND_FILE


def with_history(session: Session, words: str, names: Callable[[], tuple[str, ...]], work: Callable[[Job], Any]) -> Any:
    """Run a room's step and note down what it did to these files and to the result "listen"."""
    with open_for_writing(session.folder) as job:
        before = {name: kept_digest(job, name) for name in names()}
        listened = job.content.results.get("listen")
        made = work(job)
        changes = [ValueChange("file", name, before.get(name), kept_digest(job, name)) for name in names()]
        changes.append(ValueChange("result", "listen", listened, job.content.results.get("listen")))
    real = tuple(change for change in changes if change.old != change.new)
    if real:
        session.load()  # the room's step is the state that this one starts from
        session.set_values(words, real)
    return made


def take_out(session: Session, name: Any) -> str:
    """Take a recording out of the job, and with it what was heard in it. Returns what to say."""
    job = session.job
    if job is None:
        raise MissingPart("There is no job here yet. Start one first.")
    if name not in recordings_of(job):
        raise BadInput("that recording does not belong to the job.")
    path = f"{RECORDINGS_FOLDER}/{name}"
    changes = [ValueChange("file", path, kept_digest(job, path), None)]
    listened = job.content.results.get("listen")
    if listened is not None and name in str(listened.get("file")).split(", "):
        changes += [ValueChange("file", one, kept_digest(job, one), None) for one in listen_files()]
        changes.append(ValueChange("result", "listen", listened, None))
    session.set_values(f"took out the recording {name}", tuple(changes))
    heard = " What was heard in it is forgotten too." if len(changes) > 1 else ""
    return f"{name} no longer belongs to the job.{heard} Undo brings it back."


def kept_digest(job: Job, name: str) -> str | None:
    """The digest of a file of the job, of which a copy is now kept; None: there is no such file."""
    path = job.path(name)
    if not path.is_file() or path.is_symlink():
        return None
    digest = sha256_of(path)
    kept = job.path(f"{KEPT_FOLDER}/{digest}")
    if not kept.exists():
        kept.parent.mkdir(exist_ok=True)
        try:
            os.link(path, kept)  # files of a job are replaced, never written over
        except OSError:
            shutil.copyfile(path, kept)
    return digest
