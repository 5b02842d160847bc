"""Words of the rooms as said on the page: a room names the command to run, the page the tab where it is done."""

from __future__ import annotations

import re
from pathlib import Path

TABS = {
    "read": "read the photographs (tab Disc)",
    "comb": "give the comb (tab Comb)",
    "transcribe": "make the score (tab Save)",
    "check": "check the disc (tab Findings)",
    "repin": "make the work list (tab Plan)",
    "listen": "compare the recording with the pins",
}
_COMMAND = re.compile(
    r"(?P<run>[Rr])un:? disc (?P<command>" + "|".join(TABS) + r")(?: JOB)?"
    r"(?: --[a-z-]+(?: [A-Z]+)?)*(?: \(or --[a-z-]+\))?"
)


def page_words(words: str, folder: Path) -> str:
    """One line of words for the page. folder: the job's, which need not be named there."""
    line = " ".join(words.split()).replace(str(folder), "JOB")
    return _COMMAND.sub(_tab, line).removeprefix("JOB: ").replace("JOB/", "").replace("JOB", "this job")


def _tab(match: re.Match[str]) -> str:
    words = TABS[match["command"]]
    return words[0].upper() + words[1:] if match["run"] == "R" else words
