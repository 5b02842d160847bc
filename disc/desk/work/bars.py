"""What a person says of single bars at the desk: a bar line moved, another metre or a new tune from here on.

Each becomes one step that can be undone, in the settings that the command line writes (turn/said_of_bars.py). What the
bars cannot bear is refused before anything is written.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from disc.desk.open_job.bars_said import move_words, said_of_bars, tune_starts
from disc.desk.open_job.changes import setting_change
from disc.desk.open_job.session import Session
from disc.errors import BadInput, MissingPart
from disc.job import Job
from disc.tune.settings import parse_metre, parse_move
from disc.turn.said_of_bars import by_place
from disc.turn.settings import EARLIER_NAMES, merge_settings, said_bars, turn_settings, with_said_bars
from disc.turn.turn_of_job import turn_of_pins

BAR_SETTINGS = ("bars", *EARLIER_NAMES, "section_deg")


def say_of_bar(session: Session, asked: Mapping[str, Any]) -> dict[str, Any]:
    """Body: {"bar": 17} with one of "beats" (later; negative: earlier), "metre", "tune": true; or {"forget": {...}}.

    forget: setting and value of what was said. Runs in the writing thread. Raises BadInput for what cannot be.
    """
    job = session.job
    if job is None or session.comb is None:
        raise MissingPart("There are no bars yet: the tune has not been read.")
    words, merged = _forgotten(session, job, asked["forget"]) if "forget" in asked else _said(session, job, asked)
    turn = turn_of_pins(job, session.pins, session.comb, turn_settings(merged))
    if turn.reading is None:
        raise BadInput(turn.why)
    changes = tuple(setting_change(job, name, merged.get(name)) for name in BAR_SETTINGS)
    return session.set_values(words, changes)


def _said(session: Session, job: Job, asked: Mapping[str, Any]) -> tuple[str, dict[str, Any]]:
    """What is said anew, in words, and the settings with it."""
    bar = asked.get("bar")
    if not isinstance(bar, int) or isinstance(bar, bool):
        raise BadInput("say in which bar: its number, as the unrolled turn counts them.")
    if "beats" in asked:
        move = f"{bar} {asked['beats']}"
        try:
            beats = parse_move(move)[1]
        except BadInput:
            beats = None
        if not beats:
            raise BadInput(
                f"{asked['beats']} beats cannot be read. Write by how many the line is to be moved: 1 or -1/2."
            )
        words = f"bar {bar}: line {move_words(beats)}"
        return words, merge_settings(job.settings, {"move_bar": move})
    if "metre" in asked:
        metre = parse_metre(str(asked["metre"]))
        said = f"{metre.beats}/{metre.unit}"
        return f"bar {bar}: {said} from here", merge_settings(job.settings, by_place(job, {"metre": f"{said}@{bar}"}))
    bars = sorted({*tune_starts(session.wait_for_thoughts().tune), bar})
    return f"bar {bar}: a new tune from here", _with_tunes(job, bars)


def _with_tunes(job: Job, bars: list[int]) -> dict[str, Any]:
    """The settings with later tunes that begin in these bars, as the bars stand now."""
    return merge_settings(job.settings, by_place(job, {"section_at": ",".join(map(str, bars)) or "none"}))


def _forgotten(session: Session, job: Job, what: Any) -> tuple[str, dict[str, Any]]:
    """The settings without one thing that was said; what it was, in words."""
    tune = session.wait_for_thoughts().tune
    setting, value = (what.get("setting"), what.get("value")) if isinstance(what, dict) else (None, None)
    found = [one for one in said_of_bars(job.settings, tune) if (one.setting, one.value) == (setting, value)]
    if not found:
        raise BadInput("that is no longer said of a bar.")
    said = found[0]
    words = f"bar {said.bar}: no longer {said.words}"
    if said.setting == "section_deg":
        return words, _with_tunes(job, [bar for bar in tune_starts(tune) if bar != said.bar])
    kept = said_bars(job.settings)
    kept.remove(said.value)
    return words, with_said_bars(merge_settings(job.settings, {}), kept)
