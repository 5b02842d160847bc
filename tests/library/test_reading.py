"""Taking tunes in: only what is new is read, a stopped reading goes on where it was, and no worker outlives it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from disc.library.index import library_store as store
from disc.library.index import own_collections
from disc.library.read import read_files as reading
from disc.library.search.asked.query import make_query
from disc.library.search.find_tunes import find_tunes
from disc.words import no_progress

NOTES = "CDEFGABcdefgab"


def tune(number: int) -> str:
    rng = np.random.default_rng(number)
    bars = "|".join("".join(rng.choice(list(NOTES), 4)) for _ in range(8))
    return f"X:1\nT:Invented {number}\nC:Nobody {number}\nM:4/4\nL:1/4\nK:G\n{bars}|\n"


@pytest.fixture
def own(tmp_path, monkeypatch):
    """A folder of twelve tunes that is the whole library but for two of the corpus."""
    monkeypatch.setattr(reading, "CORPUS_COLLECTIONS", ("nottingham-dataset",))
    monkeypatch.setenv("DISC_LIBRARY", str(tmp_path / "library"))
    folder = tmp_path / "songs"
    folder.mkdir()
    for number in range(12):
        (folder / f"{number:02d}.abc").write_text(tune(number))
    own_collections.add_folder(folder)
    return folder


@pytest.fixture
def read(monkeypatch):
    """The names of the files that are read, as they are."""
    names: list[str] = []
    whole = reading.read_file

    def noted(path, *rest):
        names.append(path.name)
        return whole(path, *rest)

    monkeypatch.setattr(reading, "read_file", noted)
    monkeypatch.setattr(store, "_workers", lambda: 1)
    return names


def content(index) -> dict[str, tuple]:
    out = {}
    for i in range(index.size):
        one = index.reference(i)
        out[str(one.key)] = (one.title, one.composer, one.collection, one.pitch.tolist(), one.onset_tick.tolist())
    return out


def same_groups(a, b) -> bool:
    place = {str(b.key(i)): i for i in range(b.size)}
    twin = [place[str(a.key(i))] for i in range(a.size)]
    ours, theirs = np.asarray(a.group[:]), np.asarray(b.group[:])[twin]
    return bool(((ours[:, None] == ours) == (theirs[:, None] == theirs)).all())


def test_only_what_is_new_or_changed_is_read_and_the_library_is_as_if_built_anew(own, read, tmp_path, monkeypatch):
    store.build_library(no_progress)
    read.clear()
    (own / "12.abc").write_text(tune(12))
    (own / "03.abc").write_text(tune(3).replace("Invented 3", "Invented 7") + "\n" + tune(33).replace("X:1", "X:2"))
    (own / "05.abc").unlink()
    (own / "broken.abc").write_text("nothing")
    changed = store.build_library(no_progress, anew=False)
    assert sorted(read) == ["03.abc", "12.abc", "broken.abc"]
    assert [one.why for one in changed.broken] == ["no tune with notes in it"]
    read.clear()
    again = store.build_library(no_progress, anew=False)
    assert read == [] and [one.path for one in again.broken] == [str(own / "broken.abc")]
    fresh = store.build_library(no_progress, tmp_path / "fresh").index  # no sources of its own: only the corpus
    monkeypatch.setenv("DISC_LIBRARY", str(tmp_path / "anew"))
    own_collections.add_folder(own)
    fresh = store.build_library(no_progress).index
    assert content(again.index) == content(fresh)
    assert "songs/05.abc:1" not in content(fresh) and content(fresh)["songs/12.abc:1"][1] == "Nobody 12"
    assert same_groups(again.index, fresh)
    for postings in ("by_pitch", "by_rank", "by_gram"):
        ours, theirs = getattr(again.index, postings), getattr(fresh, postings)
        assert ours.key.tolist() == theirs.key.tolist() and ours.start.tolist() == theirs.start.tolist()
    asked = again.index.reference(
        again.index.tune_of(next(k for k in map(again.index.key, range(16)) if k.number == 2))
    )
    query = make_query(asked.onset_quarter * 0.4, asked.pitch.astype(float), None, "asked")
    assert next(m.key for m in find_tunes(again.index, query, 3)) == asked.key


def test_a_single_file_is_a_collection_and_can_go_again(own, read, tmp_path):
    store.build_library(no_progress)
    read.clear()
    one = tmp_path / "waltz.abc"
    one.write_text(tune(99))
    own_collections.add_folder(one)
    assert "waltz.abc/waltz.abc:1" in content(store.build_library(no_progress, anew=False).index)
    assert read == ["waltz.abc"]
    own_collections.remove_collection("waltz.abc")
    left = store.build_library(no_progress, anew=False).index
    assert "waltz.abc" not in left.collections and left.size == 14 and read == ["waltz.abc"]


SLOW = """
import sys, time
from disc.library.index import library_store as store
from disc.library.read import read_files as reading
from disc.library.records import TuneKey
from disc.words import no_progress
reading.CORPUS_COLLECTIONS = ("nottingham-dataset",)
whole = reading.read_file
def slow(path, *rest):
    time.sleep(0.4)
    return whole(path, *rest)
reading.read_file = slow
reading.FILES_AT_ONCE = 1
store._workers = lambda: 2
store.build_library(no_progress)
"""


def children(pid: int) -> list[int]:
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            if int(stat.read_text().rsplit(")", 1)[1].split()[1]) == pid:
                found.append(int(stat.parent.name))
        except (OSError, IndexError):  # it ended meanwhile
            continue
    return found


def is_alive(pid: int) -> bool:
    """Whether a process still runs (one that has ended and waits to be looked after does not)."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def wait_for(what, seconds: float) -> bool:
    until = time.monotonic() + seconds
    while not what():
        if time.monotonic() > until:
            return False
        time.sleep(0.05)
    return True


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are told by /proc")
def test_a_killed_reading_leaves_no_worker_and_goes_on_where_it_was(own, read, tmp_path):
    spool = tmp_path / "library" / "reading"
    parent = subprocess.Popen([sys.executable, "-c", SLOW], env=dict(os.environ), stdout=subprocess.PIPE)
    assert wait_for(lambda: len(list(spool.glob("*.npz"))) >= 3, 60)
    workers = children(parent.pid)
    assert len(workers) == 2
    parent.send_signal(signal.SIGKILL)
    parent.wait()
    kept = len(list(spool.glob("*.npz")))
    assert wait_for(lambda: not any(map(is_alive, workers)), 20)
    assert parent.stdout is not None and parent.stdout.read() == b""  # nobody holds the pipe
    (spool / "0.npz").write_bytes(b"cut off")  # a damaged batch is read again
    index = store.build_library(no_progress).index
    assert index.size == 14
    assert len(read) == 13 - kept + 1
    assert not spool.exists()
