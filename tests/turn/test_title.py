"""Which title stands over the score: a person's word, the accepted tune, or those of several tunes on the disc."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from disc.results import IdentifyResult, PartResult
from disc.turn.settings import ACCEPTED_SETTING, turn_settings
from disc.turn.transcribe_job import with_title

FIRST = PartResult(from_turn=0.0, to_turn=0.5, file="a.abc", number=1, title="First", probability=0.99)
SECOND = PartResult(from_turn=0.5, to_turn=1.0, file="b.abc", number=2, title="Second", probability=0.95)
DOUBTFUL = SECOND.model_copy(update={"probability": 0.6})
ACCEPTED = {"file": "a.abc", "number": 1, "title": "First"}


@pytest.mark.parametrize(
    "given, accepted, parts, title",
    [
        ("Mine", ACCEPTED, [FIRST, SECOND], "Mine"),
        ("", ACCEPTED, [], "First"),
        ("", None, [], ""),
        ("", None, [FIRST, SECOND], "First / Second"),
        ("", ACCEPTED, [FIRST, SECOND], "First / Second"),
        ("", None, [FIRST, DOUBTFUL], "First / "),
        ("", ACCEPTED | {"file": "c.abc"}, [FIRST, SECOND], "First"),  # a person knows better than the search
    ],
)
def test_title_over_the_score(given, accepted, parts, title):
    found = IdentifyResult(parts=parts) if parts else None
    job = SimpleNamespace(
        settings={ACCEPTED_SETTING: accepted} if accepted else {}, content=SimpleNamespace(result=lambda _: found)
    )
    assert with_title(turn_settings({"title": given}), job).tune.title == title
