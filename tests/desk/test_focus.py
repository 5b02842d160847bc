"""A panel drawn anew takes nothing out of a person's hand: focus, what is begun or unfolded, what is being pressed."""

from __future__ import annotations

import pytest

ONE_DESK = True
HERE = "() => { const one = document.activeElement; return one.dataset.key || one.id || one.textContent; }"
# What another act of the desk changes, as if it came while the person is elsewhere in the panel.
ACT = """async ([address, content]) => {
  const { post } = await import('/static/js/api.js');
  const { takePins, takeState } = await import('/static/js/store.js');
  const answer = await post(address, content);
  (answer.job ? takeState : takePins)(answer);
}"""
SETTLED = """() => { const { rev, music, findings } = document.body.dataset;
  return music === rev && findings === rev; }"""
VERDICTS = """async () => {
  const { desk } = await import('/static/js/store.js');
  return desk.state.findings.findings.filter((finding) => finding.verdict).length; }"""


class Panels:
    """A desk, and acts on it that the person's hands had no part in."""

    def __init__(self, desk):
        self.desk, self.page = desk, desk.page

    def act(self, address, **content):
        self.page.evaluate(ACT, [address, content])
        self.page.wait_for_function(SETTLED)

    def is_drawn_anew(self, where, address, **content):
        """The part is another one afterwards."""
        self.page.locator(where).first.evaluate("(one) => { window.before = one; }")
        self.act(address, **content)
        self.page.wait_for_function("() => !window.before.isConnected")

    def here(self):
        return self.page.evaluate(HERE)


@pytest.fixture
def panels(open_desk, checked_job):
    return Panels(open_desk(checked_job, locale="de-DE"))


def test_the_focus_stays_on_what_is_drawn_anew(panels):
    page, pins = panels.page, panels.desk.pins()
    first, second = list(pins)[:2]
    # The plan: the findings changed what is to be done.
    panels.desk.tab("plan")
    page.focus("#plan")
    finding = page.evaluate("async () => (await import('/static/js/store.js')).desk.state.findings.findings[0]")
    named = {name: finding[name] for name in ("kind", "side", "r_mm", "theta_deg")}
    panels.is_drawn_anew("#plan", "/api/decide", finding=named, verdict="rejected", reason="so")
    assert panels.here() == "plan"
    page.focus("#panel-plan summary")
    page.keyboard.press("Enter")
    panels.is_drawn_anew("#panel-plan summary", "/api/decide", finding=named, verdict="open", reason="")
    assert page.evaluate("() => document.activeElement.matches('#panel-plan details[open] summary')")
    # A pin's panel: a number begun, the cursor within it.
    page.evaluate("async (id) => (await import('/static/js/store.js')).select([id])", first)
    panels.desk.tab("pin")
    page.fill("#pin-r", "7.25")
    page.keyboard.press("ArrowLeft")
    panels.is_drawn_anew("#pin-r", "/api/edit", do="change", pins=[first], changes={"condition": "bent"})
    page.keyboard.type("1")
    assert panels.here() == f"pin-r {first}" and page.input_value("#pin-r") == "7.215"
    # The steps of the desk: those that stay are not drawn anew at all.
    panels.desk.tab("history")
    page.focus("#history-steps button")
    page.evaluate("() => { window.before = document.activeElement; }")
    panels.act("/api/edit", do="remove", pins=[second])
    page.wait_for_selector("#history-steps li:last-child[aria-current=step]")
    assert panels.here() == "step 0" and page.evaluate("() => document.activeElement === window.before")
    # The marks' legend in the line below.
    page.focus("#tally [data-mark=sound]")
    panels.is_drawn_anew("#tally [data-mark=sound]", "/api/history", to=0)
    assert panels.here() == "mark sound"
    # A button that has nothing left to do keeps the focus too.
    panels.act("/api/edit", do="change", pins=[second], changes={"condition": "stub"})
    page.focus("#undo")
    page.keyboard.press("Enter")
    panels.desk.until("async () => (await import('/static/js/store.js')).desk.state.history.done === 0")
    assert panels.here() == "undo"


