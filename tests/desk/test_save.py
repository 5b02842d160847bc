"""Sheets, MIDI, score and report of the shipped sample, made at the page and taken away."""

from __future__ import annotations

from disc.job import open_job
from disc.repin.store import load_plan

# First bytes: Standard MIDI Files 1.0; ISO 32000-1, 7.5.2; RIFF (Microsoft and IBM, 1991).
STARTS = {
    "out/tune.mid": b"MThd", "out/tune.pdf": b"%PDF", "out/tune.wav": b"RIFF", "out/work-list.pdf": b"%PDF",
    "out/drawings/sheets.pdf": b"%PDF", "out/report.pdf": b"%PDF", "out/report.html": b"<!doctype html",
}  # fmt: skip


def test_everything_is_made_taken_away_and_marked_older_after_an_edit(open_desk, job):
    desk = open_desk(job, has_touch=True)
    page = desk.page
    desk.sheet("score")  # the page's own engraving, in another thread than the files' below
    page.wait_for_selector("#score-box [id^='pin-']")
    desk.tab("save")
    for name, told in {
        "transcribe": "Score, MIDI and sound are made",
        "check": "Checked",
        "plan": "is made",
        "report": "The condition report with",
    }.items():
        page.locator(f"[data-make={name}]").tap()
        desk.told(told, 60_000)
    assert load_plan(open_job(job)) is not None
    for name, start in STARTS.items():
        assert (job / name).read_bytes().lower().startswith(start.lower()), name
    for name in ("tune.mid", "report.pdf", "drawings/sheets.pdf"):
        with page.expect_download() as download:
            page.get_by_role("link", name=name, exact=True).click()
        assert download.value.path().read_bytes() == (job / "out" / name).read_bytes()
    report = (job / "out/report.html").read_text(encoding="utf-8")
    assert f"{open_job(job).plate.diameter_mm:.2f} mm" in report and "stub" in report
    assert desk.errors == []
    assert "untouched" in page.locator("#panel-save").inner_text()
    assert "older" not in page.locator(".files").inner_text()
    page.focus("#stage")
    desk.sheet("upper")
    page.focus("#stage")
    page.keyboard.press("n")
    page.keyboard.press("5")
    desk.told("condition")
    page.wait_for_function("() => /tune\\.mid.*older/.test(document.querySelector('.files').textContent)")
