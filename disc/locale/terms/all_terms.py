"""Every pattern of the subjects, in one tuple; said.py turns them into other languages."""

from __future__ import annotations

from disc.locale.terms.doubts import DOUBTS
from disc.locale.terms.findings import FINDINGS
from disc.locale.terms.headings import HEADINGS
from disc.locale.terms.listening import LISTENING
from disc.locale.terms.report import REPORT
from disc.locale.terms.tune import TUNE
from disc.locale.terms.work import WORK

PATTERNS: tuple[str, ...] = (*HEADINGS, *WORK, *FINDINGS, *DOUBTS, *LISTENING, *TUNE, *REPORT)
