"""An earlier reading beside the present one, by a slider, on the shipped sample."""

from __future__ import annotations

from disc.job import open_for_writing
from disc.records import Condition, Side
from disc.tables import format_pins, read_pins

from .sample import copied, lonely

SHOT = "() => document.getElementById('stage').toDataURL().length"


def test_other_job_first_reading_and_a_step_are_compared(open_desk, job, sample_read, tmp_path):
    read = read_pins(job / "pins.csv")
    gone, bent = lonely(read, Side.UPPER, Condition.SOUND)[:2]
    older = copied(sample_read, tmp_path / "older")
    (older / "pins.csv").write_text(format_pins([pin for pin in read if pin.id != gone.id]), encoding="utf-8")
    with open_for_writing(older):
        pass  # takes the table over as a person's correction
    desk = open_desk(job, older)
    desk.tab("history")
    desk.page.wait_for_selector("#earlier-choice option[value=other]", state="attached")
    desk.page.select_option("#earlier-choice", "other")
    desk.page.wait_for_selector("#differences li")
    assert desk.page.locator("#differences li").count() == 1
    desk.page.locator("#differences button", has_text=f"{gone.r_mm:.2f} mm").first.click()
    assert desk.picked() == [gone.id]
    desk.page.click("#earlier-open")
    desk.page.wait_for_selector("#stage[data-ready=earlier]")
    desk.page.focus("#wipe")
    left = desk.page.evaluate(SHOT)
    for _ in range(20):
        desk.page.keyboard.press("ArrowRight")
    desk.page.wait_for_function(f"(was) => ({SHOT})() !== was", arg=left)
    assert desk.page.input_value("#wipe") == "70"
    desk.page.select_option("#earlier-choice", "first")
    nothing = "() => document.getElementById('panel-history').textContent.includes('Nothing differs')"
    desk.page.wait_for_function(nothing)
    desk.sheet("upper")
    desk.click_pin(bent)
    desk.tab("pin")
    desk.page.select_option("#pin-condition", "bent")
    desk.told("condition bent")
    desk.tab("history")
    desk.page.wait_for_selector("#differences li:has-text('bent')")
