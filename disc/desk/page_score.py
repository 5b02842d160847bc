"""The engraved score, each note carrying the pins that play it."""

from __future__ import annotations

from typing import Any

from disc.desk.session import Session


def page_score(session: Session) -> dict[str, Any]:
    """{"pages": [SVG text, ...], "why": words where there is none}."""
    tune = session.wait_for_thoughts().tune
    if tune is None:
        return {"pages": [], "why": session.derived.why}
    from disc.tune.engrave import engrave
    from disc.tune.layout import lay_out
    from disc.tune.musicxml import musicxml_of_page

    return {"pages": list(engrave(musicxml_of_page(lay_out(tune))).pages), "why": ""}
