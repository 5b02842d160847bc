"""The object's sheet: filled in bit by bit, kept, and its persons left out of the copy for publication."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from disc.errors import BadInput
from disc.job import create_job, open_for_writing, open_job
from disc.locale.catalogue import Language, reader
from disc.object.fields import FIELDS
from disc.object.sheet import sheet_rows
from disc.object.store import OBJECT_FILE, change_object, load_object, parse_object
from disc.records import Plate

RUN = [sys.executable, "-c", "from disc.cli import main; main()", "object"]


@pytest.fixture
def job(tmp_path):
    create_job(tmp_path / "job", Plate(28.0))
    with open_for_writing(tmp_path / "job") as opened:
        change_object(opened, {"maker": "unsigned", "owner": "Frau Muster", "entry_date": "2026-05-01"})
        yield opened


def test_bit_by_bit_and_taken_back(job):
    change_object(job, {"number": "U 12/3"})
    assert list(load_object(job)) == ["number", "maker", "owner", "entry_date"]  # in the sheet's order
    change_object(job, {"maker": ""})
    assert "maker" not in load_object(job) and load_object(open_job(job.folder))["owner"] == "Frau Muster"


def test_persons_stay_out_of_the_copy_for_publication(job):
    change_object(job, {field.key: f"({field.key})" for field in FIELDS if not field.is_date})
    t = reader(Language.EN)
    public = " ".join(words for _, words in sheet_rows(job, t, for_publication=True))
    for key in ("owner", "customer", "customer_address", "entry_note"):
        assert f"({key})" not in public and f"({key})" in " ".join(words for _, words in sheet_rows(job, t))
    assert "(maker)" in public and "(condition)" in public


def test_dates_are_written_in_the_readers_language(job):
    def entry(language):
        return dict(sheet_rows(job, reader(language)))

    assert "1 May 2026" in entry(Language.EN).values() and "1. Mai 2026" in entry(Language.DE).values()
    assert "1 mai 2026" in entry(Language.FR).values()


@pytest.mark.parametrize("given, words", [({"entry_date": "1.5.2026"}, "not a day"), ({"colour": "x"}, "no field")])
def test_what_cannot_be_is_refused(given, words, job):
    with pytest.raises(BadInput, match=words):
        change_object(job, given)
    with pytest.raises(BadInput, match="too many"):
        change_object(job, {"maker": "x" * 5000})
    assert load_object(job)["maker"] == "unsigned"


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"schema": 1}', '{"schema": 1, "fields": {"maker": 5}}', '{"schema": 9}']
)
def test_a_damaged_sheet_is_named(text, job):
    with pytest.raises(BadInput, match=r"object\.json: "):
        parse_object(text, job.path(OBJECT_FILE))


def test_by_command(tmp_path):
    create_job(tmp_path / "job", Plate(28.0))
    run = [*RUN, str(tmp_path / "job")]
    done = subprocess.run([*run, "--maker", "unsigned", "--owner", "Frau Muster"], capture_output=True, text=True)
    assert done.returncode == 0 and "Owner: Frau Muster  (not in the copy for publication)" in done.stdout
    said = json.loads(subprocess.run([*run, "--json"], capture_output=True, text=True).stdout)
    assert said["fields"]["owner"] == {"unit": "Current owner", "words": "Frau Muster", "private": True}
