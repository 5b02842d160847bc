"""In which order the bars of a printed score are played: repeat bars, endings, da capo, dal segno, fine and coda.

The signs are taken in their plain meaning: a repeated section is played `times` times and takes, of its endings, the
one for that pass; after a da capo or dal segno no repeat is taken again, and Fine or the coda sign count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field


@dataclass(slots=True)
class BarSigns:
    """What stands at one bar. times: how often a section closed here is played. endings: passes this bar is for."""

    opens: bool = False
    times: int = 1
    endings: frozenset[int] = field(default_factory=frozenset)
    segno: bool = False
    coda: bool = False  # the coda begins with this bar
    to_coda: bool = False  # after this bar, on the last way through, go on at the coda
    fine: bool = False
    da_capo: bool = False
    dal_segno: bool = False

    @property
    def returns(self) -> bool:
        """Whether the end of this bar sends the player back for a last way through."""
        return self.da_capo or self.dal_segno


class RepeatsDoNotFit(Exception):
    """The signs lead nowhere or never end."""


def playing_order(bars: Sequence[BarSigns], limit: int) -> list[int]:
    """Indices of the bars in the order they are played. Raises RepeatsDoNotFit past `limit` bars or on a lost sign."""
    player = _Player(bars)
    order: list[int] = []
    while not player.done:
        if player.plays_here():
            order.append(player.at)
            if len(order) > limit:
                raise RepeatsDoNotFit(f"more than {limit} bars when the repeats are played out")
            player.step()
        else:
            player.at += 1
    return order


class _Player:
    """A finger on the score: where it is, where the running section began, and which pass this is."""

    def __init__(self, bars: Sequence[BarSigns]) -> None:
        self.bars = bars
        self.at = 0
        self.section = 0
        self.turn = 1
        self.last_way = False

    @property
    def done(self) -> bool:
        return self.at >= len(self.bars)

    def plays_here(self) -> bool:
        """Whether this bar belongs to the present pass; a bar that opens a section begins its count anew."""
        signs = self.bars[self.at]
        if signs.opens and self.at != self.section:
            self.section, self.turn = self.at, 1
        return not signs.endings or _is_this_pass(self.bars, self.at, self.turn, self.last_way)

    def step(self) -> None:
        """Move on from the bar just played."""
        signs = self.bars[self.at]
        if self.last_way and signs.fine:
            self.at = len(self.bars)
        elif self.last_way and signs.to_coda:
            self.at = _find_coda(self.bars, self.at)
        elif not self.last_way and self._goes_back(signs):
            self.at, self.turn = self.section, self.turn + 1
        else:
            self._leave(signs)

    def _goes_back(self, signs: BarSigns) -> bool:
        """Whether the section is played once more from here: an ending goes back while the next pass has one."""
        if signs.times <= 1:
            return False
        if signs.endings:
            after = self.at
            while after < len(self.bars) and self.bars[after].endings:
                if self.turn + 1 in self.bars[after].endings:
                    return True
                after += 1
        return signs.times > self.turn

    def _leave(self, signs: BarSigns) -> None:
        closes = signs.times > 1 or bool(signs.endings)
        next_is_ending = self.at + 1 < len(self.bars) and bool(self.bars[self.at + 1].endings)
        if closes and not next_is_ending:
            self.section, self.turn = self.at + 1, 1
        if signs.returns and not self.last_way:
            self.last_way = True
            self.at = _find_segno(self.bars) if signs.dal_segno else 0
        else:
            self.at += 1


def _is_this_pass(bars: Sequence[BarSigns], at: int, turn: int, last_way: bool) -> bool:
    """Whether an ending's bar belongs to this pass; on the last way through the last ending is taken."""
    if not last_way:
        return turn in bars[at].endings
    after = at
    while after < len(bars) and bars[after].endings:
        after += 1
    return bars[at].endings == bars[after - 1].endings


def _find_segno(bars: Sequence[BarSigns]) -> int:
    for i, signs in enumerate(bars):
        if signs.segno:
            return i
    raise RepeatsDoNotFit("dal segno without a segno")


def _find_coda(bars: Sequence[BarSigns], at: int) -> int:
    for i in range(at + 1, len(bars)):
        if bars[i].coda:
            return i
    raise RepeatsDoNotFit("a coda sign without a coda")
