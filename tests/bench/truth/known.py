"""What a made truth always knows, taken out of a field that may be unknown elsewhere."""

from __future__ import annotations

from typing import TypeVar

Value = TypeVar("Value")


def known(value: Value | None, what: str) -> Value:
    """The value. Raises ValueError where it is unknown: no bench may go on with 0 in its place."""
    if value is None:
        raise ValueError(f"{what} is not known, and is needed here")
    return value
