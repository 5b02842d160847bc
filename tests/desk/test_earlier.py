"""An earlier reading beside the present one, by a slider."""

from __future__ import annotations

from dataclasses import replace

from .rig import make_job, pins


def test_other_job_first_reading_and_a_step_are_compared(open_desk, job, tmp_path):
    shown = list(pins())
    gone = shown.pop(20)
    shown[3] = replace(shown[3], theta_deg=shown[3].theta_deg + 1.5)
    older = make_job(tmp_path / "older", tuple(shown))
    desk = open_desk(job, "--earlier", str(older))
    desk.tab("history")
    desk.page.wait_for_selector("#earlier-choice option[value=other]", state="attached")
    desk.page.select_option("#earlier-choice", "other")
    desk.page.wait_for_selector("#differences li")
    words = desk.page.locator("#differences").inner_text()
    assert "new" in words or "set" in words
    desk.page.locator("#differences button", has_text=f"{gone.r_mm:.2f} mm").first.click()
    assert desk.picked() == [gone.id]
    desk.page.click("#earlier-open")
    desk.page.wait_for_selector("#stage[data-ready=earlier]")
    shot = "() => document.getElementById('stage').toDataURL().length"
    left = desk.page.evaluate(shot)
    desk.page.focus("#wipe")
    for _ in range(20):
        desk.page.keyboard.press("ArrowRight")
    desk.page.wait_for_timeout(200)
    assert desk.page.input_value("#wipe") == "70"
    assert desk.page.evaluate(shot) != left
    desk.page.select_option("#earlier-choice", "first")
    desk.page.wait_for_function(
        "() => document.getElementById('panel-history').textContent.includes('Nothing differs')"
    )
