"""What became of the expected strikes: the record that matching makes and telling refines."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from disc.listen.sound.audio import FloatArray
from disc.listen.turn.hear.single_sounds import Beginning
from disc.listen.turn.place.disc_path import Expected

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# How far from the path a strike is still taken as early or late rather than as a missing and an extra one.
REACH_S = 0.14
OPEN_ODDS = 0.7  # a strike is called silent only if that is twice as likely
# Of the fitted probability: a strike is silent from the one on, sounded below the other; between it is left open.
SILENT_FROM, SOUNDED_TO = 0.5, 0.2


@dataclass(frozen=True)
class HeardStrike:
    """What became of an expected strike. beginning: None where silent or open. odds: log-odds that it sounded,
    by matching alone. silent: probability that it did not, by all there is; None where that was not weighed. beyond:
    the disc had stopped before it, and an earlier lap tells of it."""

    expected: Expected
    path_s: float
    beginning: Beginning | None
    odds: float
    silent: float | None = None
    beyond: bool = False

    @property
    def is_open(self) -> bool:
        """Whether too little speaks either way."""
        if self.beginning is not None or self.beyond:
            return False
        return self.odds > -OPEN_ODDS if self.silent is None else self.silent < SILENT_FROM


def left_open(heard: Iterable[HeardStrike]) -> set[int]:
    """Strikes, by their index in the expected ones, of which no lap tells whether they sounded."""
    mine = list(heard)
    told = {
        h.expected.index for h in mine
        if h.beginning is not None or (h.silent is not None and h.silent >= SILENT_FROM and not h.beyond)
    }  # fmt: skip
    return {h.expected.index for h in mine if h.is_open} - told


@dataclass(frozen=True)
class Matched:
    """All expected strikes with what was heard of them, and the extra beginnings with their log-odds."""

    heard: tuple[HeardStrike, ...]
    extra: tuple[tuple[Beginning, float], ...]
    loud: FloatArray
