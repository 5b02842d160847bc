"""One disc's folder: photographs, readings, corrections, results; load, save, history.

    my-disc/
      job.json          plate, settings, provenance, schema version, what was run when with which inputs
      pins.csv          the pins in force: the last reading with the corrections laid over it
      reading.csv       the last reading as it came from the photographs
      comb.csv          the comb's teeth
      corrections.json  what a person changed
      photos/           the originals, untouched
      out/              everything that can be made again

Every step is written whole or not at all (journal.py). One command at a time may write; a second waits, then says who
is at work.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from disc import __version__
from disc.errors import BadInput, MissingPart
from disc.job.corrections import Correction, apply_corrections, corrections_from_edit, grown
from disc.job.corrections_file import CORRECTIONS_FILE, load_corrections, stage_corrections
from disc.job.hand_edits import (
    EditedAgainst,
    check_comb_edit,
    check_edit,
    check_removed,
    comb_edit_words,
    edit_words,
    pins_gone,
    teeth_gone,
    with_way_back,
)
from disc.job.journal import JOURNAL, LOCK_WAIT_S, STAGING_FOLDER, commit, explained, locked, recover
from disc.job.kept import WRITTEN, stage_kept
from disc.job.made_from import made_from, makes_result
from disc.job.schema import SCHEMA_VERSION, JobFile, RunRecord, now_text, parse_job_file
from disc.job.stage import Stage
from disc.records import Comb, Pin, Plate
from disc.tables import format_comb, format_pins, read_comb, read_pins, read_text
from disc.words import note

JOB_FILE = "job.json"
PINS_FILE = "pins.csv"
READING_FILE = "reading.csv"
COMB_FILE = "comb.csv"
PHOTO_FOLDER = "photos"
OUT_FOLDER = "out"
# The tables as this program last wrote them: they tell what a spreadsheet has changed since.
WRITTEN_PINS_FILE, WRITTEN_COMB_FILE = WRITTEN[PINS_FILE], WRITTEN[COMB_FILE]
LOG_ONLY_SETTING = "log_only"  # marks a job that the bench log began; `disc start` then takes it over


def sha256_of(path: Path) -> str:
    """SHA-256 of a file's content, as hexadecimal text."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


