"""The bench log and its put-back list."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from html import unescape

import pytest
from PIL import Image

from disc.errors import BadInput
from disc.job import create_job, open_job, sha256_of
from disc.locale.catalogue import reader
from disc.locale.update import TRANSLATED
from disc.records import Plate
from disc.report.log import FIRST_NOTE, add_step, begin_log, edit_step, in_order, load_log
from disc.report.put_back import HOW_TO_READ, LAST_LINE, make_put_back, put_back_order
from disc.words import CAUTIONS


def photograph(path, colour, taken=None):
    picture = Image.new("RGB", (120, 80), colour)
    exif = picture.getexif()
    if taken:
        exif.get_ifd(0x8769)[0x9003] = taken  # DateTimeOriginal in the Exif IFD: CIPA DC-008 (Exif 2.3), 4.6.5
        exif[0x8769] = exif.get_ifd(0x8769)
    picture.save(path, exif=exif)
    return path


@pytest.fixture
def job(tmp_path):
    return create_job(tmp_path / "j", Plate(28.0))


def test_every_log_begins_with_the_mainsprings(job):
    assert [step.note for step in load_log(job)] == [FIRST_NOTE]
    add_step(job, "cock off")
    assert load_log(open_job(job.folder))[0].note == FIRST_NOTE


def test_steps_stand_in_the_order_their_photographs_were_taken(job, tmp_path):
    late = photograph(tmp_path / "late.jpg", "red", "2026:03:01 12:00:00")
    early = photograph(tmp_path / "early.jpg", "blue", "2026:03:01 11:00:00")
    add_step(job, "fly bridge off", [late], ["fly bridge: 2 short screws", "fly"])
    add_step(job, "dial off", [early])
    assert [s.note for s in in_order(load_log(job))] == [FIRST_NOTE, "dial off", "fly bridge off"]
    assert [s.note for s in put_back_order(load_log(job))] == ["fly bridge off", "dial off"]
    kept = job.folder / "photos/log/002-1.jpg"
    assert kept.read_bytes() == late.read_bytes()
    assert open_job(job.folder).content.photos["log/002-1.jpg"] == sha256_of(late)


def test_the_checklist_names_parts_and_screws_and_needs_no_other_file(job, tmp_path):
    add_step(job, "fly <bridge> off", [photograph(tmp_path / "a.png", "red")], ["fly bridge: 2 short screws"])
    edit_step(job, 2, done=True)
    make_put_back(job)
    page = (job.folder / "out/put-back.html").read_text()
    assert "fly &lt;bridge&gt; off" in page
    assert "fly bridge: 2 short screws" in page
    assert '<input type="checkbox" checked>' in page
    assert not re.findall(r'(?:src|href)="(?!data:)', page)
    assert (job.folder / "out/put-back.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("language", TRANSLATED)
def test_the_checklist_in_another_language_keeps_what_was_written(job, tmp_path, language):
    add_step(job, "dial off", [photograph(tmp_path / "a.png", "red")], ["dial: 2 screws"])
    make_put_back(job)
    make_put_back(job, language)
    english = (job.folder / "out/put-back.html").read_text()
    page = unescape((job.folder / f"out/put-back-{language.value}.html").read_text())
    assert f'<html lang="{language.value}">' in page and "dial off" in page and "2 screws" in page
    for words in (HOW_TO_READ, LAST_LINE, "Putting back", "Photograph of", "of the log", *CAUTIONS.values()):
        assert words not in page, words
    assert reader(language)(LAST_LINE) in page and HOW_TO_READ in english
    assert reader(language).date(load_log(job)[1].at) in page
    assert (job.folder / f"out/put-back-{language.value}.pdf").read_bytes().startswith(b"%PDF")


def test_each_step_of_the_checklist_has_its_pictures(job, tmp_path):
    for number, colour in enumerate(("red", "green", "blue"), start=1):
        add_step(job, f"part {number} off", [photograph(tmp_path / f"{colour}.jpg", colour)])
    make_put_back(job)
    page = (job.folder / "out/put-back.html").read_text()
    assert re.findall(r"part (\d) off", page) == ["3", "2", "1"]
    assert "Each line undoes a step of the bench log" in page
    assert re.findall(r'alt="Photograph of step (\d)"', page) == ["4", "3", "2"]
    # poppler's pdfimages, a reader of another house
    pdf = job.folder / "out/put-back.pdf"
    listed = subprocess.run(["pdfimages", "-list", pdf], capture_output=True, text=True, check=True).stdout
    assert len(listed.splitlines()) - 2 == 3


def test_editing_and_bad_numbers(job):
    add_step(job, "cock of", parts=["cock: 1 long screw"])
    assert edit_step(job, 2, note="cock off").parts[0].screws == "1 long screw"
    with pytest.raises(BadInput, match="the log has no step 9; it has 1, 2"):
        edit_step(job, 9, note="x")


@pytest.mark.parametrize("content", [b"", b"not a photograph", b"\xff\xd8\xff\xe0broken"])
def test_a_bad_photograph_adds_nothing(job, tmp_path, content):
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(content)
    with pytest.raises(BadInput, match="not a photograph"):
        add_step(job, "cock off", [bad])
    assert len(load_log(job)) == 1
    assert not (job.folder / "log.json").exists()


@pytest.mark.parametrize("text", ["{", "[]", '{"steps": [{"number": "x"}]}'])
def test_a_damaged_log_is_told(job, text):
    (job.folder / "log.json").write_text(text)
    with pytest.raises(BadInput, match="the bench log is damaged"):
        load_log(job)


def run(*arguments):
    code = "from disc.cli import main; main()"
    return subprocess.run([sys.executable, "-c", code, *map(str, arguments)], capture_output=True, text=True)


def test_by_command(job):
    assert "Let the mainsprings down" in run("log", job.folder, "add", "--note", "cock off").stdout
    shown = json.loads(run("log", job.folder, "list", "--json").stdout)
    assert [step["note"] for step in shown["steps"]] == [FIRST_NOTE, "cock off"]
    wrong = run("log", job.folder, "tick", "7")
    assert (wrong.returncode, wrong.stdout, len(wrong.stderr.splitlines())) == (2, "", 1)


def test_a_step_is_put_between_others(job, tmp_path):
    add_step(job, "dial off", [photograph(tmp_path / "a.jpg", "red", "2026:03:01 11:00:00")])
    add_step(job, "cock off", [photograph(tmp_path / "b.jpg", "blue", "2026:03:01 12:00:00")])
    add_step(job, "hands off", after=1)
    add_step(job, "motion work off", after=2)
    add_step(job, "cannon pinion off", after=5)
    said = [step.note for step in in_order(load_log(job))]
    assert said == [FIRST_NOTE, "hands off", "dial off", "motion work off", "cannon pinion off", "cock off"]
    assert [step.note for step in put_back_order(load_log(job))] == said[:0:-1]
    with pytest.raises(BadInput, match="the log has no step 9; it has 1, 2, 3, 4, 5, 6"):
        add_step(job, "lost", after=9)


@pytest.mark.parametrize("after", [2, 3, 9])
def test_a_step_after_one_that_is_not_before_it_is_damage(job, after):
    add_step(job, "dial off")
    kept = json.loads((job.folder / "log.json").read_text())
    kept["steps"][1]["after"] = after
    (job.folder / "log.json").write_text(json.dumps(kept))
    with pytest.raises(BadInput, match="the bench log is damaged"):
        load_log(job)


def test_a_log_written_before_there_were_places_is_read(job):
    add_step(job, "dial off")
    kept = json.loads((job.folder / "log.json").read_text())
    for step in kept["steps"]:
        del step["after"]
    (job.folder / "log.json").write_text(json.dumps(kept))
    assert [step.after for step in load_log(job)] == [None, None]


def test_the_log_may_begin_before_the_job_and_is_kept(tmp_path):
    place, picture = tmp_path / "new", photograph(tmp_path / "a.jpg", "red")
    assert begin_log(place)
    add_step(open_job(place), "dial off", [picture])
    before = load_log(open_job(place))
    started = create_job(place, {"diameter_mm": 28.0})
    assert started.plate.diameter_mm == 28.0
    assert load_log(open_job(place)) == before
    assert "log/002-1.jpg" in open_job(place).content.photos
    with pytest.raises(BadInput, match="there is a job here already"):
        create_job(place, {"diameter_mm": 30.0})


def test_a_folder_that_holds_something_else_is_no_place_for_a_log(tmp_path):
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "one.txt").write_text("mine")
    assert not begin_log(tmp_path / "letters")
    assert [path.name for path in (tmp_path / "letters").iterdir()] == ["one.txt"]


def test_the_log_before_the_job_by_command(tmp_path):
    place = tmp_path / "new"
    refused = run("log", place, "add")
    assert refused.returncode == 2 and not place.exists()
    assert "for the log alone" in run("log", place, "add", "--note", "dial off").stdout
    assert run("log", place, "add", "--note", "hands off", "--after", "1").returncode == 0
    assert "Its bench log is kept." in run("start", place).stdout
    listed = json.loads(run("log", place, "list", "--json").stdout)["steps"]
    assert [step["note"] for step in listed] == [FIRST_NOTE, "hands off", "dial off"]
