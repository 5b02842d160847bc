"""What the page says in English, as patterns like those of locale/terms/; tongue.py says them in another language."""

from __future__ import annotations

from disc.desk.page.said.acts import ACTS
from disc.desk.page.said.comb import COMB
from disc.desk.page.said.disc import DISC
from disc.desk.page.said.findings import FINDINGS
from disc.desk.page.said.frame import FRAME
from disc.desk.page.said.keys import KEYS
from disc.desk.page.said.pins import PINS
from disc.desk.page.said.plan import PLAN
from disc.desk.page.said.refusals import REFUSALS
from disc.desk.page.said.start import START
from disc.desk.page.said.tune import TUNE
from disc.desk.page.said.turn import TURN

PAGE_PATTERNS: tuple[str, ...] = (
    *FRAME,
    *TURN,
    *START,
    *ACTS,
    *PINS,
    *COMB,
    *TUNE,
    *FINDINGS,
    *PLAN,
    *DISC,
    *KEYS,
    *REFUSALS,
)