class Job:
    """An open job folder. Use open_job or create_job; reading needs no lock, writing goes through step()."""

    def __init__(self, folder: Path, content: JobFile) -> None:
        self.folder = folder
        self.content = content

    # ---- reading

    @property
    def plate(self) -> Plate:
        """The plate and how it turns. Raises MissingPart as long as the diameter is not known."""
        plate = self.content.plate_record()
        if plate is None:
            raise MissingPart(
                f"{self.folder}: the disc's diameter is not known yet. Measure it with a caliper (of a gear-cut rim, "
                f"over the teeth's tips) and run: disc set {self.folder} --diameter-mm D"
            )
        return plate

    @property
    def settings(self) -> dict[str, Any]:
        """What was set by hand, by name; kept over new readings (e.g. "metre", "key", "photo.slot_upper")."""
        return self.content.settings

    def path(self, name: str) -> Path:
        """A place inside the job folder."""
        return self.folder / name

    def out(self, name: str) -> Path:
        """A place in the folder of things that can be made again."""
        return self.folder / OUT_FOLDER / name

    def has(self, name: str) -> bool:
        """Whether the job folder holds this file."""
        return self.path(name).is_file()

    def pins(self) -> tuple[Pin, ...]:
        """The pins in force. Raises MissingPart if nothing was read yet."""
        if not self.has(PINS_FILE):
            raise MissingPart(f"{self.folder}: no pins yet. Run: disc read {self.folder} --upper PHOTO --lower PHOTO")
        return with_way_back(read_pins, self.path(PINS_FILE), self.path(WRITTEN_PINS_FILE), self.folder)

    def comb(self) -> Comb:
        """The comb's teeth. Raises MissingPart if there is no table yet."""
        if not self.has(COMB_FILE):
            raise MissingPart(f"{self.folder}: no comb yet. Run: disc comb {self.folder} --table FILE (or --from-pins)")
        comb = with_way_back(read_comb, self.path(COMB_FILE), self.path(WRITTEN_COMB_FILE), self.folder)
        return replace(comb, draft=bool(self.settings.get("comb.draft", False)))

    def reading(self) -> tuple[Pin, ...]:
        """The pins without corrections, as last read from the photographs or, without any, as the table gives them."""
        if self.has(READING_FILE):
            return read_pins(self.path(READING_FILE))
        return self.pins() if self.has(PINS_FILE) else ()

    def corrections(self) -> tuple[tuple[Correction, ...], tuple[Correction, ...]]:
        """(done, undone): what a person changed in order, and what was taken back and can be done again."""
        return load_corrections(self.path(CORRECTIONS_FILE))

    # ---- writing

    @contextmanager
    def step(self, command: str, inputs: tuple[Path, ...] = (), undoes: int | None = None) -> Iterator[Stage]:
        """One step: stage files inside the block; on leaving it all of them and job.json appear together.

        An exception inside the block leaves the job as it was. inputs: files whose SHA-256 goes into the record. What
        the step replaces is kept (kept.py). undoes: the number of the kept set that it brings back.
        """
        staging = self.folder / STAGING_FOLDER
        with explained(self.folder):
            shutil.rmtree(staging, ignore_errors=True)
            staging.mkdir()
        stage = Stage(staging)
        previous_runs = list(self.content.runs)
        try:
            with explained(self.folder):
                started = now_text()
                yield stage
                digests = _digests_of(inputs, self.folder)
                if PINS_FILE in stage.names:
                    self.content.pins_sha256 = sha256_of(staging / PINS_FILE)
                self._stage_written(stage)
                run = RunRecord(
                    command=command, at=started, version=__version__, inputs=digests, outputs=stage.names[:]
                )
                if makes_result(command, run.outputs):
                    run.made_from = made_from(self.folder, self.content, stage)
                self.content.runs.append(run)
                after = self.content.to_json()
                stage_kept(self.folder, stage, json.loads(after), command, started, undoes)
                stage.write_text(JOB_FILE, after)
                commit(self.folder, stage)
        except BaseException:
            self.content.runs[:] = previous_runs
            if not (staging / JOURNAL).exists():
                shutil.rmtree(staging, ignore_errors=True)
            raise

    def _stage_written(self, stage: Stage) -> None:
        """Copies of the tables as they are now written; of a comb from before there were such copies, as it stands."""
        for name, written in WRITTEN.items():
            if name in stage.names:
                stage.copy_in(stage.path(name), written)
            elif name in stage.removed:
                stage.remove(written)
        if self.has(COMB_FILE) and not self.has(WRITTEN_COMB_FILE) and COMB_FILE not in (*stage.names, *stage.removed):
            stage.copy_in(self.path(COMB_FILE), WRITTEN_COMB_FILE)

    def set_plate(self, plate: Plate) -> None:
        """Change the plate; takes effect with the step that follows."""
        self.content.set_plate(plate)

    def absorb_hand_edits(self, may_remove: bool = False) -> str:
        """Take over what was changed in pins.csv and comb.csv in a spreadsheet.

        Changes of the pins become corrections, so that a new reading keeps them. Returns what was taken over, in one
        line; empty where nothing was edited. Raises BadInput, the job and the edited table untouched, for what cannot
        be and, without may_remove, where more than a tenth of the rows is gone.
        """
        return " ".join(filter(None, (self._absorb_comb(may_remove), self._absorb_pins(may_remove))))

    def _absorb_comb(self, may_remove: bool) -> str:
        path, written = self.path(COMB_FILE), self.path(WRITTEN_COMB_FILE)
        if not (path.is_file() and written.is_file()) or path.read_bytes() == written.read_bytes():
            return ""
        before, after = read_comb(written), self.comb()
        check_comb_edit(path, before, after, self._ground())
        if not may_remove:
            check_removed(path, teeth_gone(before, after), len(before.teeth), "teeth", self.folder)
        moved = {(t.number, t.side, t.tip_r_mm) for t in before.teeth} ^ {
            (t.number, t.side, t.tip_r_mm) for t in after.teeth
        }
        with self.step("edit of comb.csv") as stage:
            stage.write_text(COMB_FILE, format_comb(after))
            if moved and self.has(PINS_FILE) and "design" not in self.settings and self._pins_as_written():
                # Which tooth a pin sounds is another question now; the next step that needs it asks it anew.
                stage.write_text(PINS_FILE, format_pins([replace(pin, tooth=None) for pin in self.pins()]))
        return comb_edit_words(before, after)

    def _pins_as_written(self) -> bool:
        return self.content.pins_sha256 == sha256_of(self.path(PINS_FILE))

    def _absorb_pins(self, may_remove: bool) -> str:
        recorded, path = self.content.pins_sha256, self.path(PINS_FILE)
        if recorded is None or not self.has(PINS_FILE) or self._pins_as_written():
            return ""
        before = read_pins(self.path(WRITTEN_PINS_FILE)) if self.has(WRITTEN_PINS_FILE) else self.reading()
        after = self.pins()
        ground = self._ground()
        check_edit(path, before, after, ground)
        edits = corrections_from_edit(before, after, now_text(), "edited in the table")
        if not may_remove:
            check_removed(path, pins_gone(edits), len(before), "pins", self.folder)
        done, _ = self.corrections()
        with self.step("edit of pins.csv") as stage:
            if not self.has(READING_FILE):
                stage.write_text(READING_FILE, format_pins(before))
            stage_corrections(stage, (*done, *edits), ())
            stage.write_text(PINS_FILE, format_pins(after))
        return edit_words(edits)

    def _ground(self) -> EditedAgainst:
        plate = self.content.plate
        radius_mm = None if plate.diameter_mm is None else plate.diameter_mm / 2.0
        return EditedAgainst(self.folder, radius_mm, plate.bore_mm, self.comb() if self.has(COMB_FILE) else None)

    def stage_reading(
        self, stage: Stage, pins: tuple[Pin, ...], by: float = 1.0
    ) -> tuple[tuple[Pin, ...], tuple[Correction, ...]]:
        """Stage a new reading with the corrections laid over it; returns the pins in force and what did not fit.

        by: the diameter over the one that the corrections were made under.
        """
        done, undone = self.corrections()
        if by != 1.0 and (done or undone):
            done, undone = (tuple(grown(c, by) for c in some) for some in (done, undone))
            stage_corrections(stage, done, undone)
        in_force, unfit = apply_corrections(pins, done)
        stage.write_text(READING_FILE, format_pins(pins))
        stage.write_text(PINS_FILE, format_pins(in_force))
        return in_force, unfit

    def stage_edit(
        self, stage: Stage, done: tuple[Correction, ...], undone: tuple[Correction, ...] = ()
    ) -> tuple[Pin, ...]:
        """Stage a changed list of corrections and the pins they lead to; returns the pins in force."""
        reading = self.reading()
        in_force, _ = apply_corrections(reading, done)
        if not self.has(READING_FILE):
            stage.write_text(READING_FILE, format_pins(reading))
        stage_corrections(stage, done, undone)
        stage.write_text(PINS_FILE, format_pins(in_force))
        return in_force

    def stage_comb(self, stage: Stage, comb: Comb) -> None:
        """Stage the comb table and remember whether it is only a draft."""
        self.settings["comb.draft"] = comb.draft
        stage.write_text(COMB_FILE, format_comb(comb))


