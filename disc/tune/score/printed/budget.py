"""A bound on the processor time a score reader may spend: the second line of defence behind score_safety's counts.

music21 re-bars some ABC files in time that grows with the square of their length; no count taken beforehand tells
which. The bound works where the system offers a processor-time timer (not on Windows) and in a program's main thread;
elsewhere only the counts protect.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

from disc.errors import BadInput

# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
BUDGET_S = 4.5  # of processor time for one tune, so that reading and refusing stay within five seconds together


class _TooSlow(BaseException):
    """Not an Exception, so that no reader's own `except Exception` swallows it."""


def _stop(_signal: int, _frame: FrameType | None) -> None:
    raise _TooSlow


def _has_timer() -> bool:
    return hasattr(signal, "setitimer") and threading.current_thread() is threading.main_thread()


@contextmanager
def time_budget(path: Path) -> Iterator[None]:
    """Raises BadInput if the block takes more than BUDGET_S of processor time."""
    if not _has_timer():
        yield
        return
    before = signal.signal(signal.SIGVTALRM, _stop)
    signal.setitimer(signal.ITIMER_VIRTUAL, BUDGET_S)
    try:
        yield
    except _TooSlow:
        raise BadInput(
            f"{path}: not read, for it takes more than 5 s; its bars do not fit its metre, or it is very long. "
            "Save only the tune you need."
        ) from None
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)
