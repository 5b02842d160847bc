"""The tunes a disc may play, likeliest first: two ways of looking, and one score.

What the disc's melody shares with a print as singers vary a tune (lay_tunes.py) finds versions, at once and cheaply;
where that leaves a doubt, exact places (by_pitch.py, by_order.py) find what a damaged disc was made from. Each tune is
then rated both ways, and the two are added with fitted weights.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from disc.library.index.grams import gram_votes
from disc.library.index.tune_index import Index
from disc.library.records import FloatArray, IntArray
from disc.library.search.by_order import places_by_order
from disc.library.search.by_pitch import Strikes, places_by_pitch, prepare, rate_given
from disc.library.search.chain import PLAIN, WIDEST
from disc.library.search.lay_tunes import Asked, ask, lay_tunes, melody_line, pieces_of, place_of
from disc.library.search.melody import SEMITONES_OF_RANK, melody_probability
from disc.library.search.placed import PlacedTune, highest
from disc.library.search.query import Query
from disc.library.search.trial_places import Placement

NEAR = 120  # tunes by their shapes of five notes that are laid beside the disc
NEAR_IN_DOUBT = 1_000  # that are where none of the first is clear: of worn discs little is left in fives
FOUND = 40  # tunes by exact places that are
WHOLE = 1_500  # a collection up to this size is laid beside the disc whole, so that each of its tunes gets a rank
NEAR_PIECE_S = 0.2  # around a piece's first and last note, within which strikes are its own
SAME_WAY_NATS, SAME_RANK_NATS = 0.6, 0.9  # of a step that rises or falls alike; that goes as far by rank
TRACED = 10  # of the likeliest, whose places are made out note by note where no other search has
# A chain of so many nats, and so many a note of the disc's melody, needs no second opinion; chance has up to 20 and
# 0.35.
CLEAR_CHAIN, CLEAR_NATS = 24.0, 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Rated:
    """One tune, rated. score: both likenesses together, nats. chain: what its melody shares with the disc's, nats.

    placed: log-likelihood ratio of its best exact place, nats. place: where it lies; None: it was not made out.
    pitch_of_rank: the solved comb, where only ranks were known; -1 for idle teeth. notes: of the print that the disc's
    melody has, by the chain, where only notes are known.
    """

    tune: int
    score: float
    chain: float
    placed: float
    place: Placement | None
    pitch_of_rank: IntArray | None = None
    notes: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class LikenessWeights:
    """What a nat of either likeness counts."""

    chain: float
    placed: float


BY_PITCH = LikenessWeights(1.0, 0.15)
BY_ORDER = LikenessWeights(1.0, 0.5)


def rank_tunes(index: Index, query: Query, allowed: np.ndarray | None = None, wanted: int = 0) -> list[Rated]:
    """The tunes that have something in common with the disc, likeliest first.

    allowed: which may be found; None: all. wanted: where fewer than these were looked at closely, others follow by
    their votes alone.
    """
    if index.size == 0 or (allowed is not None and not allowed.any()):
        return []
    if query.contour or not query.timed:
        return _by_notes_alone(index, query, allowed, wanted)
    if query.pitch is None:
        return _by_order(index, query, allowed)
    return _by_pitch(index, query, allowed, wanted)


def _by_pitch(index: Index, query: Query, allowed: np.ndarray | None, wanted: int) -> list[Rated]:
    assert query.pitch is not None
    likely = melody_probability(query.onset_s, query.pitch)
    strikes = prepare(query, likely)
    line, _ = melody_line(query.onset_s, query.pitch, likely)
    asked = ask(line)
    near, votes = near_tunes(index, line.pitch, allowed)
    chain, quarter_s = lay_tunes(index, asked, near)
    rated = {int(t): (float(c), float(q)) for t, c, q in zip(near, chain, quarter_s, strict=True)}
    placed: dict[int, PlacedTune] = {}
    in_doubt = chain.max(initial=0.0) < max(CLEAR_CHAIN, CLEAR_NATS * line.pitch.size)
    if in_doubt and near.size == NEAR:
        further = highest(votes, NEAR_IN_DOUBT)[NEAR:]
        further = further[votes[further] > 0]
        more = zip(further, *lay_tunes(index, asked, further), strict=True)
        rated |= {int(t): (float(c), float(q)) for t, c, q in more}
    if strikes is not None and in_doubt:
        placed = {one.tune: one for one in places_by_pitch(index, strikes, allowed)[: 2 * FOUND]}
        _lay_placed(index, asked, list(placed.values())[:FOUND], rated)
    if strikes is not None:
        _place_laid(index, asked, strikes, rated, placed)
    return _fused(rated, placed, votes, BY_PITCH, wanted)


def near_tunes(index: Index, pitch: IntArray, allowed: np.ndarray | None) -> tuple[IntArray, FloatArray]:
    """(tunes to be laid beside the disc, votes of all tunes by their shapes of five notes, -1 where not allowed)."""
    votes = gram_votes(index.by_gram, pitch, np.diff(index.start))
    if allowed is not None:
        votes = np.where(allowed, votes, -1.0)
        if np.count_nonzero(allowed) <= WHOLE:
            return np.flatnonzero(allowed), votes
    best = highest(votes, NEAR)
    return best[votes[best] > 0], votes


def _lay_placed(index: Index, asked: Asked, found: list[PlacedTune], rated: dict[int, tuple[float, float]]) -> None:
    """Lay what exact places have found beside the disc, at the tempo they gave."""
    if not found:
        return
    tunes = np.array([one.tune for one in found])
    known = np.array([one.place.quarter_s for one in found])
    for tune, chain, quarter_s in zip(tunes, *lay_tunes(index, asked, tunes, known), strict=True):
        if chain > rated.get(int(tune), (-1.0, 0.0))[0]:
            rated[int(tune)] = (float(chain), float(quarter_s))


def _place_laid(
    index: Index, asked: Asked, strikes: Strikes, rated: dict[int, tuple[float, float]], placed: dict[int, PlacedTune]
) -> None:
    """Make out where the likeliest tunes lie, and rate their places like those found by votes.

    A tune laid in pieces is rated piece by piece, each against the strikes of its own time; its place is that of the
    piece that says most.
    """
    likeliest = sorted(rated, key=lambda t: -rated[t][0])[:TRACED]
    quarters = np.array([rated[tune][1] for tune in likeliest])
    whole, parts = [], []
    for tune, quarter_s, pieces in zip(likeliest, quarters, pieces_of(index, asked, likeliest, quarters), strict=True):
        for piece in pieces:
            place = place_of(index, asked, tune, float(quarter_s), piece)
            if place is not None:
                whole.append((tune, *place))
                if len(pieces) > 1:
                    times = asked.line.onset_s[[piece[0][0], piece[-1][0]]]
                    parts.append((tune, *place, float(times[0]), float(times[1])))
    _keep_best(placed, _rated(index, strikes, whole))
    together: dict[int, list[PlacedTune]] = {}
    for tune, shift, quarter_s, start_s, begin_s, end_s in parts:
        own = strikes.between(begin_s - NEAR_PIECE_S, end_s + NEAR_PIECE_S)
        for one in _rated(index, own, [(tune, shift, quarter_s, start_s)]):
            together.setdefault(tune, []).append(one)
    _keep_best(placed, [_joined(found) for found in together.values()])


def _rated(index: Index, strikes: Strikes, rows: list[tuple[int, int, float, float]]) -> list[PlacedTune]:
    if not rows:
        return []
    tunes, shift, quarter, start = (np.array(column) for column in zip(*rows, strict=True))
    return rate_given(index, strikes, tunes, shift, quarter.astype(float), start.astype(float))


def _joined(found: list[PlacedTune]) -> PlacedTune:
    """Pieces of one tune as one: all of what they say, at the place of the one that says most."""
    return replace(max(found, key=lambda one: one.score), score=sum(one.score for one in found))


def _keep_best(placed: dict[int, PlacedTune], found: list[PlacedTune]) -> None:
    for one in found:
        if one.tune not in placed or one.score > placed[one.tune].score:
            placed[one.tune] = one


def _fused(
    rated: dict[int, tuple[float, float]],
    placed: dict[int, PlacedTune],
    votes: FloatArray | None,
    weights: LikenessWeights,
    wanted: int = 0,
) -> list[Rated]:
    """Both likenesses as one, likeliest first; then what only shares shapes of notes, by its votes."""
    least = min((one.score for one in placed.values()), default=0.0)  # chance has as much, where none was looked for
    found = []
    for tune in rated.keys() | placed.keys():
        chain = rated[tune][0] if tune in rated else 0.0
        one = placed.get(tune)
        exact = one.score if one else least
        score = weights.chain * chain + weights.placed * exact
        found.append(Rated(tune, score, chain, exact, one.place if one else None, one.pitch_of_rank if one else None))
    found.sort(key=lambda one: (-one.score, one.tune))
    if votes is None or len(found) >= wanted:
        return found
    rest = votes.copy()
    rest[[one.tune for one in found]] = 0.0
    more = highest(rest, wanted - len(found))
    more = more[rest[more] > 0]
    limit, most = min((one.score for one in found), default=0.0), rest.max(initial=1e-9)
    return found + [Rated(int(t), float(min(limit, 0.0) - 1.0 + rest[t] / most), 0.0, 0.0, None) for t in more]


# ---- less than strikes with pitches and times


def _by_order(index: Index, query: Query, allowed: np.ndarray | None) -> list[Rated]:
    assert query.rank is not None
    likely = melody_probability(query.onset_s, query.rank.astype(np.float64), ranks=True)
    placed = {one.tune: one for one in places_by_order(index, query, likely, allowed)}
    line, _ = melody_line(query.onset_s, query.rank.astype(np.float64), likely)
    rated: dict[int, tuple[float, float]] = {}
    _lay_placed(index, ask(line, PLAIN, rank_nats()), list(placed.values()), rated)
    return _fused(rated, placed, None, BY_ORDER)


def _by_notes_alone(index: Index, query: Query, allowed: np.ndarray | None, wanted: int) -> list[Rated]:
    """Notes in their order, all of one melody; or only how they rise and fall, for which every tune is laid."""
    values = query.pitch if query.pitch is not None else query.rank
    assert values is not None
    line, _ = melody_line(query.onset_s, values.astype(np.float64), np.ones(values.size))
    exact = query.pitch is not None and not query.contour
    if exact:
        tunes, votes = near_tunes(index, line.pitch, allowed)
        asked = ask(line, by_time=False)
    else:
        tunes = np.arange(index.size) if allowed is None else np.flatnonzero(allowed)
        asked = ask(line, PLAIN, contour_nats() if query.contour else rank_nats(), by_time=False)
    chain, quarter_s = lay_tunes(index, asked, tunes)
    rated = {int(t): (float(c), float(q)) for t, c, q in zip(tunes, chain, quarter_s, strict=True)}
    found = _fused(rated, {}, votes if exact else None, BY_PITCH, wanted)
    first = [one for one in found[:TRACED] if one.tune in rated]
    chains = pieces_of(index, asked, [one.tune for one in first], np.array([rated[one.tune][1] for one in first]))
    told = [
        replace(one, notes=tuple(j for piece in chain for _, j in piece))
        for one, chain in zip(first, chains, strict=True)
    ]
    return told + found[len(told) :]


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