# ---- opening and creating


def create_job(
    folder: Path, plate: Plate | dict[str, Any] | None = None, settings: dict[str, Any] | None = None
) -> Job:
    """A new job folder; plate: a record, or what is known of it by name. A job that is only a log so far is kept.

    Raises BadInput if the folder holds a job already or cannot be written.
    """
    content = JobFile.new({} if plate is None else plate, settings or {})
    with explained(folder):
        if _is_only_a_log(folder):
            return _start_from_log(folder, content)
        if (folder / JOB_FILE).exists():
            raise BadInput(f"{folder}: there is a job here already. Choose another folder, or go on with this one.")
        if folder.exists() and not folder.is_dir():
            raise BadInput(f"{folder}: this is a file, not a folder. Choose another name for the job.")
        folder.mkdir(parents=True, exist_ok=True)
        (folder / PHOTO_FOLDER).mkdir(exist_ok=True)
        (folder / OUT_FOLDER).mkdir(exist_ok=True)
    job = Job(folder, content)
    with locked(folder), job.step("start"):
        pass
    return job


def _is_only_a_log(folder: Path) -> bool:
    """Whether the job here was begun by the bench log and nothing was read or given since."""
    if not (folder / JOB_FILE).is_file():
        return False
    job = open_job(folder)
    return bool(job.settings.get(LOG_ONLY_SETTING)) and not (job.has(PINS_FILE) or job.has(COMB_FILE))


