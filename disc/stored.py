"""Everything kept as JSON in a job comes back through here: one model a kind of file, one line where it is damaged.

A kind of file is said once, as a `Stored`: what people call it, the record it holds, its schema, and what to do where
it cannot be read. Files are text with a number "schema" beside the record's fields; exact fractions stand as "3/2".
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, NoReturn, TypeVar

from disc.errors import BadInput
from disc.tables import read_text

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Stored(Generic[T]):
    """One kind of stored file. what: its name for people; model: the record (a dataclass or a pydantic model) it holds.

    remedy: what to do where it is damaged; JOB in it becomes the job's folder. check: raises ValueError for what no
    type can refuse. unmarked: earlier versions wrote no schema into such a file; it is of schema 1 then.
    """

    what: str
    model: type[T]
    remedy: str
    schema: int = 1
    check: Callable[[T], None] | None = None
    unmarked: bool = False

    def load(self, path: Path) -> T | None:
        """The record in a file; None if there is no file. Raises BadInput, in one line, if it cannot be used."""
        return self.parse(read_text(path, self.what), path) if path.is_file() else None

    def load_or(self, path: Path, otherwise: T) -> T:
        """The record in a file that nobody misses: without one, or with a damaged one, the other value."""
        try:
            found = self.load(path)
        except BadInput:
            return otherwise
        return otherwise if found is None else found

    def parse(self, text: str, path: Path) -> T:
        """The record in this text. path: where it stood, for the message. Raises BadInput."""
        try:
            raw = json.loads(text, parse_constant=_no_number)
            if not isinstance(raw, dict):
                raise ValueError("it holds no table")
            version = raw.pop("schema", 1 if self.unmarked else None)
            if not isinstance(version, int) or isinstance(version, bool):
                raise ValueError("it says no schema")
        except (ValueError, RecursionError) as error:
            raise self.damaged(path, error) from error
        if version > self.schema:
            raise BadInput(
                f"{path}: {self.what} of schema {version}, this program knows {self.schema}. Update the program."
            )
        if version < self.schema:
            raise BadInput(f"{path}: made by an older version of this program. {self._advice(path)}")
        return self.record(raw, path)

    def record(self, raw: object, path: Path) -> T:
        """The record in plain JSON values. Raises BadInput."""
        from pydantic import ValidationError

        try:
            found = _adapter(self.model).validate_python(raw)
            if self.check is not None:
                self.check(found)
        except ValidationError as error:
            raise self.damaged(path, first_fault(error)) from error
        except (ValueError, TypeError, ArithmeticError, RecursionError) as error:
            raise self.damaged(path, error) from error
        return found

    def text(self, value: T) -> str:
        """The file's text, the inverse of parse."""
        fields = _adapter(self.model).dump_json(value, indent=1).decode()  # at once: thousands of corrections are usual
        return f'{{\n "schema": {self.schema},{fields[1:]}\n' if fields != "{}" else json_text({"schema": self.schema})

    def damaged(self, path: Path, why: object) -> BadInput:
        """The one line for a file of this kind that cannot be read."""
        reason = " ".join(str(why).split())[:160]
        return BadInput(f"{path}: the {self.what} is damaged ({reason}). {self._advice(path)}")

    def _advice(self, path: Path) -> str:
        return self.remedy.replace("JOB", str(path.parent.parent if path.parent.name == "out" else path.parent))


def json_text(content: dict[str, Any]) -> str:
    """Plain values as the text of a file that people may open too."""
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"


def first_fault(error: Any) -> str:
    """The first thing a model refused: where in the file, why, and what stood there. error: a ValidationError."""
    fault = error.errors()[0]
    where = ".".join(str(part) for part in fault["loc"])
    given = f" (given: {repr(fault['input'])[:40]})" if not isinstance(fault["input"], dict | list | tuple) else ""
    return f"{where}: {fault['msg'].lower()}{given}"


_adapters: dict[Any, Any] = {}


def _adapter(model: Any) -> Any:
    """Built once a model, when it is first needed: building takes some milliseconds."""
    if model not in _adapters:
        from pydantic import TypeAdapter

        _adapters[model] = TypeAdapter(model)
    return _adapters[model]


def _no_number(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number")
