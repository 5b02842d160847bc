"""By what signs a beginning is taken for an extra sound."""

from __future__ import annotations

import numpy as np

from disc.listen.fitted import fitted
from disc.listen.turn.hear.heard_strikes import HeardStrike
from disc.listen.turn.hear.levels import StrikeLevels
from disc.listen.turn.hear.single_sounds import Beginning
from disc.listen.turn.hear.strike_attacks import Attacks
from disc.listen.turn.judge.beginning_signs import beginning_signs
from disc.listen.turn.judge.extra_sounds import CANDIDATE_ODDS, LIKELY_ODDS
from disc.listen.turn.place.disc_path import Expected

PITCHES = 4
LEVELS = StrikeLevels(
    np.ones(PITCHES), np.full(PITCHES, 0.45), np.ones(PITCHES, dtype=bool), np.full(PITCHES, 0.02), np.ones(PITCHES)
)
STRUCK = [Beginning(g, 1.0 + 0.5 * k + 2.0 * g, 1.0, 0.0, 0.95) for g in range(PITCHES) for k in range(3)]
HEARD = [HeardStrike(Expected(k, b.time_s / 10.0, b.group, b.group), b.time_s, b, 5.0) for k, b in enumerate(STRUCK)]
QUIET = Attacks(np.zeros(1000), 0.01)


def signs(*some: Beginning) -> dict[str, np.ndarray]:
    every = sorted([*STRUCK, *some], key=lambda b: b.time_s)
    return beginning_signs(some, every, HEARD, LEVELS, QUIET)


def odds(*some: Beginning) -> np.ndarray:
    return fitted("beginning").log_odds(signs(*some))


def test_a_full_tone_alone_is_likely_a_trace_or_a_partial_is_not() -> None:
    lone = Beginning(2, 9.3, 0.95, 0.0, 0.95)
    trace = Beginning(2, 9.3, 0.12, 0.0, 0.3)
    partial = Beginning(2, 7.01, 0.5, 0.6, 0.9)  # together with a strike of another pitch that explains it
    likely = odds(lone, trace, partial)
    assert likely[0] > LIKELY_ODDS and likely[1] < CANDIDATE_ODDS and likely[2] < LIKELY_ODDS
    assert set(signs(lone)) == set(fitted("beginning").weights)


def test_a_tremble_soon_after_a_strike_of_its_pitch_counts_for_less() -> None:
    after, alone = Beginning(3, STRUCK[-1].time_s + 0.2, 0.8, 0.0, 0.9), Beginning(3, 9.6, 0.8, 0.0, 0.9)
    found = signs(after, alone)
    assert found["after"].tolist() == [1.0, 0.0]
    assert odds(after)[0] < odds(alone)[0]


def test_what_the_next_turn_does_not_repeat_counts_for_less() -> None:
    b, again = Beginning(1, 2.2, 0.8, 0.0, 0.9), Beginning(1, 7.2, 0.8, 0.0, 0.9)
    # The path of HEARD goes ten seconds a turn: none of these has a neighbouring turn within the recording.
    assert signs(b, again)["not again"].tolist() == [0.0, 0.0]
    twice = [*HEARD, HeardStrike(Expected(0, 1.1, 0, 0), 11.0, None, 5.0)]
    lone = beginning_signs([b], sorted([*STRUCK, b], key=lambda x: x.time_s), twice, LEVELS, QUIET)
    assert lone["not again"].tolist() == [0.0]  # 12.2 s lies beyond the path
    early = Beginning(1, 1.2, 0.8, 0.0, 0.9)
    short = [*HEARD, HeardStrike(Expected(0, 1.4, 0, 0), 14.0, None, 5.0)]
    every = sorted([*STRUCK, early], key=lambda x: x.time_s)
    assert beginning_signs([early], every, short, LEVELS, QUIET)["not again"].tolist() == [1.0]
    second = Beginning(1, 11.2, 0.7, 0.0, 0.9)
    assert beginning_signs([early], [*every, second], short, LEVELS, QUIET)["not again"].tolist() == [0.0]
