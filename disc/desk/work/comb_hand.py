"""The comb by hand: its table cell by cell, and the pitches of a plucked recording put to the teeth a person says.

A recording says pitches in the order of plucking, never which tooth had which. The order is asked; where the numbers
differ, each pitch heard is put to its tooth by ear. Nothing is laid onto other numbers in silence.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from disc.desk.open_job.changes import comb_change
from disc.desk.open_job.session import Session
from disc.desk.work.uploads import path_of
from disc.errors import BadInput, MissingPart
from disc.job import Job
from disc.pitch_names import note_name
from disc.records import Comb, Tooth, ToothCondition
from disc.tables import COMB_COLUMNS, MOST_TEETH, format_comb
from disc.words import Advance, counted

OTHER_SEMITONES = 0.5  # from what the table said: perhaps another tooth was plucked; half of the least step (chosen)
_COLUMNS = {column.name: column for column in COMB_COLUMNS}


def write_table(session: Session, body: Mapping[str, Any]) -> None:
    """Body: {"rows": [{"was": number or null, column: text, ...}], "drop": [numbers]}, one step that can be undone.

    A row with "was" changes that tooth, in the columns it names; one without is a new tooth. Raises BadInput naming
    tooth and column.
    """
    job = _job(session)
    teeth = {tooth.number: tooth for tooth in (session.comb.teeth if session.comb else ())}
    rows, drop = _list(body, "rows"), _list(body, "drop")
    for number in drop:
        _check_number(number)
        if teeth.pop(number, None) is None:
            raise BadInput(f"the comb has no tooth {number!r}.")
    made: list[Tooth] = []
    for row in rows:
        if not isinstance(row, Mapping):
            raise BadInput("a row of the comb's table cannot be read.")
        if row.get("was") is not None:
            _check_number(row["was"])
        old = teeth.pop(row["was"], None) if row.get("was") is not None else None
        if row.get("was") is not None and old is None:
            raise BadInput(f"the comb has no tooth {row['was']!r}.")
        made.append(_tooth(row, old))
    everything = sorted((*teeth.values(), *made), key=lambda tooth: tooth.number)
    twice = [a.number for a, b in pairwise(everything) if a.number == b.number]
    if twice:
        raise BadInput(f"two teeth have the number {twice[0]}. Give one of them another.")
    if len(everything) > MOST_TEETH:
        raise BadInput(f"a comb has at most {MOST_TEETH} teeth.")
    _check_tips(job, everything)
    text = format_comb(Comb(tuple(everything))) if everything else None
    is_draft = bool(session.comb and session.comb.draft) and not any("tip_theta_deg" in row for row in rows)
    session.set_values("wrote the comb's table", comb_change(job, text, is_draft))


def _tooth(row: Mapping[str, Any], old: Tooth | None) -> Tooth:
    where = f"tooth {row.get('number', old.number if old else '?')}"
    values = asdict(old) if old else dict.fromkeys(_COLUMNS)
    for name, column in _COLUMNS.items():
        if name in row:
            values[name] = column.parse(str(row[name] if row[name] is not None else ""), where)
    for name in ("number", "side", "tip_r_mm"):
        if values[name] is None:
            raise BadInput(f"{where}: {name} is empty. A tooth needs a number, a side and its tip's distance.")
    return Tooth(**values)


def _check_tips(job: Job, teeth: Sequence[Tooth]) -> None:
    for tooth in teeth:
        if tooth.tip_r_mm > job.plate.radius_mm:
            raise BadInput(
                f"tooth {tooth.number}: its tip at {tooth.tip_r_mm:g} mm lies outside the plate (radius "
                f"{job.plate.radius_mm:g} mm). Correct it, or the disc's diameter."
            )


def listen_to_plucks(session: Session, body: Mapping[str, Any], uploads: Path, advance: Advance) -> str:
    """Hear what was plucked, for the person to say which tooth each was; the job is not changed. With a "tooth" it is
    that one, alone, and put into the comb."""
    from disc.listen.comb.doubtful import doubts_of_plucked
    from disc.listen.comb.plucked import comb_from_recording, is_plucked_in_turn
    from disc.listen.sound.audio import read_recording

    path = path_of(uploads, body.get("token"))
    plucks = _plucks(body.get("plucks", 2))
    if body.get("tooth") is not None:
        return hear_one(session, body["tooth"], path, plucks, advance)
    try:
        heard = comb_from_recording(read_recording(path), None, plucks, advance)
    except BadInput as error:
        raise BadInput(str(error).replace(str(path), path.name)) from None
    if not any(tooth.pitch is not None for tooth in heard.teeth):
        raise BadInput(f"{path.name}: no ringing tooth is heard in it. Record closer to the comb, in quiet.")
    if not is_plucked_in_turn(heard):
        raise BadInput(
            f"{path.name}: this is no comb plucked tooth by tooth: the same pitches come back far apart. Pluck each "
            f"tooth {plucks} times, one after the other; a recorded turn is added below the picture."
        )
    session.plucked = {
        "token": body.get("token"),
        "name": path.name,
        "remarks": [*heard.remarks, *(doubt.say.rstrip(".") for doubt in doubts_of_plucked(heard))],
        "teeth": [
            {
                "pitch": None if tooth.pitch is None else round(tooth.pitch, 4),
                "name": note_name(tooth.pitch, 0, cents=True),
                "condition": tooth.condition.value if tooth.condition else None,
                "words": tooth.words,
                "at_s": [round(at, 3) for at in tooth.plucks_s],
            }
            for tooth in heard.teeth
        ],
    }
    teeth = counted(len(heard.teeth), "tooth is", "teeth are")
    return f"{path.name}: {teeth} heard. Say in which order they were plucked (Comb)."


def hear_one(session: Session, number: Any, path: Path, plucks: int, advance: Advance) -> str:
    """One tooth plucked alone, heard and put into the comb at once, as one step that can be undone; what was heard, in
    a line. Raises BadInput if the comb has no such tooth, or nothing is heard in the recording."""
    from disc.listen.comb.plucked import comb_from_recording
    from disc.listen.pitch_words import pitch_words
    from disc.listen.sound.audio import read_recording

    job, comb = _job(session), session.comb or tracks_comb(session)
    _check_number(number)
    old = next((tooth for tooth in comb.teeth if tooth.number == number), None)
    if old is None:
        raise BadInput(f"the comb has no tooth {number}.")
    heard = comb_from_recording(read_recording(path), 1, plucks, advance).teeth
    row = heard[0] if heard else None
    if row is None or (row.pitch is None and row.condition is None):
        raise BadInput(f"{path.name}: tooth {number} is not heard in it. Pluck it again, closer to the recorder.")
    teeth = [_with_pitch(t, (row.pitch, row.condition)) if t is old else t for t in comb.teeth]
    text = format_comb(replace(comb, teeth=tuple(teeth)))
    session.set_values(f"took tooth {number} from a recording", comb_change(job, text, comb.draft))
    sounds = "no tone" if row.pitch is None else pitch_words(row.pitch)
    words = [sounds, *([row.condition.value] if row.condition else []), *([row.words] if row.words else [])]
    if row.pitch is not None and old.pitch is not None and abs(row.pitch - old.pitch) >= OTHER_SEMITONES:
        words.append(f"the table had {pitch_words(old.pitch)}: is it that tooth?")
    return f"Tooth {number}, alone: {'; '.join(words)}."


def keep_pitches(session: Session, body: Mapping[str, Any]) -> None:
    """Body: {"teeth": [[number, pitch or null, condition or null], ...]}: pitches of these teeth, one step. Where there
    is no comb yet, the teeth are those of a draft from the tracks. Raises BadInput."""
    job = _job(session)
    comb = session.comb or tracks_comb(session)
    given: dict[int, tuple[float | None, ToothCondition | None]] = {}
    known = {tooth.number for tooth in comb.teeth}
    for row in _list(body, "teeth"):
        try:
            number, pitch, condition = row
            value = (
                None if pitch is None else _COLUMNS["pitch"].parse(str(pitch), f"tooth {number}"),
                None if condition is None else ToothCondition(condition),
            )
        except (TypeError, ValueError):
            raise BadInput("the pitches cannot be read.") from None
        _check_number(number)
        if number not in known:
            raise BadInput(f"the comb has no tooth {number!r}.")
        if number in given:
            raise BadInput(f"tooth {number} is said twice. Each pitch that was heard belongs to one tooth.")
        given[number] = value
    if not given:
        raise BadInput("no tooth is said yet.")
    teeth = [_with_pitch(tooth, given.get(tooth.number)) for tooth in comb.teeth]
    text = format_comb(replace(comb, teeth=tuple(teeth)))
    session.set_values("took the pitches from a recording", comb_change(job, text, comb.draft))
    session.plucked = None


def tracks_comb(session: Session) -> Comb:
    """The teeth there must be by the tracks of the pins. Raises MissingPart if there are none."""
    from disc.comb.from_pins import comb_from_pins

    return comb_from_pins(session.pins)[0]


def _with_pitch(tooth: Tooth, heard: tuple[float | None, ToothCondition | None] | None) -> Tooth:
    if heard is None:
        return tooth
    pitch, condition = heard
    return replace(
        tooth, pitch=tooth.pitch if pitch is None else pitch, condition=condition or tooth.condition,
        pitch_probability=None,
    )  # fmt: skip


def _check_number(value: Any) -> None:
    if not isinstance(value, int) or isinstance(value, bool):
        raise BadInput(f"a tooth is named by its number, not {str(value)[:40]!r}.")


def _plucks(value: Any) -> int:
    try:
        plucks = int(value)
    except (TypeError, ValueError):
        raise BadInput(f"the number of plucks {value!r} is not a whole number.") from None
    if not 1 <= plucks <= 5:
        raise BadInput(f"each tooth is plucked 1 to 5 times, not {plucks}.")
    return plucks


def _list(body: Mapping[str, Any], name: str) -> list[Any]:
    value = body.get(name, [])
    if not isinstance(value, list):
        raise BadInput(f"{name} is not a list.")
    return value


def _job(session: Session) -> Job:
    if session.job is None:
        raise MissingPart("There is no job here yet. Start one first.")
    return session.job
