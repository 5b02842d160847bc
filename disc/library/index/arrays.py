"""Files of the index that grow while they are written: arrays as .npy, and rows of words as lines of JSON.

Nothing of them is kept in memory while writing; reading is memory-mapped.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt


class GrowingArray:
    """A one-dimensional .npy file that takes part after part; its length is written when it is closed."""

    def __init__(self, path: Path, kind: npt.DTypeLike) -> None:
        self.kind = np.dtype(kind)
        self.size = 0
        self._file: BinaryIO = path.open("wb")
        self._write_header()

    def append(self, part: npt.NDArray[Any]) -> None:
        """Add numbers at the end."""
        self._file.write(np.ascontiguousarray(part, dtype=self.kind).data)
        self.size += part.size

    def close(self) -> None:
        """Write the length into the header, which numpy leaves room for, and close."""
        self._file.seek(0)
        self._write_header()
        self._file.close()

    def _write_header(self) -> None:
        content = {"descr": np.lib.format.dtype_to_descr(self.kind), "fortran_order": False, "shape": (self.size,)}
        np.lib.format.write_array_header_1_0(self._file, content)
        self._file.flush()

    def __enter__(self) -> GrowingArray:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


class RowsWriter:
    """Rows of words and numbers, one JSON line each; `<name>.jsonl` and where each line ends, `<name>-end.npy`."""

    def __init__(self, folder: Path, name: str) -> None:
        self._file = (folder / f"{name}.jsonl").open("wb")
        self._ends = GrowingArray(folder / f"{name}-end.npy", np.int64)
        self._at = 0

    def append(self, rows: Sequence[Sequence[object]]) -> None:
        """Add rows at the end."""
        self._add([json.dumps(list(row), ensure_ascii=False).encode("utf-8") + b"\n" for row in rows])

    def _add(self, lines: Sequence[bytes]) -> None:
        self._file.write(b"".join(lines))
        ends = self._at + np.cumsum([len(line) for line in lines], dtype=np.int64)
        self._ends.append(ends)
        self._at = int(ends[-1]) if lines else self._at

    def copy(self, rows: WrittenRows, keep: npt.NDArray[np.bool_]) -> None:
        """Add the rows of another file that are to be kept, as they are written."""
        lines = rows.lines()
        kept = lines if keep.all() else [line for line, wanted in zip(lines, keep.tolist(), strict=True) if wanted]
        self._add(kept)

    def close(self) -> None:
        """Finish both files."""
        self._file.close()
        self._ends.close()


class WrittenRows(Sequence[Sequence[object]]):
    """Rows as written, read one at a time. Raises ValueError or OSError where the files are damaged."""

    def __init__(self, folder: Path, name: str) -> None:
        self._text = np.memmap(folder / f"{name}.jsonl", mode="r", dtype=np.uint8)
        self._ends = np.load(folder / f"{name}-end.npy", mmap_mode="r")
        if self._ends.size == 0 or int(self._ends[-1]) != self._text.size:
            raise ValueError("the titles of the library do not fit its list")

    def __len__(self) -> int:
        return int(self._ends.size)

    def __getitem__(self, place: Any) -> Any:
        if isinstance(place, slice):
            return [self[i] for i in range(*place.indices(len(self)))]
        begin = int(self._ends[place - 1]) if place else 0
        row = json.loads(self._text[begin : int(self._ends[place])].tobytes())
        if not isinstance(row, list):
            raise ValueError("a line of the library's titles is no row")
        return row

    def lines(self) -> list[bytes]:
        """All rows as they are written."""
        return self._text.tobytes().splitlines(keepends=True)

    def first_words(self) -> list[str]:
        """The first value of each row. Rows with the same one mostly follow each other and are then read once."""
        out: list[str] = []
        begin = b""
        for line in self.lines():
            if not begin or not line.startswith(begin):
                out.append(str(json.loads(line)[0]))
                begin = b"[" + json.dumps(out[-1], ensure_ascii=False).encode("utf-8") + b", "
            else:
                out.append(out[-1])
        return out

    def place_of(self, beginning: Sequence[object]) -> int | None:
        """Number of the first row that begins with these values; None: there is none."""
        wanted = json.dumps(list(beginning), ensure_ascii=False).encode("utf-8")[:-1] + b","
        text: Any = self._text
        blob = memoryview(text).tobytes() if text.size < 1 << 28 else text._mmap
        at = 0 if blob[: len(wanted)] == wanted else blob.find(b"\n" + wanted) + 1
        if at == 0 and blob[: len(wanted)] != wanted:
            return None
        return int(np.searchsorted(self._ends, at, side="right"))
