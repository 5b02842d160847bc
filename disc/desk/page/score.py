"""The engraved score, each note carrying the pins that play it."""

from __future__ import annotations

import re
import threading
from typing import Any

from disc.desk.open_job.session import Session

_ENGRAVER = threading.Lock()  # the engraving library keeps state of its own and serves one caller at a time


def page_score(session: Session) -> dict[str, Any]:
    """{"pages": [SVG text, ...], "why": words where there is none}."""
    is_known = session.derived_rev == session.rev  # then the findings, which come after the music, need not be awaited
    tune = (session.derived if is_known else session.wait_for_thoughts()).tune
    if tune is None:
        return {"pages": [], "why": session.derived.why}
    from disc.tune.write.engrave import engrave
    from disc.tune.write.layout import lay_out
    from disc.tune.write.musicxml import musicxml_of_page

    with _ENGRAVER:
        pages = engrave(musicxml_of_page(lay_out(tune))).pages
    return {"pages": [without_style(page) for page in pages], "why": ""}


def without_style(svg: str) -> str:
    """A page without its own style sheet: the page's rules forbid inline style, desk.css holds the same lines."""
    return re.sub(r"<style\b.*?</style>", "", svg, flags=re.DOTALL)
