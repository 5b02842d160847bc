"""Findings and plan of the shipped sample beside the photograph, and the estimate that follows."""

from __future__ import annotations

from disc.check.decisions import Verdict, load_decisions
from disc.check.store import load_findings
from disc.desk.open_job.live_check import plan_now
from disc.job import open_job
from disc.records import Condition
from disc.repin.store import load_plan
from disc.tables import read_pins

ONE_DESK = True
TABLET = {"viewport": {"width": 820, "height": 1180}, "has_touch": True}
CARDS = "#panel-findings article"
PINS_OF = "(all) => all.map((one) => one.dataset.pin)"


def test_what_was_read_damaged_is_found_accepted_rejected_or_left_in_doubt(open_desk, job):
    desk = open_desk(job)
    desk.tab("findings")
    desk.page.click("#check")
    desk.told("Checked")
    cards = desk.page.locator(CARDS)
    assert (job / "out" / "findings.json").is_file()
    read = read_pins(job / "pins.csv")
    for condition in (Condition.BENT, Condition.STUB):
        found = desk.page.locator(f"{CARDS}[data-kind={condition}]").evaluate_all(PINS_OF)
        assert {pin.id for pin in read if pin.condition is condition} <= {int(number) for number in found}
    assert cards.count() >= 3
    desk.page.focus(f"{CARDS} button")
    first = cards.first
    first.get_by_role("button", name="Show").click()
    assert desk.picked() == [int(first.get_attribute("data-pin"))]
    first.locator("[data-verdict=rejected]").click()
    desk.told("say in a few words why")
    assert load_decisions(open_job(job)) == ()
    first.locator("input").fill("left free by the maker")
    first.locator("[data-verdict=rejected]").click()
    desk.told("rejected")
    cards.first.locator("[data-verdict=accepted]").focus()
    desk.page.keyboard.press("Enter")
    desk.told("accepted")
    cards.first.locator("[data-verdict=doubt]").click()
    desk.told("left in doubt")
    said = load_decisions(open_job(job))
    assert [d.verdict for d in said] == [Verdict.REJECTED, Verdict.ACCEPTED, Verdict.DOUBT]
    assert said[0].reason == "left free by the maker"
    desk.page.focus("#stage")
    desk.page.keyboard.press("Control+z")
    desk.told("Undone")
    assert len(load_decisions(open_job(job))) == 2


def test_the_estimate_follows_a_decision_made_by_finger(open_desk, checked_job):
    desk = open_desk(checked_job, **TABLET)
    page = desk.page
    page.locator("#tab-plan").tap()
    page.wait_for_selector("#plan-total")
    first = page.locator("#plan-total").inner_text()
    rows = page.locator("#panel-plan tbody tr").count()
    page.locator("#tab-findings").tap()
    damaged = page.locator(f"{CARDS}[data-kind=bent], {CARDS}[data-kind=stub]").first
    damaged.locator("input").fill("it plays well so")
    damaged.locator("[data-verdict=rejected]").tap()
    desk.told("rejected")
    page.locator("#tab-plan").tap()
    page.wait_for_function("(was) => document.getElementById('plan-total').textContent !== was", arg=first)
    assert page.locator("#panel-plan tbody tr").count() == rows - 1
    assert "mainsprings" in page.locator("#panel-plan").inner_text()
    assert [d.verdict for d in load_decisions(open_job(checked_job))] == [Verdict.REJECTED]


def test_findings_and_plan_follow_an_edit_not_the_last_check(open_desk, checked_job):
    """A sound pin made a stub at the page is a finding and a line of the plan at once; nothing was checked again."""
    desk = open_desk(checked_job)
    stored = (checked_job / "out" / "findings.json").read_bytes()
    desk.tab("plan")
    desk.page.wait_for_selector("#plan-total")
    lines = desk.page.locator("#panel-plan tbody tr")
    before, total = lines.count(), desk.page.locator("#plan-total").inner_text()
    sound, hole = [p for p in desk.pins().values() if p.side == "upper" and p.condition == "sound" and p.tooth][:2]
    desk.click_pin(sound)
    desk.page.focus("#stage")
    desk.page.keyboard.press("3")
    desk.told("estimate")  # a finding may take the place of another: their number need not change
    desk.page.wait_for_function("(was) => document.getElementById('plan-total').textContent !== was", arg=total)
    assert lines.count() == before + 1
    assert "check again" not in desk.page.locator("#panel-plan").inner_text()
    desk.click_pin(hole)
    desk.page.focus("#stage")
    desk.page.keyboard.press("4")
    desk.page.wait_for_selector(f"{CARDS}[data-pin='{hole.id}']", state="attached")
    # By the stored findings nothing is known of this hole, and the plan would say that only a check can tell.
    assert "whether a pin belongs here" not in desk.page.locator("#panel-plan").inner_text()
    assert (checked_job / "out" / "findings.json").read_bytes() == stored
    desk.tab("findings")
    assert desk.page.locator(f"{CARDS}[data-kind=stub][data-pin='{sound.id}']").count() == 1
    desk.page.locator(f"{CARDS}[data-pin='{sound.id}'] [data-verdict=accepted]").click()
    desk.told("accepted")
    desk.tab("plan")
    desk.page.click("#plan")
    desk.told("is made")
    plan = load_plan(open_job(checked_job))
    assert plan is not None and plan.estimate is not None
    assert f"{plan.estimate.hours[1]:.1f} h" in desk.page.locator("#plan-total").inner_text()


def test_the_plan_goes_by_the_findings_it_is_given_not_by_the_stored_ones(checked_job):
    job = open_job(checked_job)
    stored = load_findings(job)
    assert stored
    assert plan_now(job, stored).stations != plan_now(job, ()).stations
