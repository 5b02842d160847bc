"""The files of one step of a job, gathered in a folder of their own until all of them are whole."""

from __future__ import annotations

import shutil
from pathlib import Path

from disc.errors import BadInput


class Stage:
    """Files of one step, gathered in the staging folder until all are whole. Paths are relative to the job."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.names: list[str] = []
        self.removed: list[str] = []

    def path(self, name: str) -> Path:
        """Where to write the file that will become `name` in the job folder."""
        target = self._folder / name
        if not target.resolve().is_relative_to(self._folder.resolve()):
            raise BadInput(f"{name}: a file of a job must lie inside the job folder.")
        target.parent.mkdir(parents=True, exist_ok=True)
        if name not in self.names:
            self.names.append(name)
        return target

    def write_text(self, name: str, text: str) -> None:
        """Stage a text file (UTF-8)."""
        self.path(name).write_text(text, encoding="utf-8", newline="\n")

    def write_bytes(self, name: str, data: bytes) -> None:
        """Stage a binary file."""
        self.path(name).write_bytes(data)

    def copy_in(self, source: Path, name: str) -> None:
        """Stage a copy of a file from outside."""
        shutil.copyfile(source, self.path(name))

    def remove(self, name: str) -> None:
        """The file `name` of the job goes away with this step."""
        self.removed.append(name)
