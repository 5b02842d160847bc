"""A station as a row of words and numbers, for sheets, work list and drill table; one place for widths and digits."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from fractions import Fraction

from disc.repin.records import Operation, Station
from disc.turn.places import beat_words

SHORT = {
    Operation.LOOK: "look",
    Operation.LEAVE: "leave",
    Operation.STRAIGHTEN: "straighten",
    Operation.PULL: "pull",
    Operation.PLUG: "plug",
    Operation.DRILL: "drill",
    Operation.SET: "set",
    Operation.SHORTEN: "shorten",
}

SHEET_HEADING = " no do                 r mm theta deg     x mm     y mm  hole deep   up"


def do_words(station: Station) -> str:
    """What is done, in few words: "drill+set", "straighten 0.21"."""
    words = "+".join(SHORT[op] for op in station.operations)
    amount = next((t.amount_mm for t in station.tasks if t.amount_mm is not None), None)
    return f"{words} {amount:.2f}" if amount is not None else words


def sheet_row(station: Station, said: Callable[[str], str] = str) -> str:
    """One line of the table on a 1:1 sheet, in the columns of SHEET_HEADING; a question mark says in doubt."""
    place = station.place
    hole = f"{station.stock.drill.diameter_mm:.2f}" if station.stock and station.needs_hole else ""
    deep = f"{station.depth_mm:.2f}" if station.depth_mm is not None else ""
    up = f"{station.standing_mm:.2f}" if station.standing_mm is not None else ""
    doubt = "?" if station.in_doubt else " "
    do = said(do_words(station).replace("+", " + ")).replace(" + ", "+")
    numbers = said(
        f"{place.r_mm:7.3f} {place.theta_deg:9.3f} {place.x_mm:+8.3f} {place.y_mm:+8.3f} {hole:>5s} {deep:>4s} {up:>4s}"
    )
    return f"{station.number or 0:3d}{doubt}{do:<16.16s}{numbers}"


def reason_lines(station: Station, room: int, said: Callable[[str], str] = str) -> list[str]:
    """Why, in lines of at most `room` characters; one line at least."""
    return textwrap.wrap(_reason(station, said), room) or [""]


def reason_words(station: Station, room: int, said: Callable[[str], str] = str) -> str:
    """Why, in at most `room` characters, cut at a word."""
    words = _reason(station, said)
    return words if len(words) <= room else words[: room - 1].rsplit(" ", 1)[0] + "…"


def _reason(station: Station, said: Callable[[str], str]) -> str:
    return said("; ".join(dict.fromkeys(task.reason for task in station.tasks)))


def bar_words(bar: int | None, beat: Fraction | None) -> str:
    """Where in the tune: "12 beat 2 1/2"; empty if not known."""
    if bar is None:
        return ""
    return f"{bar}" if beat is None else f"{bar} beat {beat_words(beat)}"
