"""The tunes a disc may play, likeliest first: two ways of looking, one score, and no more effort than it takes.

What the disc's melody shares with a print as singers vary a tune (lay_tunes.py) finds versions, at once and cheaply;
exact places (by_pitch.py, by_order.py) find what a damaged disc was made from. The search goes on, from few tunes to
many and from chains to places, only until the first tune is sure (belief.py).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from disc.library.index.grams import gram_votes
from disc.library.index.tune_index import Index
from disc.library.records import FloatArray, IntArray
from disc.library.search.asked.melody import SEMITONES_OF_RANK, melody_probability
from disc.library.search.asked.query import Query
from disc.library.search.chains.chain import PLAIN, WIDEST
from disc.library.search.chains.lay_tunes import ask, melody_line
from disc.library.search.places.by_order import places_by_order
from disc.library.search.places.by_pitch import places_by_pitch, prepare
from disc.library.search.places.placed import highest, is_version
from disc.library.search.ranking.belief import Signs, probability
from disc.library.search.ranking.looked_at import LikenessWeights, LookedAt, Rated

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
# Tunes by their shapes of five notes that are laid beside the disc, in ever more doubt: of 60 versions among 1,000 as
# many are among 400 (57), the prints of worn discs are found by their places.
NEAR = (32, 120, 400)
WHOLE = 1_500  # a collection up to this size is laid beside the disc whole, so that each of its tunes gets a rank
SAME_WAY_NATS, SAME_RANK_NATS = 0.6, 0.9  # of a step that rises or falls alike; that goes as far by rank
# Of the likeliest, whose places are made out note by note; fewer at the first look.
TRACED, TRACED_FIRST = 10, 6
RIVALS = 12  # of the likeliest, among which what stands against the first is sought
# Probability of the first tune at which the search ends, after each look: the dearer the next one, the less it takes.
SURE = (0.98, 0.95, 0.8, 0.7, 0.5)
# A chain of so many nats, and so many a note of the disc's melody, needs no second opinion where it is likely enough;
# chance has up to 20 and 0.35, of a long melody now and then more, and another print of the tune stands in the way.
CLEAR_CHAIN, CLEAR_NATS, CLEAR_CHANCE = 24.0, 0.5, 0.9

# Of 1,600 practice discs (seeds 311 to 317, all that was found of each) chains counted in full put 76 % of the severe
# ones first, those above 12 nats alone 84 %, and as many versions (89 %); 8 and 16 nats, .5 and .7 are as good.
BY_PITCH = LikenessWeights(0.3, 12.0)
BY_ORDER = LikenessWeights(0.5)  # of searches by the order of teeth
ALIKE = LikenessWeights(0.0)  # where only chains are looked at


@dataclass(frozen=True, slots=True, eq=False)
class Ranking:
    """found: the tunes, likeliest first. signs: what speaks for the first; None where nothing was found."""

    found: list[Rated]
    signs: Signs | None


def rank_tunes(index: Index, query: Query, allowed: np.ndarray | None = None, wanted: int = 0) -> Ranking:
    """The tunes that have something in common with the disc, likeliest first.

    allowed: which may be found; None: all. wanted: where fewer than these were looked at closely, others follow by
    their votes alone.
    """
    if index.size == 0 or (allowed is not None and not allowed.any()):
        return Ranking([], None)
    if query.contour or not query.timed:
        return _by_notes_alone(index, query, allowed, wanted)
    ranking = Ranking([], None)
    votes, looks = _looks(index, query, allowed)
    for number, ranking in enumerate(looks):
        if ranking.signs is not None and _is_sure(ranking.signs, number):
            break
    return replace(ranking, found=_with_others(ranking.found, votes, wanted))


def every_look(index: Index, query: Query, allowed: np.ndarray | None = None) -> Iterator[Ranking]:
    """What is known after each look, to the last, however sure the first is: what the curve is fitted on."""
    yield from _looks(index, query, allowed)[1]


def _looks(index: Index, query: Query, allowed: np.ndarray | None) -> tuple[FloatArray | None, Iterator[Ranking]]:
    """(votes of all tunes by their shapes of five notes, None where ranks are known; what is known after each look)."""
    ranks = query.pitch is None
    height = np.asarray(query.rank if ranks else query.pitch, dtype=np.float64)
    likely = melody_probability(query.onset_s, height, ranks)
    votes, looks = None, _by_order(index, query, likely, allowed)
    if not ranks:
        votes, looks = _by_pitch(index, query, likely, allowed)
    return votes, (_ranking(index, query, one.rated(), float(likely.sum())) for one in looks)


def _is_sure(signs: Signs, looks: int) -> bool:
    """Whether more looks than the first few would tell nothing more. looks: before the last."""
    chance = probability(signs)
    clear = signs.kind == "pitch" and signs.chain >= max(CLEAR_CHAIN, CLEAR_NATS * signs.notes)
    return chance >= SURE[min(looks, len(SURE) - 1)] or (clear and chance >= CLEAR_CHANCE)


def _by_pitch(
    index: Index, query: Query, likely: FloatArray, allowed: np.ndarray | None
) -> tuple[FloatArray, Iterator[LookedAt]]:
    """(votes of all tunes by their shapes of five notes, what is known after each further look)."""
    line, _ = melody_line(query.onset_s, np.asarray(query.pitch), likely)
    near, votes = near_tunes(index, line.pitch, allowed, NEAR[-1])

    def looks() -> Iterator[LookedAt]:
        looked_at = LookedAt(index, ask(line), BY_PITCH)
        strikes = prepare(query, likely)
        whole = near.size > NEAR[-1] or (allowed is not None and np.count_nonzero(allowed) <= WHOLE)
        before = 0
        for until in (near.size,) if whole else NEAR:
            looked_at.lay(near[before:until])
            if strikes is not None and until < NEAR[-1]:
                looked_at.place(strikes, TRACED_FIRST if before == 0 else TRACED)
                yield looked_at
            before = until
        if strikes is None:
            yield looked_at
            return
        for found in places_by_pitch(index, strikes, allowed):
            looked_at.take(found)
            looked_at.place(strikes, TRACED)
            yield looked_at

    return votes, looks()


def near_tunes(index: Index, pitch: IntArray, allowed: np.ndarray | None, most: int) -> tuple[IntArray, FloatArray]:
    """(tunes to be laid beside the disc, nearest first, votes of all tunes by their shapes of five notes).

    Votes are -1 where a tune may not be found. Of few that may be all are given.
    """
    votes = gram_votes(index.by_gram, pitch, np.diff(index.start))
    if allowed is not None:
        votes = np.where(allowed, votes, -1.0)
        if np.count_nonzero(allowed) <= WHOLE:
            return np.flatnonzero(allowed), votes
    best = highest(votes, most)
    return best[votes[best] > 0], votes


def _by_order(index: Index, query: Query, likely: FloatArray, allowed: np.ndarray | None) -> Iterator[LookedAt]:
    line, _ = melody_line(query.onset_s, np.asarray(query.rank, dtype=np.float64), likely)
    looked_at = LookedAt(index, ask(line, PLAIN, rank_nats()), BY_ORDER)
    for found in places_by_order(index, query, likely, allowed):
        looked_at.take(found)
        yield looked_at


def _ranking(index: Index, query: Query, found: list[Rated], melody: float) -> Ranking:
    """With what speaks for and against the first tune being the right one. melody: its notes, as far as they count."""
    if not found:
        return Ranking([], None)
    first, near = found[0], found[1:RIVALS]
    plain = query.contour or not query.timed
    kind = "notes" if plain else "order" if query.pitch is None else "pitch"
    height = np.asarray(query.rank if query.pitch is None else query.pitch, dtype=np.float64)
    rival = next((one.score for one in found[1:] if not is_version(index, first.tune, one.tune)), 0.0)
    signs = Signs(first.score, rival, first.chain, melody, kind, np.unique(np.round(height)).size)
    if kind == "pitch":
        chain = _highest_rival(index, first, sorted((one.chain, one.tune) for one in near))
        placed = _highest_rival(index, first, sorted((one.placed, one.tune) for one in near))
        signs = replace(
            signs, rival_chain=chain, placed=first.placed, rival_placed=placed, strikes=query.onset_s.size
        )  # fmt: skip
    return Ranking(found, signs)


def _highest_rival(index: Index, first: Rated, rising: list[tuple[float, int]]) -> float:
    """The highest likeness of those that are no version of the first. rising: likeness and tune, highest last."""
    return next((nats for nats, tune in reversed(rising) if not is_version(index, first.tune, tune)), 0.0)


def _with_others(found: list[Rated], votes: FloatArray | None, wanted: int) -> list[Rated]:
    """Followed by tunes that only share shapes of notes, by their votes, up to the number wanted."""
    if votes is None or len(found) >= wanted:
        return found
    rest = votes.copy()
    rest[[one.tune for one in found]] = 0.0
    more = highest(rest, wanted - len(found))
    more = more[rest[more] > 0]
    limit, most = min((one.score for one in found), default=0.0), rest.max(initial=1e-9)
    return found + [Rated(int(t), float(min(limit, 0.0) - 1.0 + rest[t] / most), 0.0, 0.0, None) for t in more]


# ---- less than strikes with times


def _by_notes_alone(index: Index, query: Query, allowed: np.ndarray | None, wanted: int) -> Ranking:
    """Notes in their order, all of one melody; or only how they rise and fall, for which every tune is laid."""
    values = query.pitch if query.pitch is not None else query.rank
    assert values is not None
    line, _ = melody_line(query.onset_s, values.astype(np.float64), np.ones(values.size))
    votes = None
    if query.pitch is not None and not query.contour:
        tunes, votes = near_tunes(index, line.pitch, allowed, NEAR[1])
        asked = ask(line, by_time=False)
    else:
        tunes = np.arange(index.size) if allowed is None else np.flatnonzero(allowed)
        asked = ask(line, PLAIN, contour_nats() if query.contour else rank_nats(), by_time=False)
    looked_at = LookedAt(index, asked, ALIKE)
    looked_at.lay(tunes)
    laid = looked_at.rated()
    chains = looked_at.chains([one.tune for one in laid[:TRACED]])
    told = [
        replace(one, notes=tuple(j for piece in chain for _, j in piece))
        for one, chain in zip(laid[:TRACED], chains, strict=True)
    ]
    ranking = _ranking(index, query, told + laid[TRACED:], float(values.size))
    return replace(ranking, found=_with_others(ranking.found, votes, wanted))


def contour_nats() -> FloatArray:
    """What each interval of the print (columns) says of a rise, fall or repeat (rows), as chain.interval_nats()."""
    width = np.arange(-WIDEST, WIDEST + 1)
    alike = np.sign(width)[:, None] == np.sign(width)
    return np.asarray(np.where(alike, SAME_WAY_NATS, -1.5))


def rank_nats() -> FloatArray:
    """What each interval of the print (columns) says of a step from tooth to tooth by rank (rows)."""
    width = np.arange(-WIDEST, WIDEST + 1)
    alike = np.sign(width)[:, None] == np.sign(width)
    off = np.abs(SEMITONES_OF_RANK * width[:, None] - width)
    near = np.where(off <= 1.5, SAME_RANK_NATS, np.where(off <= 3.0, 0.3, -0.8))
    return np.asarray(np.where(alike, near, -1.5))
