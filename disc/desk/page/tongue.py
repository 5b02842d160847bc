"""The page's sentences in a language, for its own script to say (static/js/tongue.js, which does what said.py does).

Out: sentences without values by their English, and patterns with values, each as the regular expression of its English,
the translation with its {names}, and its longest piece of plain English, by which a sentence that cannot fit is passed
over quickly. The widest patterns come first.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from disc.desk.page.said.all_said import PAGE_PATTERNS
from disc.errors import BadInput
from disc.locale.catalogue import Language, reader
from disc.locale.said import pattern_regex
from disc.locale.terms.all_terms import PATTERNS

_NAME = re.compile(r"\{\w+\}")


def page_tongue(language: str) -> dict[str, Any]:
    """{"exact": {english: said}, "patterns": [[regex, said, piece], ...]}. Raises BadInput for an unknown language."""
    try:
        return _tongue(Language(language))
    except ValueError:
        raise BadInput(f"the page speaks {', '.join(Language)}, not {language[:20]!r}.") from None


@cache
def _tongue(language: Language) -> dict[str, Any]:
    t = reader(language)
    exact, patterns = {}, []
    for english in dict.fromkeys((*PAGE_PATTERNS, *PATTERNS)):
        if not _NAME.search(english):
            exact[english] = t(english)
            continue
        pieces = _NAME.split(english)
        regex = pattern_regex(english).pattern.replace("(?P<", "(?<")
        patterns.append((sum(map(len, pieces)), [regex, t(english), max(pieces, key=len)]))
    patterns.sort(key=lambda pair: -pair[0])
    return {"exact": exact, "patterns": [one for _, one in patterns]}
