"""Words of the rooms as said on the page: a room names the command to run, the page the tab where it is done."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from disc.records import Doubt

TABS = {
    "read": "read the photographs (tab Disc)",
    "comb": "give the comb (tab Comb)",
    "transcribe": "make the score (tab Save)",
    "check": "check the disc (tab Findings)",
    "repin": "make the work list (tab Plan)",
    "listen": "compare the recording with the pins",
}
# What `disc set` sets, as the fields of the tab Disc are called, and the unit of a value that is named with it.
FIELDS = {
    "turns": ("the turning", ""),
    "revolution-s": ("the seconds a turn", " s"),
    "rest-arc-deg": ("the rest arc", "°"),
    "diameter-mm": ("the diameter", " mm"),
}
# An option with what follows it: names of values in capitals, numbers, or a way of turning.
_OPTIONS = r"(?: --[a-z-]+(?: (?:[A-Z]+\b|[0-9][0-9.,]*(?<![.,])|u,v \(pixels\)|clockwise|counterclockwise))*)*"
_SET = re.compile(
    r"(?:[Rr]un:? )?disc set(?: JOB)? --(?P<field>" + "|".join(FIELDS) + r")"
    r"(?: (?:[A-Z]+\b|(?P<value>[0-9.]*[0-9]|clockwise|counterclockwise)))?"
)
_SWAP = re.compile(r"disc read(?: JOB)? --upper LOWER --lower UPPER")
_SLOT = re.compile(r": disc read(?: JOB)?(?: \.\.\.)? --slot-[a-zA-Z]+ u,v \(pixels\), or at the desk")
_PLUCK = re.compile(r"disc comb(?: JOB)? --plucked RECORDING")
_LISTEN = re.compile(r"disc listen JOB \S.*$")  # what follows is the recording's name
_RUN = re.compile(
    r"(?P<run>[Rr])un:? disc (?P<command>" + "|".join(TABS) + r")(?: JOB)?" + _OPTIONS + r"(?: \(or --[a-z-]+\))?"
)
_IN_BRACKETS = re.compile(r"\(disc (?P<command>read|comb)(?: JOB)?" + _OPTIONS + r"(?:, or --[a-z-]+)?\)")
_READ_IT = re.compile(r"(?P<what>again|read it|give both)(?: with|:) disc read(?: JOB)?" + _OPTIONS)
_BARE = re.compile(r"disc (?P<command>" + "|".join(TABS) + r")(?: JOB)?" + _OPTIONS)
_LONE_OPTION = re.compile(r" \(--[a-z-]+(?: [A-Z]+)?\)")
_TAB_OF = {"read": "(tab Disc)", "comb": "(tab Comb)"}


def page_words(words: str, folder: Path) -> str:
    """One line of words for the page. folder: the job's, which need not be named there."""
    line = " ".join(words.split()).replace(str(folder), "JOB")
    line = _SET.sub(_field, line)
    line = _SWAP.sub("bring each photograph as the other side's (tab Disc)", line)
    line = _PLUCK.sub("bring a recording of its teeth plucked (tab Comb)", _SLOT.sub(" (tab Disc)", line))
    line = _LISTEN.sub(TABS["listen"], line)
    line = _IN_BRACKETS.sub(lambda match: _TAB_OF[match["command"]], line)
    line = _READ_IT.sub(r"\g<what> (tab Disc)", line)
    line = _BARE.sub(lambda match: TABS[match["command"]], _RUN.sub(_tab, line))
    line = _LONE_OPTION.sub("", line).replace(" with --section-at", "")
    return line.removeprefix("JOB: ").replace("JOB/", "").replace("JOB", "this job")


def page_doubts(doubts: Iterable[Doubt], folder: Path) -> tuple[Doubt, ...]:
    """Doubts as the page says them."""
    return tuple(replace(d, say=page_words(d.say, folder), advice=page_words(d.advice, folder)) for d in doubts)


def _field(match: re.Match[str]) -> str:
    name, unit = FIELDS[match["field"]]
    start = "Set" if match[0].startswith("R") else "set"
    value = f" to {match['value']}{unit}" if match["value"] else ""
    return f"{start} {name}{value} (tab Disc)"


def _tab(match: re.Match[str]) -> str:
    words = TABS[match["command"]]
    return words[0].upper() + words[1:] if match["run"] == "R" else words
