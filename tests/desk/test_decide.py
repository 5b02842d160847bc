"""Findings and plan beside the photograph, the estimate that follows, and what is taken away."""

from __future__ import annotations

from disc.check.decisions import Verdict, load_decisions
from disc.job import open_job
from disc.repin.store import load_plan


def test_accept_reject_with_reason_doubt_and_undo(open_desk, job):
    desk = open_desk(job)
    desk.tab("findings")
    desk.page.click("#check")
    desk.told("Checked")
    cards = desk.page.locator("#panel-findings article")
    assert cards.count() > 3
    missing = desk.page.locator("#panel-findings article[data-kind=missing]").first
    missing.get_by_role("button", name="Show").click()
    assert desk.picked() == [int(missing.get_attribute("data-pin"))]
    missing.locator("[data-verdict=rejected]").click()
    desk.told("say in a few words why")
    assert load_decisions(open_job(job)) == ()
    missing = desk.page.locator("#panel-findings article[data-kind=missing]").first
    missing.locator("input").fill("left free by the maker")
    missing.locator("[data-verdict=rejected]").click()
    desk.told("rejected")
    desk.page.locator("#panel-findings article[data-kind=bent]").first.locator("[data-verdict=accepted]").click()
    desk.told("accepted")
    desk.page.locator("#panel-findings article[data-kind=stub]").first.locator("[data-verdict=doubt]").click()
    desk.told("left in doubt")
    said = load_decisions(open_job(job))
    assert [d.verdict for d in said] == [Verdict.REJECTED, Verdict.ACCEPTED, Verdict.DOUBT]
    assert said[0].reason == "left free by the maker"
    desk.page.focus("#stage")
    desk.page.keyboard.press("Control+z")
    desk.told("Undone")
    assert len(load_decisions(open_job(job))) == 2


def test_the_estimate_follows_a_decision(open_desk, job):
    desk = open_desk(job)
    desk.tab("findings")
    desk.page.click("#check")
    desk.told("Checked")
    desk.tab("plan")
    first = desk.page.locator("#plan-total").inner_text()
    rows = desk.page.locator("#panel-plan tbody tr").count()
    desk.tab("findings")
    bent = desk.page.locator("#panel-findings article[data-kind=bent]").first
    bent.locator("input").fill("it plays well so")
    bent.locator("[data-verdict=rejected]").click()
    desk.told("rejected")
    desk.tab("plan")
    desk.page.wait_for_function("(was) => document.getElementById('plan-total').textContent !== was", arg=first)
    assert desk.page.locator("#panel-plan tbody tr").count() == rows - 1
    assert "mainsprings" in desk.page.locator("#panel-plan").inner_text()


def test_an_edit_changes_findings_and_says_so(open_desk, job):
    desk = open_desk(job)
    desk.tab("findings")
    desk.page.click("#check")
    desk.told("Checked")
    before = desk.page.locator("#panel-findings article").count()
    bent = desk.page.locator("#panel-findings article[data-kind=bent]").first
    bent.get_by_role("button", name="Show").click()
    desk.page.focus("#stage")
    desk.page.keyboard.press("Delete")
    desk.told(f"findings {before} →")
    assert desk.page.locator("#panel-findings article").count() != before


def test_score_plan_and_tables_are_made_and_taken_away(open_desk, job):
    desk = open_desk(job)
    desk.tab("save")
    desk.page.click("[data-make=transcribe]")
    desk.told("Score, MIDI and sound are made")
    desk.page.click("[data-make=check]")
    desk.told("Checked")
    desk.page.click("[data-make=plan]")
    desk.told("is made")
    assert load_plan(open_job(job)) is not None
    for name, start in {
        "out/tune.mid": b"MThd",
        "out/tune.pdf": b"%PDF",
        "out/tune.wav": b"RIFF",
        "out/work-list.pdf": b"%PDF",
    }.items():
        # First bytes: Standard MIDI Files 1.0; ISO 32000-1, 7.5.2; RIFF (Microsoft and IBM, 1991).
        assert (job / name).read_bytes().startswith(start)
    with desk.page.expect_download() as download:
        desk.page.get_by_role("link", name="tune.mid").click()
    assert download.value.path().read_bytes() == (job / "out/tune.mid").read_bytes()
    assert desk.errors == []
    assert "untouched" in desk.page.locator("#panel-save").inner_text()
