"""Longer steps started from the page: the same functions that the commands call, with progress as news."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from disc.check.store import FINDINGS_FILE
from disc.desk.open_job.session import Session
from disc.desk.work.uploads import path_of
from disc.errors import BadInput, DiscError, MissingPart
from disc.job import JOB_FILE, Job, create_job, open_for_writing
from disc.listen.kept_recordings import RECORDINGS_FOLDER, free_name, recording_path, recordings_of
from disc.locale.catalogue import Language
from disc.records import Side, Turns
from disc.words import Advance, counted

# Unless said otherwise: chosen by hand, not measured.
SIDES = tuple(side.value for side in Side)
NEWS_EVERY_S = 0.1  # progress is sent no more often
Task = Callable[[Session, Mapping[str, Any], Path, Advance], str]


CAN_STOP = ("start", "read", "plate", "pluck", "listen")  # those that take long and report their progress often
NO_DIAMETER = (
    "The photographs cannot be read without the disc's diameter, since no measuring sheet is in the picture: give "
    "it in millimetres, or measure it on a photograph."
)
WORK_SHARE = 0.9  # of the bar is the step's own; the rest, what follows from it until the page can show it


class Stopped(DiscError):
    """The person ended the step before its time."""


def run_task(session: Session, body: Mapping[str, Any], uploads: Path) -> str:
    """Run one step by its name ("do") in the writing thread; returns what to say. Raises DiscError.

    A step asked to stop ends at its next report of progress; nothing of it is stored, since a room stores once, at
    its end.
    """
    name = str(body.get("do"))
    if name not in TASKS:
        raise BadInput(f"the desk knows no step called {name!r}.")
    doing, task = TASKS[name]
    session.stop.clear()
    session.busy = doing
    try:
        told = task(session, body, uploads, _advance(session, doing, name in CAN_STOP))
        session.news.send("progress", {"doing": f"{doing}: what follows from it", "share": WORK_SHARE, "last": True})
        session.load()
        session.wait_for_thoughts()
    except Stopped:
        told = f"Stopped: {doing[0].lower()}{doing[1:]}. Nothing was changed."
    finally:
        session.busy = None
        session.news.send("progress", {"ended": True})
    session.news.send("reload", {"words": told})
    return told


def _advance(session: Session, title: str, can_stop: bool) -> Advance:
    last = 0.0

    def advance(done: float, doing: str = "") -> None:
        nonlocal last
        if session.stop.is_set():
            raise Stopped("stopped.")
        if time.monotonic() - last >= NEWS_EVERY_S:
            last = time.monotonic()
            words = f"{title}: {doing}" if doing else title
            share = round(done * WORK_SHARE, 3)
            session.news.send("progress", {"doing": words, "share": share, "stop": can_stop})

    advance(0.0)
    return advance


def _start(session: Session, body: Mapping[str, Any], uploads: Path, advance: Advance) -> str:
    """A new job, and its photographs read. If they cannot be read, the job stays and says why."""
    plate: dict[str, Any] = {
        name: _number(body, name)
        for name in ("diameter_mm", "revolution_s", "rest_arc_deg")
        if str(body.get(name) or "").strip()
    }
    plate.setdefault("diameter_mm", None)  # not one given at an earlier try
    plate |= {"turns": _turns(body["turns"])} if body.get("turns") else {}
    photos = {side: path_of(uploads, body.get(side)) for side in SIDES}
    if (session.folder / JOB_FILE).exists():  # a second try after photographs that could not be read
        with open_for_writing(session.folder) as job, job.step("start"):
            job.content.change_plate(plate)
    else:
        create_job(session.folder, plate)
    try:
        return _read_photos(session, photos, advance)
    except DiscError as error:
        session.forget_change()
        if isinstance(error, MissingPart) and plate["diameter_mm"] is None:
            raise BadInput(NO_DIAMETER) from None
        raise


def _read(session: Session, body: Mapping[str, Any], uploads: Path, advance: Advance) -> str:
    """body: "upper", "lower": tokens of photographs brought anew; "more", "closer": {side: [tokens]} of photographs
    beside those read before, and of close-ups."""
    from disc.desk.work.read_photos import Brought, read_anew

    anew = {side: path_of(uploads, body[side]) for side in SIDES if body.get(side)}
    return read_anew(
        session, Brought(anew, _by_face(body, "more", uploads), _by_face(body, "closer", uploads)), advance
    )


def _by_face(body: Mapping[str, Any], name: str, uploads: Path) -> dict[str, list[Path]]:
    asked = body.get(name) or {}
    if not isinstance(asked, Mapping) or not all(isinstance(some, list) for some in asked.values()):
        raise BadInput("the photographs are not named by face.")
    return {side: [path_of(uploads, one) for one in asked[side]] for side in SIDES if asked.get(side)}


def _plate(session: Session, body: Mapping[str, Any], uploads: Path, advance: Advance) -> str:
    """body: "plate", values by name."""
    from disc.desk.work.read_photos import plate_anew

    asked = body.get("plate")
    if not isinstance(asked, Mapping):
        raise BadInput("the plate's values are not given by name.")
    return plate_anew(session, asked, advance)


def _read_photos(session: Session, photos: Mapping[str, Path], advance: Advance) -> str:
    from disc.desk.work.read_photos import Brought, read_photos

    return read_photos(session.folder, Brought(photos), advance)


def _comb(session: Session, body: Mapping[str, Any], uploads: Path, advance: Advance) -> str:
    """body: "from" is pins, or table with the "token" of the file brought."""
    from disc.desk.work import comb_take

    if body.get("from") == "table":
        return comb_take.from_table(session, path_of(uploads, body.get("token")))
    return comb_take.draft(session)


def _pluck(session: Session, body: Mapping[str, Any], uploads: Path, advance: Advance) -> str:
    """body: "token" of the recording brought, "plucks": how often each tooth was plucked, "tooth": of one alone."""
    from disc.desk.work.comb_hand import listen_to_plucks

    return listen_to_plucks(session, body, uploads, advance)


def _transcribe(session: Session, body: Mapping[str, Any], uploads: Path, advance: Advance) -> str:
    from disc.turn.transcribe_job import transcribe_job

    with open_for_writing(session.folder) as job:
        made = transcribe_job(job, {}, advance)
    return f"Score, MIDI and sound are made: {counted(len(made.strikes), 'strike')}."


def _check(session: Session, body: Mapping[str, Any], uploads: Path, advance: Advance) -> str:
    from disc.check.check_job import check_job

    score = path_of(uploads, body["score"]) if body.get("score") else None
    with open_for_writing(session.folder) as job:
        found = check_job(job, score, advance, keep_known=True)
    remarks = found.summary.get("remarks", [])
    return " ".join([f"Checked: {counted(len(found.settled), 'finding')}.", *(f"{words}." for words in remarks)])


def _check_again(job: Job, advance: Advance) -> None:
    """What is written down now goes by the pins in force, as the page shows them, not by an older check."""
    from disc.check.check_job import check_job

    if job.has(FINDINGS_FILE):
        check_job(job, None, advance, keep_known=True)


def _plan(session: Session, body: Mapping[str, Any], uploads: Path, advance: Advance) -> str:
    from disc.repin.plan_job import PlanSettings, plan_job

    with open_for_writing(session.folder) as job:
        _check_again(job, advance)
        made = plan_job(job, PlanSettings(language=_language(body).value), advance)
    return f"The work list, {len(made.files) - 1} files in all, is made."


def _report(session: Session, body: Mapping[str, Any], uploads: Path, advance: Advance) -> str:
    from disc.report.condition import make_report
    from disc.report.headings import PARTS

    with open_for_writing(session.folder) as job:
        _check_again(job, advance)
        sections = make_report(job, PARTS, _language(body), None)
    return f"The condition report with {counted(len(sections), 'part')} is made."


def _recording(session: Session, body: Mapping[str, Any], uploads: Path, advance: Advance) -> str:
    from disc.desk.work.file_changes import with_history

    source = path_of(uploads, body.get("token"))
    name = free_name(session.job, source.name) if session.job else source.name
    path = f"{RECORDINGS_FOLDER}/{name}"

    def take(job: Job) -> None:
        with job.step("desk: recording", (source,)) as stage:
            stage.copy_in(source, path)

    with_history(session, f"added the recording {name}", lambda: (path,), take)
    return f"{name} belongs to the job now."


def _recording_out(session: Session, body: Mapping[str, Any], uploads: Path, advance: Advance) -> str:
    from disc.desk.work.file_changes import take_out

    return take_out(session, body.get("recording"))


def _listen(session: Session, body: Mapping[str, Any], uploads: Path, advance: Advance) -> str:
    """body: "recording", the name of one that belongs to the job."""
    from disc.desk.work.file_changes import listen_files, with_history
    from disc.listen.listen_job import listen_to_job

    name = str(body.get("recording"))
    if session.job is None or name not in recordings_of(session.job):
        raise BadInput("that recording does not belong to the job. Bring it again.")

    def hear(job: Job) -> Any:
        return listen_to_job(job, recording_path(job, name), advance).turn

    turn = with_history(session, f"compared the recording {name}", listen_files, hear)
    counts = f"silent strikes: {len(turn.silent)}, extra sounds: {len(turn.extra)}"
    return " ".join([f"One turn takes {turn.revolution_s:.2f} s; {counts}.", *(f"{words}." for words in turn.remarks)])


TASKS: dict[str, tuple[str, Task]] = {
    "start": ("Reading the photographs", _start),
    "read": ("Reading the photographs", _read),
    "plate": ("Reading the photographs", _plate),
    "comb": ("Making the comb", _comb),
    "pluck": ("Listening to the comb", _pluck),
    "transcribe": ("Writing the score", _transcribe),
    "check": ("Checking the disc", _check),
    "plan": ("Planning the work", _plan),
    "report": ("Writing the report", _report),
    "recording": ("Taking in the recording", _recording),
    "recording-out": ("Taking out the recording", _recording_out),
    "listen": ("Listening", _listen),
}


def _language(body: Mapping[str, Any]) -> Language:
    """The papers' language: the page's own."""
    said = str(body.get("language") or Language.EN)
    if said not in list(Language):
        raise BadInput(f"the papers are written in {', '.join(Language)}, not in {said[:20]!r}.")
    return Language(said)


def _number(body: Mapping[str, Any], name: str) -> float:
    value = body.get(name)
    try:
        return float(str(value).replace(",", "."))
    except ValueError:
        raise BadInput(f"{name.replace('_', ' ')} is {value!r}, not a number.") from None


def _turns(value: Any) -> Turns:
    try:
        return Turns(value)
    except ValueError:
        raise BadInput(f"turning is {value!r}; it must be clockwise or counterclockwise.") from None
