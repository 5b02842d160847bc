"""Linear algebra on one thread: the matrices of this room have a hundred rows or so, too few to share.

With two threads one of them mostly waits, and waiting costs processor time: a turn takes twice as much of it, and half
as long again on a busy machine.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from threadpoolctl import threadpool_limits

P = ParamSpec("P")
R = TypeVar("R")


def on_one_thread(function: Callable[P, R]) -> Callable[P, R]:
    """The function, with numpy's and scipy's linear algebra held to one thread while it runs."""

    @wraps(function)
    def held(*arguments: P.args, **named: P.kwargs) -> R:
        with threadpool_limits(limits=1, user_api="blas"):
            return function(*arguments, **named)

    return held