def _start_from_log(folder: Path, new: JobFile) -> Job:
    """Start the job that the bench log began: its log, its photographs and its first day stay."""
    with open_for_writing(folder) as job:
        told = {name: value for name, value in new.plate.model_dump().items() if value is not None}
        job.content.change_plate(told)
        job.settings.pop(LOG_ONLY_SETTING, None)
        job.settings.update(new.settings)
        with job.step("start"):
            pass
    return job


def open_job(folder: Path) -> Job:
    """An existing job, for reading. Raises BadInput if there is none, it is damaged, or its schema is newer.

    A step that was interrupted is finished or thrown away first; an older schema is migrated, with a backup beside it.
    """
    path = folder / JOB_FILE
    with explained(folder):
        if not folder.is_dir() or not (path.is_file() or (folder / STAGING_FOLDER).is_dir()):
            raise BadInput(f"{folder}: no job here. Run: disc start {folder}")
        if (folder / STAGING_FOLDER).is_dir():
            recover(folder)
    if not path.is_file():
        raise BadInput(f"{folder}: its job.json is gone. Copy it back from a backup, or start the job anew elsewhere.")
    content, migrated_from = parse_job_file(read_text(path, "job file"), path)
    job = Job(folder, content)
    if migrated_from is not None:
        _migrate(job, path, migrated_from)
    return job


@contextmanager
def open_for_writing(folder: Path, wait_s: float = LOCK_WAIT_S) -> Iterator[Job]:
    """An existing job, locked against other commands while the block runs. Raises JobBusy if another holds it."""
    with locked(folder, wait_s):
        job = open_job(folder)
        if words := job.absorb_hand_edits():
            note(words)
        yield job


def _migrate(job: Job, path: Path, old_version: int) -> None:
    backup = path.with_name(f"job.schema-{old_version}.json")
    with locked(job.folder):
        if not backup.exists():
            shutil.copyfile(path, backup)
        with job.step(f"migration from schema {old_version} to {SCHEMA_VERSION}"):
            pass


def _digests_of(inputs: tuple[Path, ...], folder: Path) -> dict[str, str]:
    """SHA-256 by name; a second file of one name, from another folder, with a number behind."""
    digests: dict[str, str] = {}
    for path in inputs:
        name = _name_of(path, folder)
        names = (name, *(f"{name} ({number})" for number in range(2, len(digests) + 2)))
        digests[next(one for one in names if one not in digests)] = sha256_of(path)
    return digests


def _name_of(path: Path, folder: Path) -> str:
    resolved = path.resolve()
    return str(resolved.relative_to(folder.resolve())) if resolved.is_relative_to(folder.resolve()) else path.name
