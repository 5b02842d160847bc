"""One open job at the desk: its state in memory, and every change to it.

All writing goes through one worker thread and through job.step(), so that a killed server leaves the last whole state.
After each change the page is answered at once; what follows from the change is worked out in a second thread and sent
as news when it is ready.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

from disc.desk.open_job.bars_said import said_of_bars
from disc.desk.open_job.changes import apply_changes, fitting_changes, moved_by_changes
from disc.desk.open_job.derive import Derived, derive, told_changes
from disc.desk.open_job.edits import EditGround, edit_from_request
from disc.desk.open_job.events import News
from disc.desk.open_job.file_memory import FileMemory, Stamp, stamp_of
from disc.desk.open_job.heard import page_heard, was_listened
from disc.desk.open_job.history import (
    HISTORY_FILE,
    DeskStep,
    History,
    ValueChange,
    format_history,
    load_history,
    move_to,
    reconcile,
    record,
    split_corrections,
)
from disc.desk.open_job.live_check import LiveCheck, check_now, settled_anew, told_check
from disc.desk.open_job.notes import LaidEdits, PinNote
from disc.desk.open_job.notes_said import said_of_notes
from disc.desk.open_job.pin_table import PinTable
from disc.desk.open_job.saved import saved_files
from disc.desk.open_job.teeth import TeethMemory
from disc.desk.page.findings import page_findings, page_plan
from disc.desk.page.music import page_music
from disc.desk.page.pins import PagePins
from disc.desk.page.sheets import PageSheet
from disc.desk.page.views import sheets_of_job
from disc.desk.page.words import page_doubts, page_words
from disc.errors import BadInput, DiscError, MissingPart
from disc.job import COMB_FILE, JOB_FILE, PINS_FILE, READING_FILE, Job, Stage, open_for_writing, open_job
from disc.job.corrections import Correction
from disc.job.corrections_file import CORRECTIONS_FILE, load_corrections, stage_corrections
from disc.job.made_from import LISTEN
from disc.job.schema import now_text
from disc.job.stale import stale_results
from disc.records import Comb, Doubt, Pin, Plate
from disc.tables import format_pins, read_comb, read_pins
from disc.turn.one_turn import OneTurn
from disc.words import chance

log = logging.getLogger(__name__)
# The same desk's edits in a row are one line in the job's record of runs; their steps stand in desk.json.
RUN_NAME = "desk"
# Before what follows from an edit is worked out: the edit's answer has then reached the page, and of several edits in
# quick succession only the last is thought about (chosen; of a second of thinking it is not felt).
PAUSE_S = 0.03


class Session:
    """The state of one desk. Public methods may be called from any thread."""

    def __init__(self, folder: Path, news: News | None = None) -> None:
        self.folder = folder
        self.news = news or News()
        self.bench = ThreadPoolExecutor(1, thread_name_prefix="desk-write")
        self._thinker = ThreadPoolExecutor(1, thread_name_prefix="desk-think")
        self.guard = threading.RLock()  # held while the fields below are exchanged
        self.rev = 0
        self.busy: str | None = None  # the long step under way
        self.stop = threading.Event()  # set: it is to end before its time
        self.job: Job | None = None
        self.pins: tuple[Pin, ...] = ()
        self.comb: Comb | None = None
        self.sheets: dict[str, PageSheet] = {}
        self.history = History()
        self.notes: dict[int, tuple[PinNote, ...]] = {}
        self.by_hand: frozenset[int] = frozenset()
        self.derived = Derived()
        self.derived_rev = -1
        self.checked = LiveCheck()
        self.checked_rev = -1
        self.trouble: str = ""
        self.plucked: dict[str, Any] | None = None  # teeth heard in a recording, until a person says which they are
        self._page_pins = PagePins()
        self._told: dict[str, Any] = {}  # of the last change, as the pages are told of it
        self._told_steps: tuple[DeskStep, ...] = ()
        self._stamp: Stamp | None = None
        self._teeth = TeethMemory()
        self._laid = LaidEdits()
        self._table = PinTable()
        # Read again only where another hand wrote them: what is asked at every edit must not grow with the edits.
        self._corrections = FileMemory(load_corrections)
        self._histories = FileMemory(load_history)
        self._comb_kept: tuple[tuple[Stamp | None, bool], Comb | None] | None = None
        self._sheets_of: tuple[Plate, dict[str, Any]] | None = None
        self._reading: tuple[Stamp | None, tuple[Pin, ...]] | None = None
        if (folder / JOB_FILE).exists():
            self.load()

    # ---- loading

    def load(self) -> None:
        """Read the job as it is on disk. Raises DiscError if it cannot be read."""
        job = open_job(self.folder)
        if job.content.plate_record() is None:
            self.forget_change()
            return  # nothing can be placed without a diameter: the page asks for it as for a new job
        with self.guard:
            self._take_in(job)
        self.think()

    def _take_in(self, job: Job, pins: tuple[Pin, ...] | None = None) -> None:
        """Make this job the state of the desk. Call with the guard held."""
        self.job = job
        self.pins = pins if pins is not None else _or_nothing(job.pins, ())
        self.comb = self._comb_of(job)
        if self._sheets_of != (job.plate, job.content.faces):
            self.sheets, self._sheets_of = sheets_of_job(job), (job.plate, job.content.faces)
        done, _, self.history = self._before(job)
        self._laid.lay(self._reading_of(job), done)
        self.notes, self.by_hand = self._laid.notes(), self._laid.by_hand(self.pins)
        self._stamp = self._job_stamp()
        self.rev += 1
        changed, gone = self._page_pins.show(self.pins, self.sheets, self.notes, self.by_hand)
        self._told = {"rev": self.rev, "pins": changed, "gone": gone, "history": self._history_news()}

    def _job_stamp(self) -> Stamp | None:
        return stamp_of(self.folder / JOB_FILE)

    def forget_change(self) -> None:
        """What was just written to the job by this desk is not news."""
        self._stamp = self._job_stamp()

    def notice_outside_change(self) -> None:
        """Load anew if another command changed the job."""
        stamp = self._job_stamp()
        if stamp is not None and stamp != self._stamp and self.busy is None:
            try:
                self.load()
            except DiscError as error:
                self._stamp = stamp
                self.news.send("trouble", {"words": str(error)})
                return
            self.news.send("reload", {"words": "Another command changed this job; the page shows its new state."})

    # ---- changing (all of these run in the writing thread)

    def change(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """One edit of pins. Returns what changed on the page. Raises BadInput if it cannot be done."""
        with open_for_writing(self.folder, wait_s=2.0) as job:
            done, _, history = self._before(job)
            bench = EditGround(self._pins_before(job), job.plate, self.comb, self.sheets, now_text())
            edit = edit_from_request(request, bench)
            step = DeskStep(edit.words, bench.at, len(edit.corrections))
            answer = self._commit(job, (*done, *edit.corrections), (), record(history, step))
        if edit.added_at is not None:
            answer["select"] = self._pin_at(*edit.added_at)
        return answer

    def set_values(
        self,
        words: str,
        changes: tuple[ValueChange, ...],
        corrections: tuple[Correction, ...] = (),
        laid: tuple[ValueChange, ...] = (),
    ) -> dict[str, Any]:
        """One edit of settings, plate, comb or decisions, undone and redone like the others; with it, of pins.

        laid: changes that belong to it but that a room has laid into the job already.
        """
        real = tuple(change for change in changes if change.old != change.new)
        if not real and not corrections:
            raise BadInput("nothing was changed.")
        with open_for_writing(self.folder, wait_s=2.0) as job:
            done, _, history = self._before(job)
            step = DeskStep(words, now_text(), len(corrections), real)
            whole = replace(step, changes=(*laid, *real))
            return self._commit(job, (*done, *corrections), (), record(history, whole), (step,))

    def go_to(self, count: int) -> tuple[dict[str, Any], bool]:
        """Undo or redo until `count` steps are in force. Returns what changed on the page, and whether that is all."""
        with open_for_writing(self.folder, wait_s=2.0) as job:
            done, undone, history = self._before(job)
            moved, crossed, forward = move_to(history, count)
            now_done, now_undone = split_corrections((*done, *undone), moved)
            answer = self._commit(job, now_done, now_undone, moved, crossed, forward)
        return answer, not any(step.changes for step in crossed)

    def _before(self, job: Job) -> tuple[tuple[Correction, ...], tuple[Correction, ...], History]:
        done, undone = self._corrections.get(job.path(CORRECTIONS_FILE))
        return done, undone, reconcile(self._histories.get(job.path(HISTORY_FILE)), len(done), len(undone), now_text())

    def _pins_before(self, job: Job) -> tuple[Pin, ...]:
        return self.pins if self._stamp == self._job_stamp() else _or_nothing(job.pins, ())

    def _commit(
        self,
        job: Job,
        done: tuple[Correction, ...],
        undone: tuple[Correction, ...],
        history: History,
        crossed: tuple[DeskStep, ...] = (),
        forward: bool = True,
    ) -> dict[str, Any]:
        self._join_runs(job)
        with job.step(RUN_NAME) as stage:
            for step in crossed:
                changes = fitting_changes(job, step.changes, forward)
                apply_changes(job, stage, changes, forward)
                done = moved_by_changes(done, changes, forward)
                undone = moved_by_changes(undone, changes, forward)
            pins = self._stage_pins(job, stage, done, undone)
            stage.write_text(HISTORY_FILE, format_history(history))
        if not any(step.changes for step in crossed):  # values of other kinds are only as JSON gives them back
            self._corrections.put(job.path(CORRECTIONS_FILE), (done, undone))
            self._histories.put(job.path(HISTORY_FILE), history)
        with self.guard:
            self._take_in(job, pins)
        answer = self.page_change()
        self.think()
        return answer

    def _stage_pins(
        self, job: Job, stage: Stage, done: tuple[Correction, ...], undone: tuple[Correction, ...]
    ) -> tuple[Pin, ...]:
        """Corrections, the pins they lead to, and the teeth of those pins."""
        if READING_FILE in stage.names:
            reading = read_pins(stage.path(READING_FILE))
        else:
            reading = self._reading_of(job)
            if not job.has(READING_FILE):  # pins put there by design or by hand: they are the reading
                stage.write_text(READING_FILE, format_pins(reading))
        pins = self._laid.lay(reading, done)
        stage_corrections(stage, done, undone)
        comb = self._staged_comb(job, stage)
        if comb is not None and pins:
            by_design = "design" in job.settings
            pins = self._teeth.give(pins, reading, comb, self._teeth.given(reading, done, comb, by_design))
        text = self._table.text(pins)
        path = job.path(PINS_FILE)
        # A table that stays the same keeps its time, so that what was made from it does not look older than it is.
        if not path.is_file() or path.read_text(encoding="utf-8") != text:
            stage.write_text(PINS_FILE, text)
        return pins

    def _staged_comb(self, job: Job, stage: Stage) -> Comb | None:
        """The comb as this step leaves it."""
        if COMB_FILE in stage.removed:
            return None
        if COMB_FILE in stage.names:
            return read_comb(stage.path(COMB_FILE))
        return self._comb_of(job)

    def _comb_of(self, job: Job) -> Comb | None:
        """The job's comb, kept in memory as long as its table and the word that it is a draft are the same."""
        made_of = stamp_of(job.path(COMB_FILE)), bool(job.settings.get("comb.draft", False))
        if self._comb_kept is None or self._comb_kept[0] != made_of:
            self._comb_kept = made_of, _or_nothing(job.comb, None)
        return self._comb_kept[1]

    def _reading_of(self, job: Job) -> tuple[Pin, ...]:
        """The job's reading, kept in memory as long as its file is the same."""
        stamp = stamp_of(job.path(READING_FILE)) or stamp_of(job.path(PINS_FILE))
        if self._reading is None or self._reading[0] != stamp:
            self._reading = (stamp, job.reading())
        return self._reading[1]

    def _join_runs(self, job: Job) -> None:
        if job.content.runs and job.content.runs[-1].command == RUN_NAME:
            job.content.runs.pop()

    def _pin_at(self, side: Any, r_mm: float, theta_deg: float) -> int | None:
        best = [p for p in self.pins if p.side is side and abs(p.r_mm - r_mm) < 1e-3]
        return min(best, key=lambda p: abs(p.theta_deg - theta_deg)).id if best else None

    # ---- what the page is told

    def page_change(self) -> dict[str, Any]:
        """Tell the pages what changed with the last revision: its pins, and the steps from the first that is new."""
        with self.guard:
            answer = dict(self._told)
        self.news.send("pins", answer)
        return answer

    def all_pins(self) -> list[dict[str, Any]]:
        """Every pin as the page shows it."""
        with self.guard:
            return self._page_pins.all()

    def history_state(self) -> dict[str, Any]:
        """The steps by name, and how many are in force."""
        return {"done": self.history.done, "steps": _plain_steps(self.history.steps)}

    def _history_news(self) -> dict[str, Any]:
        """As history_state(), but of the steps only those from the first that is not as it was: "from"."""
        steps, told = self.history.steps, self._told_steps
        same = next((n for n, (new, old) in enumerate(zip(steps, told, strict=False)) if new is not old), None)
        begin = min(len(steps), len(told)) if same is None else same
        self._told_steps = steps
        return {"done": self.history.done, "from": begin, "steps": _plain_steps(steps[begin:])}

    # ---- what follows from a change

    def think(self) -> None:
        """Work out in the second thread what follows from the present pins, and send it as news."""
        self._thinker.submit(self._think, self.rev)

    def wait_for_thoughts(self) -> Derived:
        """What follows from the present pins, once it is worked out."""
        self._thinker.submit(lambda: None).result()
        return self.derived

    def _think(self, rev: int) -> None:
        time.sleep(PAUSE_S)
        with self.guard:
            if rev != self.rev or self.job is None:
                return  # a newer change is waiting behind this one
            job, pins, comb, before = self.job, self.pins, self.comb, self.derived
        turn = None
        try:
            turn, why = self._turn_now(job, pins, comb)
            after = replace(derive(turn, why, _doubts(job, turn)), alternatives=_other_readings(turn))
            of_notes = said_of_notes(job.settings, pins, after.tune)
            after = replace(after, said=(*said_of_bars(job.settings, after.tune), *of_notes))
        except Exception as error:  # a fault in a room must not take the desk down
            log.exception("working out what follows")
            after = Derived(why=f"This could not be worked out: {error}")
        told = told_changes(before, after) if self.derived_rev >= 0 else []
        with self.guard:
            if rev != self.rev:
                return
            self.derived, self.derived_rev = after, rev
        heard = page_heard(job, after.now)
        self.news.send("music", page_music(after, comb, rev) | {"told": told, "heard": heard})
        self._check_again(job, turn, rev)

    def heard_now(self) -> dict[str, Any] | None:
        """The recorded turn over the pins in force; what they strike is resolved here where that is not known yet."""
        with self.guard:
            job, pins, comb, is_known = self.job, self.pins, self.comb, self.derived_rev == self.rev
            strikes = self.derived.now if is_known else ()
        if job is None or not was_listened(job):
            return None
        if not is_known and comb is not None:
            from disc.turn.turn_of_job import turn_of_pins

            strikes = turn_of_pins(job, pins, comb, read_tune=False).now
        return page_heard(job, strikes)

    def _turn_now(self, job: Job, pins: tuple[Pin, ...], comb: Comb | None) -> tuple[OneTurn | None, str]:
        """(the turn of these pins, why it lacks something); a fault in reading the tune leaves the strikes."""
        if comb is None:
            return None, ""
        from disc.turn.turn_of_job import turn_of_pins

        self._teeth.prepare(self._reading_of(job), comb)  # so that the first edit need not wait for it
        try:
            turn = turn_of_pins(job, pins, comb)
            return turn, page_words(turn.why, job.folder)
        except DiscError as error:
            return turn_of_pins(job, pins, comb, read_tune=False), page_words(str(error), job.folder)
        except Exception as error:
            log.exception("reading the tune")
            return turn_of_pins(job, pins, comb, read_tune=False), f"The tune could not be read: {error}"

    def _check_again(self, job: Job, turn: OneTurn | None, rev: int) -> None:
        """Findings and plan of the present pins, after the music, which is wanted sooner."""
        before = self.checked
        try:
            after = check_now(job, turn)
        except Exception as error:  # as above: a fault in a room must not take the desk down
            log.exception("checking")
            after = LiveCheck(True, trouble=f"The check could not be made: {error}")
        with self.guard:
            if rev != self.rev:
                return
            self.checked, self.checked_rev = after, rev
        content = {"findings": page_findings(after), "plan": page_plan(after), "told": told_check(before, after)}
        self.news.send("findings", content | {"rev": rev, "files": saved_files(job)})

    def settle_again(self) -> None:
        """Lay the decisions in force over the findings at hand; those worked out anew follow as news."""
        with self.guard:
            if self.job is not None and self.checked.was_checked:
                self.checked = settled_anew(self.checked, self.job)

    def close(self) -> None:
        """End the threads."""
        self.bench.shutdown(wait=True, cancel_futures=True)
        self._thinker.shutdown(wait=True, cancel_futures=True)


def _doubts(job: Job, turn: OneTurn | None) -> tuple[Doubt, ...]:
    """What is in doubt about the whole disc, in the page's words.

    Of what is stale only the recording heard: tune, findings and plan follow the pins, and files are marked as older.
    """
    from disc.turn.turn_of_job import doubts_before_comb

    found = doubts_before_comb(job) if turn is None else turn.doubts
    heard = stale_results(job).get(LISTEN)
    return page_doubts(found if heard is None else (*found, heard), job.folder)


def _other_readings(turn: OneTurn | None) -> tuple[str, ...]:
    """Readings of metre and key that lost, in words."""
    others = turn.reading.alternatives if turn is not None and turn.reading is not None and turn.pitched else ()
    return tuple(f"{a.what} {a.value}: {chance(a.probability)}, {a.why}" for a in others)


def _plain_steps(steps: Sequence[DeskStep]) -> list[dict[str, str]]:
    return [{"words": step.words, "at": step.at} for step in steps]


def _or_nothing(read: Any, nothing: Any) -> Any:
    try:
        return read()
    except MissingPart:
        return nothing
