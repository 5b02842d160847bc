"""The job folder: whole or not at all, one writer at a time, old schemas and damaged files."""

from __future__ import annotations

import json
import multiprocessing
from dataclasses import replace

import pytest

from disc.errors import BadInput, JobBusy, MissingPart
from disc.job import folder as jobs
from disc.job import journal
from disc.job.corrections import Action, Correction
from disc.records import Comb, Condition, Pin, Plate, Side, Tooth

PLATE = Plate(28.0, revolution_s=48.0)
PINS = (Pin(1, Side.UPPER, 8.0, 10.0, tooth=1), Pin(2, Side.LOWER, 9.0, 359.9, condition=Condition.BENT))
COMB = Comb((Tooth(1, Side.UPPER, 8.0, 12.0, 67.0),))


@pytest.fixture
def job(tmp_path):
    made = jobs.create_job(tmp_path / "a disc, größer 時計", PLATE)
    with made.step("read") as stage:
        made.stage_reading(stage, PINS)
        made.stage_comb(stage, COMB)
    return made


def contents(folder):
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_what_is_written_reads_back(job):
    again = jobs.open_job(job.folder)
    assert (again.plate, again.pins(), again.comb(), again.reading()) == (PLATE, PINS, COMB, PINS)
    assert [run.command for run in again.content.runs] == ["start", "read"]


def test_an_exception_leaves_the_job_as_it_was(job):
    before = contents(job.folder)
    with pytest.raises(RuntimeError, match="in the middle"), job.step("read") as stage:
        job.stage_reading(stage, PINS[:1])
        raise RuntimeError("in the middle")
    assert contents(job.folder) == before


def test_a_step_cut_off_before_its_journal_is_thrown_away(job):
    before = contents(job.folder)
    staging = job.folder / jobs.STAGING_FOLDER
    staging.mkdir()
    (staging / "pins.csv").write_text("half a ta")
    jobs.open_job(job.folder)
    assert contents(job.folder) == before
    assert not staging.exists()


def test_a_step_cut_off_after_its_journal_is_finished(job, monkeypatch):
    def power_cut(folder):
        raise SystemExit("power cut")

    finish = journal._finish
    monkeypatch.setattr(journal, "_finish", power_cut)
    with pytest.raises(SystemExit), job.step("read") as stage:
        job.stage_reading(stage, PINS[:1])
    monkeypatch.setattr(journal, "_finish", finish)
    again = jobs.open_job(job.folder)
    assert again.pins() == PINS[:1]
    assert again.content.runs[-1].command == "read"
    assert not (job.folder / jobs.STAGING_FOLDER).exists()


def test_inputs_are_recorded_by_digest(job, tmp_path):
    source = tmp_path / "photo.bin"
    source.write_bytes(b"abc")
    with job.step("read", (source,)) as stage:
        stage.copy_in(source, "photos/photo.bin")
    # SHA-256 of "abc": FIPS 180-4, example B.1.
    expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert jobs.open_job(job.folder).content.runs[-1].inputs == {"photo.bin": expected}


def test_no_file_outside_the_job(job):
    with pytest.raises(BadInput, match="must lie inside"), job.step("read") as stage:
        stage.write_text("../elsewhere.txt", "x")


def test_corrections_survive_a_new_reading(job):
    change = Correction(Action.CHANGE, Side.UPPER, 8.0, 10.0, (("condition", Condition.STUB),), "looked at it")
    with job.step("correct") as stage:
        job.stage_edit(stage, (change,))
    with job.step("read") as stage:
        job.stage_reading(stage, (Pin(7, Side.UPPER, 8.01, 10.1), Pin(8, Side.LOWER, 9.0, 359.8)))
    again = jobs.open_job(job.folder)
    assert again.corrections() == ((change,), ())
    assert [(p.id, p.condition) for p in again.pins()] == [(7, Condition.STUB), (8, Condition.SOUND)]
    assert all(p.condition is Condition.SOUND for p in again.reading())


def test_an_edit_in_a_spreadsheet_becomes_a_correction(job):
    path = job.folder / "pins.csv"
    path.write_text(path.read_text().replace(",", ";").replace(".", ",").replace("bent", "missing"))
    with jobs.open_for_writing(job.folder) as opened:
        assert opened.pins() == (PINS[0], replace(PINS[1], condition=Condition.MISSING))
        done, _ = opened.corrections()
        assert [c.changes for c in done] == [(("condition", Condition.MISSING),)]
    with jobs.open_for_writing(job.folder) as opened:  # and only once
        assert len(opened.corrections()[0]) == 1


def test_a_job_without_a_reading_keeps_its_pins_when_corrected(tmp_path):
    made = jobs.create_job(tmp_path / "typed", PLATE)
    with made.step("typed") as stage:
        stage.write_text("pins.csv", jobs.format_pins(PINS))
    with made.step("correct") as stage:
        made.stage_edit(stage, (Correction(Action.REMOVE, Side.UPPER, 8.0, 10.0),))
    assert jobs.open_job(made.folder).pins() == PINS[1:]


def _hold(folder, ready, done):
    with jobs.open_for_writing(folder):
        ready.set()
        done.wait(20)


