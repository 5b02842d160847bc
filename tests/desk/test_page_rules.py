"""Accessibility, and a page that cannot do what it must not."""

from __future__ import annotations

from axe_playwright_python.sync_playwright import Axe

from disc.records import Side

from .sample import lonely

ONE_DESK = True
FOCUS = """() => {
  const part = document.activeElement;
  const outline = (one) => (one ? getComputedStyle(one).outlineStyle : '');
  const name = part.id || part.dataset.name || part.textContent.slice(0, 20);
  return [name, outline(part), outline(part.closest('label.button'))];
}"""


def serious(page, part=None):
    """axe-core's faults of impact serious or critical, in words; of the whole page, or of a part by its selector."""
    found = Axe().run(page, context=part).response["violations"]
    return [
        f"{fault['id']}: {fault['nodes'][0]['html'][:120]}"
        for fault in found
        if fault["impact"] in ("serious", "critical")
    ]


def test_axe_finds_no_serious_fault_on_the_start_page(open_desk, tmp_path):
    desk = open_desk(tmp_path / "fresh", bypass_csp=True)
    assert serious(desk.page) == []


def test_every_control_is_reached_and_its_focus_is_seen(open_desk, job):
    desk = open_desk(job)
    desk.click_pin(lonely(desk.pins().values(), Side.UPPER)[0])
    reached = set()
    for _ in range(90):
        desk.page.keyboard.press("Tab")
        told = desk.page.evaluate(FOCUS)
        reached.add(told[0])
        if told[0] and desk.page.evaluate("() => document.activeElement !== document.body"):
            assert "solid" in told[1:], told
    wanted = "more upper pick zoom-out zoom-in stage play play-what loud-open roll tab-pin pin-list"
    assert set(wanted.split()) <= reached


def test_the_page_may_load_nothing_from_elsewhere(open_desk, job):
    desk = open_desk(job)
    tried = desk.page.evaluate(
        """async () => {
          const blocked = [];
          document.addEventListener('securitypolicyviolation', (e) => blocked.push(e.effectiveDirective));
          await fetch('http://127.0.0.2:9/x').catch(() => {});
          const image = new Image(); image.src = 'http://127.0.0.2:9/x.png';
          const script = document.createElement('script');
          script.textContent = 'window.hacked = 1';
          document.body.append(script);
          while (blocked.length < 3) await new Promise((done) => setTimeout(done, 20));
          return [blocked.sort(), window.hacked ?? null];
        }"""
    )
    assert tried[1] is None
    assert {"connect-src", "img-src", "script-src-elem"} <= set(tried[0])
    desk.errors.clear()  # the refusals just provoked
    desk.requests[:] = [url for url in desk.requests if "127.0.0.2" not in url]
