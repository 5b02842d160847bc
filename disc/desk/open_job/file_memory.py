"""What a file holds, kept in memory as long as it is the same file: nothing is read again but what was written."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Generic, TypeVar

T = TypeVar("T")
Stamp = tuple[int, int, int]


def stamp_of(path: Path) -> Stamp | None:
    """By which a change of a file is noticed: its time, its size, and which file it is; None if there is none."""
    try:
        stat = path.stat()
    except OSError:
        return None
    return stat.st_mtime_ns, stat.st_size, stat.st_ino


class FileMemory(Generic[T]):
    """One file's content. read: how it is read, also where there is no such file."""

    def __init__(self, read: Callable[[Path], T]) -> None:
        self._read = read
        self._kept: tuple[Path, Stamp | None, T] | None = None

    def get(self, path: Path) -> T:
        """What the file holds now."""
        stamp = stamp_of(path)
        if self._kept is None or self._kept[:2] != (path, stamp):
            self._kept = (path, stamp, self._read(path))
        return self._kept[2]

    def put(self, path: Path, content: T) -> None:
        """What was just written there."""
        self._kept = (path, stamp_of(path), content)
