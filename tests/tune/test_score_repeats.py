"""Bars in the order they are played; the expected orders are written by hand from the signs' plain meaning."""

from __future__ import annotations

import pytest

from disc.tune.score.printed.play_order import BarSigns, RepeatsDoNotFit, playing_order

NAMES = {"S": "segno", "C": "coda", "T": "to_coda", "F": "fine", "DC": "da_capo", "DS": "dal_segno"}


def signs(text: str) -> list[BarSigns]:
    """One word for each bar: '|:' opens, ':|' or ':|3' closes, '1' '2' endings, S segno, C coda, T to coda, F fine,
    DC, DS; joined with commas; '-' for none."""
    bars = []
    for word in text.split():
        bar = BarSigns()
        for mark in word.split(","):
            if mark == "|:":
                bar.opens = True
            elif mark.startswith(":|"):
                bar.times = int(mark[2:] or 2)
            elif mark.isdigit():
                bar.endings = frozenset({int(mark)})
            elif mark != "-":
                name = {"S": "segno", "C": "coda", "T": "to_coda", "F": "fine", "DC": "da_capo", "DS": "dal_segno"}[
                    mark
                ]
                setattr(bar, name, True)
        bars.append(bar)
    return bars


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("- - -", [0, 1, 2]),
        ("- :| - :|", [0, 1, 0, 1, 2, 3, 2, 3]),  # a close without its opening goes back to the last close
        ("- |: - :| -", [0, 1, 2, 3, 1, 2, 3, 4]),
        ("|: :|3 -", [0, 1, 0, 1, 0, 1, 2]),
        ("|: 1,:| 2 -", [0, 1, 0, 2, 3]),
        ("|: - 1 1,:| 2 2 |: - :|", [0, 1, 2, 3, 0, 1, 4, 5, 6, 7, 8, 6, 7, 8]),
        ("|: 1,:| 2,:| 3 -", [0, 1, 0, 2, 0, 3, 4]),
        ("- F - DC", [0, 1, 2, 3, 0, 1]),
        ("|: :| F - DC", [0, 1, 0, 1, 2, 3, 4, 0, 1, 2]),  # no repeat on the last way through
        ("- S - F DS", [0, 1, 2, 3, 4, 1, 2, 3]),
        ("- S T - DS C -", [0, 1, 2, 3, 4, 1, 2, 5, 6]),
        ("|: 1,:| 2,F - DC", [0, 1, 0, 2, 3, 4, 0, 2]),  # the last way takes the last ending
    ],
)
def test_order(text: str, order: list[int]) -> None:
    assert playing_order(signs(text), 100) == order


def test_signs_that_lead_nowhere_are_told() -> None:
    with pytest.raises(RepeatsDoNotFit, match="without a segno"):
        playing_order(signs("- DS"), 100)
    with pytest.raises(RepeatsDoNotFit, match="without a coda"):
        playing_order(signs("S T DS"), 100)
    with pytest.raises(RepeatsDoNotFit, match="more than 100 bars"):
        playing_order(signs("- " * 101), 100)
