"""Which strikes and which teeth are named as weak."""

from __future__ import annotations

from collections.abc import Sequence

from disc.listen.turn.hear.heard_strikes import HeardStrike
from disc.listen.turn.hear.single_sounds import Beginning
from disc.listen.turn.hear.strike_steps import ToneStep
from disc.listen.turn.judge.weak_strikes import weak_strikes, weak_teeth
from disc.listen.turn.place.disc_path import Expected


def struck(strengths: dict[int, Sequence[float | None]], laps: int = 1) -> list[HeardStrike]:
    """Strikes of each tooth in turn, as strong as said, the same in every lap; None: silent."""
    heard, index = [], 0
    for tooth, row in strengths.items():
        for strength in row:
            for lap in range(laps):
                expected = Expected(index, 0.01 * index + lap, tooth, tooth)
                begun = None if strength is None else Beginning(tooth, expected.turn, strength)
                heard.append(HeardStrike(expected, expected.turn, begun, 3.0 if begun else -3.0))
            index += 1
    return heard


def stepping(heard: Sequence[HeardStrike]) -> list[ToneStep]:
    """What each strike adds to its tooth's tone: as much as its beginning is strong."""
    return [ToneStep(h.beginning.strength if h.beginning else 0.0, 0.01, 0.9, 0.0, 0.0) for h in heard]


def test_a_strike_is_weak_against_the_others_of_its_tooth() -> None:
    heard = struck({1: (1.0, 0.9, 0.2, 1.1), 2: (0.3, 0.25, 0.28)}, laps=2)
    assert weak_strikes(heard, stepping(heard)) == [2]


def test_a_strike_that_is_weak_only_once_is_not_named() -> None:
    heard = struck({1: (1.0, 0.9, 0.2, 1.1)}) + struck({1: (1.0, 0.9, 1.0, 1.1)})
    assert weak_strikes(heard, stepping(heard)) == []


def test_two_strikes_of_a_tooth_do_not_tell_which_is_weak() -> None:
    heard = struck({1: (1.0, 0.2)})
    assert weak_strikes(heard, stepping(heard)) == []


def test_a_tooth_is_weak_against_its_neighbours() -> None:
    usual = (1.0, 0.8, 1.2)
    heard = struck({1: usual, 2: usual, 3: (0.1, 0.15, None, 0.12), 4: usual, 5: (0.1, 0.1)})
    assert weak_teeth(heard) == (3,)  # two strikes of tooth 5 may be two short pins
    assert weak_strikes(heard, stepping(heard)) == []
