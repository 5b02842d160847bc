"""The terminal as it is found: any alphabet, a closed stream, libraries that talk, words that could command it.

Only cli.py prepares the streams; words.py makes what is printed harmless.
"""

from __future__ import annotations

import os
import sys
import unicodedata

# Unless said otherwise: chosen by hand, not measured.
LONGEST_LINE = 600  # letters of a message; one that quotes a file may have thousands
KEPT_AT_THE_END = 160  # letters of such a message that its end keeps: there stands what to do. Chosen by hand


def printable(words: str) -> str:
    """Words without control characters, which could move the cursor, colour or rename a terminal; line ends stay."""
    return "".join(c if c in "\n\t" or unicodedata.category(c) not in ("Cc", "Cf") else "·" for c in words)


def one_line(words: str) -> str:
    """A message as one line, its middle left out where it is too long to read."""
    line = printable(" ".join(words.split()))
    if len(line) <= LONGEST_LINE:
        return line
    return f"{line[: LONGEST_LINE - KEPT_AT_THE_END]} … {line[-KEPT_AT_THE_END:]}"


def prepare_streams() -> None:
    """Letters the terminal has not are replaced, a closed stream takes what is said, and libraries keep silent.

    Native libraries write to descriptor 2 by themselves; ours goes to a copy of it. DISC_TRACEBACK leaves all as it is.
    """
    for name, descriptor in (("stdout", 1), ("stderr", 2)):
        stream = getattr(sys, name)
        if stream is None:  # closed by the caller: print() would fail, and the descriptor may be taken by a file
            _open_nowhere(descriptor)
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    if os.environ.get("DISC_TRACEBACK") or sys.stderr is None or sys.stderr is not sys.__stderr__:
        return
    encoding = sys.stderr.encoding if sys.stderr is not None else "utf-8"
    try:
        ours = os.fdopen(os.dup(2), "w", encoding=encoding, errors="replace", buffering=1)
        _open_nowhere(2)
    except OSError:
        return
    sys.stderr = ours


def _open_nowhere(descriptor: int) -> None:
    nowhere = os.open(os.devnull, os.O_WRONLY)
    if nowhere != descriptor:
        os.dup2(nowhere, descriptor)
        os.close(nowhere)