def test_a_second_command_on_the_job_says_so(job):
    context = multiprocessing.get_context("spawn")
    ready, done = context.Event(), context.Event()
    other = context.Process(target=_hold, args=(job.folder, ready, done))
    other.start()
    try:
        assert ready.wait(20)
        busy = pytest.raises(JobBusy, match="another command is working on this job")
        with busy, jobs.open_for_writing(job.folder, wait_s=0.2):
            pass
        assert jobs.open_job(job.folder).pins() == PINS  # looking is free
    finally:
        done.set()
        other.join(20)
    with jobs.open_for_writing(job.folder, wait_s=0.2):
        pass


def test_a_command_may_take_its_own_lock_again_with_another_patience(job):
    with jobs.locked(job.folder, wait_s=5.0), jobs.locked(job.folder, wait_s=0.2):
        assert jobs.open_job(job.folder).pins() == PINS


@pytest.mark.parametrize("encoding", ["cp1252", "utf-8-sig", "utf-16"])
def test_a_job_file_that_an_editor_saved_its_own_way_can_be_worked_on(job, encoding):
    path = job.path("job.json")
    content = json.loads(path.read_text(encoding="utf-8"))
    content["settings"]["note"] = "Müller, größer"
    path.write_bytes(json.dumps(content, ensure_ascii=False).encode(encoding))
    opened = jobs.open_job(job.folder)
    with opened.step("set"):
        opened.settings["more"] = "é"
    kept = jobs.open_job(job.folder).settings
    assert (kept["note"], kept["more"]) == ("Müller, größer", "é")


def test_a_newer_schema_is_refused(job):
    path = job.folder / "job.json"
    content = json.loads(path.read_text())
    path.write_text(json.dumps(content | {"schema_version": 999}))
    with pytest.raises(BadInput, match="made by a newer version of this program"):
        jobs.open_job(job.folder)


def test_an_older_schema_is_migrated_with_a_backup(job, monkeypatch):
    from disc.job import schema as job_schema

    path = job.folder / "job.json"
    old = json.loads(path.read_text()) | {"schema_version": 0}
    old["plate"]["diameter"] = old["plate"].pop("diameter_mm")
    old_text = json.dumps(old)
    path.write_text(old_text)

    def from_0(raw):
        raw["plate"]["diameter_mm"] = raw["plate"].pop("diameter")
        return raw | {"schema_version": job_schema.SCHEMA_VERSION}

    monkeypatch.setitem(job_schema.MIGRATIONS, 0, from_0)
    for version in range(1, job_schema.SCHEMA_VERSION):  # the steps ever shipped have tests of their own
        monkeypatch.setitem(job_schema.MIGRATIONS, version, lambda raw: raw)
    again = jobs.open_job(job.folder)
    assert again.plate == PLATE
    assert (job.folder / "job.schema-0.json").read_text() == old_text
    assert json.loads(path.read_text())["schema_version"] == job_schema.SCHEMA_VERSION


@pytest.mark.parametrize(
    "text, words",
    [
        ("", "damaged"),
        ("{", "damaged"),
        ("[]", "not a job file"),
        ('{"schema_version": 1}', "damaged: plate: field required"),
        ('{"schema_version": 1, "plate": {"diameter_mm": -1}}', r"diameter_mm.*given: -1"),
        ("[" * 100_000, "damaged"),
    ],
)
def test_a_damaged_job_file_is_told(job, text, words):
    (job.folder / "job.json").write_text(text)
    with pytest.raises(BadInput, match=words):
        jobs.open_job(job.folder)


@pytest.mark.parametrize("text", ["{", "[]", '{"done": [{"action": "sing"}]}', '{"done": [{"changes": [["id", 1]]}]}'])
def test_damaged_corrections_are_told_and_kept(job, text):
    path = job.folder / "corrections.json"
    path.write_text(text)
    with pytest.raises(BadInput, match="list of corrections is damaged"):
        job.corrections()
    assert path.read_text() == text


def test_no_job_no_pins_no_comb(tmp_path):
    with pytest.raises(BadInput, match="no job here"):
        jobs.open_job(tmp_path / "nothing")
    made = jobs.create_job(tmp_path / "new", PLATE)
    with pytest.raises(MissingPart, match=r"no pins yet\. Run: disc read"):
        made.pins()
    with pytest.raises(MissingPart, match=r"no comb yet\. Run: disc comb"):
        made.comb()
    with pytest.raises(BadInput, match="there is a job here already"):
        jobs.create_job(tmp_path / "new", PLATE)


def test_a_wrong_plate_makes_no_folder(tmp_path):
    with pytest.raises(BadInput, match="diameter_mm"):
        jobs.create_job(tmp_path / "new", Plate(-3.0))
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize(
    "error, words",
    [(PermissionError(13, "denied", "x"), "no permission to write"), (OSError(28, "no space"), "the disk is full")],
)
def test_the_systems_complaints_in_plain_words(job, monkeypatch, error, words):
    before = contents(job.folder)

    def fail(path):
        raise error

    monkeypatch.setattr(journal, "_flush", fail)
    with pytest.raises(BadInput, match=words), job.step("read") as stage:
        job.stage_reading(stage, PINS[:1])
    assert contents(job.folder) == before
