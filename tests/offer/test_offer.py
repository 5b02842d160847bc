"""The offer: sums that add up to the cent, every version kept, three languages, and what it rests on."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from decimal import Decimal

import pytest

from disc.errors import BadInput, MissingPart
from disc.job import create_job, open_for_writing, open_job
from disc.locale.catalogue import Language, reader
from disc.object.store import change_object
from disc.offer.make_offer import make_offer
from disc.offer.offer_job import STORED_OFFER, offer_job
from disc.offer.paper import LINES, what_could_change
from disc.offer.workshop import parse_workshop, sample_text
from disc.records import Condition, Pin, Plate, Side
from disc.repin.make_plan import PlanSettings, make_plan
from disc.repin.plan_job import rates_in_force
from disc.repin.records import Operation
from disc.repin.store import stage_plan
from disc.repin.work.estimate import parse_rates, sample_rates_text

OWN = """
name = "Atelier Muster"
address = ["Hauptstraße 3", "1234 Musterdorf"]
currency = "EUR"
tax_name = "VAT"
tax_percent = 19.0
rebate_percent = 3.0
conditions = ["Half on order, half on return."]
"""


@pytest.fixture
def job(tmp_path):
    folder = tmp_path / "disc"
    made = create_job(folder, Plate(28.0, thickness_mm=1.0))
    pins = [Pin(n, Side.UPPER, 5.0 + 0.2 * n, 12.0 * n, 0.25, 0.5) for n in range(1, 21)]
    pins[3] = replace(pins[3], condition=Condition.MISSING, height_mm=None)
    pins[7] = replace(pins[7], condition=Condition.STUB, height_mm=0.05)
    pins[9] = replace(pins[9], condition=Condition.BENT, lean_x_mm=0.2, lean_y_mm=0.1)
    with made.step("read") as stage:
        made.stage_reading(stage, tuple(pins))
        stage.write_text("rates.toml", sample_rates_text().replace("sample = true", ""))
        stage.write_text("workshop.toml", OWN)
    with open_for_writing(folder) as opened:
        plan = make_plan(opened, PlanSettings(), rates_in_force(opened))
        with opened.step("repin") as stage:
            stage_plan(stage, plan)
    return open_job(folder)


def text_of(path):
    return subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, text=True).stdout


def test_what_a_reader_adds_up_is_what_stands_there(job):
    offer = offer_job(job).offer
    assert len(offer.lines) > 4 and not offer.draft
    for i in range(3):
        assert sum(line.amounts[i] for line in offer.lines) == offer.net[i]
        rebate = (offer.net[i] * 3 / 100).quantize(Decimal("0.01"), "ROUND_HALF_UP")
        assert offer.rebate[i] == rebate
        after = offer.net[i] - rebate
        tax = (after * 19 / 100).quantize(Decimal("0.01"), "ROUND_HALF_UP")
        assert offer.tax[i] == tax and offer.total[i] == after + tax
    assert offer.total[0] < offer.total[1] < offer.total[2]


def test_every_version_is_kept_and_the_same_is_not_counted_twice(job):
    first = offer_job(job)
    again = offer_job(job, Language.DE)
    assert (first.number, again.number) == (1, 1)
    change_object(job, {"customer": "Frau Muster", "name": "musical watch"})
    second = offer_job(job)
    assert second.number == 2
    names = sorted(path.name for path in job.path("offers").iterdir())
    assert names == ["offer-001-de.pdf", "offer-001-en.pdf", "offer-001.json", "offer-002-en.pdf", "offer-002.json"]


@pytest.mark.parametrize(
    "language, words",
    [
        (Language.EN, ("Offer no. 1", "€", "This offer holds until", "Set new pins", "Rebate, 3.0 %", "in doubt")),
        (Language.DE, ("Angebot Nr. 1", ",", "Dieses Angebot gilt bis", "Neue Stifte setzen", "3,0 %")),
        (Language.FR, ("Devis n° 1", ",", "Ce devis est valable jusqu’au", "3,0 %")),
    ],
)
def test_the_paper_in_three_languages(job, language, words):
    change_object(job, {"customer": 'Frau *Muster* "X"', "name": "musical watch", "number": "U 12"})
    made = offer_job(job, language)
    said = text_of(job.path(made.files[-1]))
    for word in (*words, 'Frau *Muster* "X"', "Half on order, half on return.", "Atelier Muster", "U 12"):
        assert word in said, word
    assert "Draft" not in said and "sample" not in said


def test_with_sample_numbers_it_is_a_draft(job):
    job.path("workshop.toml").unlink()
    made = offer_job(job)
    assert made.offer.draft and "Draft: made with sample rates" in text_of(job.path(made.files[-1]))
    assert job.path("workshop.toml").read_text() == sample_text()


def test_what_it_rests_on_is_said(job):
    offer = offer_job(job).offer
    said = " ".join(what_could_change(offer, reader(Language.EN)))
    assert offer.in_doubt and "in doubt" in said and "not checked for faults" in said
    assert "thickness" in " ".join(what_could_change(replace(offer, thickness_known=False), reader(Language.EN)))


def test_every_line_of_an_estimate_has_words_for_a_customer(job):
    plan = make_plan(job, PlanSettings(), parse_rates(sample_rates_text(), "rates"))
    assert {line.what for line in plan.estimate.lines} <= set(LINES)
    assert {op.value for op in Operation if op not in (Operation.LEAVE, Operation.LOOK)} <= set(LINES)


def test_two_currencies_are_refused(job):
    plan = make_plan(job, PlanSettings(), rates_in_force(job))
    other = parse_workshop(OWN.replace("EUR", "CHF"), "w")
    with pytest.raises(BadInput, match=r"rates\.toml reckons in EUR, workshop\.toml in CHF"):
        make_offer(plan, other, "2026-05-01", True)
    assert make_offer(plan, parse_workshop(OWN, "w"), "2026-01-31", True).valid_until == "2026-03-02"


@pytest.mark.parametrize(
    "text, words",
    [
        ("name = ", "Mend that line"),
        ('name = "a"', "currency: field required"),
        (OWN + "tax_percent2 = 1\n", "extra inputs"),
        (OWN.replace("19.0", "190"), "tax_percent"),
        (OWN.replace("19.0", "nan"), "tax_percent"),
    ],
)
def test_a_wrong_workshop_file_is_told_by_its_entry(text, words):
    with pytest.raises(BadInput, match=words) as caught:
        parse_workshop(text, "workshop.toml")
    assert "\n" not in str(caught.value)


def test_without_a_plan_there_is_nothing_to_offer(tmp_path):
    create_job(tmp_path / "new", Plate(28.0))
    with open_for_writing(tmp_path / "new") as opened, pytest.raises(MissingPart, match="no plan yet"):
        offer_job(opened)
    with pytest.raises(BadInput, match="the last offer is damaged"):
        STORED_OFFER.parse("{}", tmp_path / "offer-001.json")


def test_by_command(job):
    run = [sys.executable, "-c", "from disc.cli import main; main()", "offer", str(job.folder), "--json"]
    done = subprocess.run(run, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["number"] == 1
