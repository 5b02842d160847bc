"""The print itself, found where only the order of the teeth is known: votes, a cheap look, and the comb solved for."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from disc.library.index.groups import BY_RANK
from disc.library.index.tune_index import Index
from disc.library.records import FloatArray, IntArray
from disc.library.search.asked.disc_pulse import DiscPulse, further_grids
from disc.library.search.asked.query import Query
from disc.library.search.places import rank_search as order
from disc.library.search.places.placed import Effort, PlacedTune, best_of_each, highest, placed_tunes, pulses
from disc.library.search.places.vote import candidates

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
LOOKED_AT = 20  # placements that are kept for their look alone, whatever their tuning says
# As QUICK and THOROUGH of by_pitch.py, for searches by order of teeth. Of 120 discs (seed 142) 200,000 votes at first
# found no more than 60,000; of 100 others 400,000 afterwards found two fewer than 600,000.
RANK_QUICK = Effort(grids=1, groups=4_000, votes=60_000, looks=1_500, rated=80, fine=30)
RANK_THOROUGH = Effort(grids=2, groups=12_000, votes=600_000, looks=25_000, rated=800, fine=60)
# Where that led to no tune, the strongest pulse in quarters is tried: of four hard discs it found two (halves none).
FINE_PULSE = slice(1, 2)
RANK_FURTHER = Effort(grids=1, groups=8_000, votes=200_000, looks=6_000, rated=300, fine=40)


def places_by_order(
    index: Index, query: Query, likely: FloatArray, allowed: np.ndarray | None
) -> Iterator[list[PlacedTune]]:
    """Tunes that have a placement worth rating, best first, with the comb solved for: with ever more effort."""
    assert query.rank is not None
    grids: list[DiscPulse] = []
    for effort in (RANK_QUICK, RANK_THOROUGH):
        grids = pulses(effort.grids, query.onset_s)
        yield _rank_with(effort, index, grids, query.rank, likely, allowed)
    for grid in further_grids(query.onset_s, grids)[FINE_PULSE]:
        yield _rank_with(RANK_FURTHER, index, [grid], query.rank, likely, allowed)


def _rank_with(
    effort: Effort, index: Index, grids: list[DiscPulse], rank: IntArray, likely: FloatArray,
    allowed: np.ndarray | None,
) -> list[PlacedTune]:  # fmt: skip
    if not grids:
        return []
    trials = candidates(
        BY_RANK,
        index.by_rank,
        grids,
        rank,
        np.log(likely),
        effort.groups,
        effort.votes,
        effort.looks,
        index.stretch,
        allowed,
    )
    if trials.tune.size == 0:
        return []
    trials = trials.part(highest(order.look(index, trials, grids, rank, likely), effort.rated))
    solved = order.solve_tunings(index, trials, grids, rank, likely)
    # Of a disc that begins within its tune, or plays half of it, no tuning says much; its steps still may.
    best = np.union1d(highest(solved.score, effort.fine), np.arange(min(LOOKED_AT, solved.score.size)))
    quarter_s, start_s = trials.part(best).seconds(grids)
    zero = np.zeros(best.size, dtype=np.int64)
    return best_of_each(
        placed_tunes(trials.tune[best], solved.score[best], zero, quarter_s, start_s, solved.pitch_of_rank[best])
    )