def test_the_comb_s_table_keeps_what_is_begun_in_it(panels):
    page = panels.page
    panels.desk.tab("comb")
    page.click("#comb-table-more")
    page.keyboard.type("99")
    page.click("[data-was='2'] [aria-pressed]")
    page.fill("[data-was='3'] [data-column=pitch]", "A5")
    panels.is_drawn_anew("[data-was='3']", "/api/comb-table", rows=[{"was": 1, "pitch": "A4"}], drop=[])
    assert page.input_value("[data-was='3'] [data-column=pitch]") == "A5"
    assert page.evaluate("() => document.activeElement.closest('tr').dataset.was") == "3"
    assert page.input_value("tr:not([data-was]) [data-column=number]") == "99"
    assert page.get_attribute("[data-was='2'] [aria-pressed]", "aria-pressed") == "true"


def test_where_it_is_gone_the_focus_goes_to_what_stands_in_its_place(panels):
    page = panels.page
    panels.desk.tab("findings")
    second = page.locator("#panel-findings article").nth(1).inner_text()
    page.focus("#panel-findings article [data-verdict=accepted]")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement.matches('article')")
    assert page.evaluate("() => document.activeElement.innerText") == second
    page.keyboard.press("Enter")  # held too long: it accepts no other
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.closest('article').innerText") == second
    # A panel that leads to another; a box of choices that closes; a panel folded away.
    page.evaluate("async () => (await import('/static/js/store.js')).select([])")
    panels.desk.tab("pin")
    page.focus("#next-steps li:nth-child(3) button")
    page.keyboard.press("Enter")
    assert panels.here() == "panel-tune"
    page.focus("#more")
    page.keyboard.press("Enter")
    page.focus("[data-open=disc]")
    page.keyboard.press("Enter")
    assert panels.here() == "panel-disc"
    page.focus("#side-fold")
    page.keyboard.press("Enter")
    assert panels.here() == "tab-disc"


def test_what_is_being_pressed_stays_until_it_is_let_go(panels):
    page = panels.page
    panels.desk.tab("findings")
    page.select_option("#finding-filter", "all")
    for press, let_go in (
        (page.mouse.down, page.mouse.up),
        (lambda: page.keyboard.down(" "), lambda: page.keyboard.up(" ")),
    ):
        before = page.evaluate(VERDICTS)
        # From the end: the edit below puts a finding more, of one of the first pins, at the beginning.
        button = page.locator(f"#panel-findings article:nth-last-of-type({before + 2}) [data-verdict=accepted]")
        button.scroll_into_view_if_needed()
        button.hover()
        button.focus()
        press()
        pin = list(panels.desk.pins())[before]
        button.evaluate("(one) => { window.before = one; }")
        panels.act("/api/edit", do="change", pins=[pin], changes={"condition": "missing" if before else "stub"})
        assert page.evaluate("() => window.before.isConnected")
        let_go()
        panels.desk.until(f"async () => await ({VERDICTS})() === {before + 1}")


def test_what_followed_sooner_than_its_answer_came_is_not_lost(panels):
    """The music of new pins may be told while the desk still puts together the state that is asked for with them."""
    shown = panels.page.evaluate("""async () => {
      const { desk, takeFindings, takeMusic, takeState } = await import('/static/js/store.js');
      const late = structuredClone(desk.state);
      const rev = late.rev + 1;
      takeMusic({ ...desk.music, rev, why: 'news' });
      takeFindings({ rev, findings: { checked: true, findings: [] }, plan: { made: false }, files: [] });
      takeState({ ...late, rev, pending: true });
      return [desk.music.rev - rev, desk.music.why, desk.state.pending, desk.state.findings.findings.length];
    }""")
    assert shown == [0, "news", False, 0]
