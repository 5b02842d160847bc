"""Which tune is it: the whole search, from strikes to ranked matches.

Votes of groups of strikes (vote.py) give trial placements, a likelihood over all strikes rates them (rate.py, or
order.py where only the order of the teeth is known), the best are fitted finely, and each tune's best placement is
aligned in full (align.py). How likely it is that the disc plays that tune at all is read off a fitted curve
(belief.py).
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from disc.errors import BadInput
from disc.library.index.groups import BY_PITCH, BY_RANK
from disc.library.index.tune_index import Index
from disc.library.read.likeness import ALIKE, likeness
from disc.library.records import Alignment, FloatArray, IntArray, Match, TuneKey
from disc.library.search import rank_search as order
from disc.library.search.align import align, split_tuning
from disc.library.search.belief import Signs, probability
from disc.library.search.disc_pulse import Grid, divided, find_grids, further_grids, unlike
from disc.library.search.melody import melody_probability
from disc.library.search.rate import PRESENT, draw, look, rate, rate_places
from disc.library.search.trial_places import Placement
from disc.library.search.vote import candidates

FEWEST_STRIKES = 5  # fewer cannot tell one tune of thousands from another
MOST_STRIKES = 2000  # a disc of this kind has 50 to 300 pins; common practice, no source
FINE_SHIFTS_S = np.array([-0.04, -0.02, 0.0, 0.02, 0.04])
FINE_STRETCHES = np.array([0.994, 0.997, 1.0, 1.003, 1.006])
GRIDS_FOUND = 4  # strongest pulses, of which the unlike ones are followed
COARSE_SPREAD_S = 0.03  # while tempo and start are known roughly
LEAST_CLAIM, MOST_CLAIM = 2.0, 2.0  # nats; 0, 1 and 2.5 tried on practice discs (severe, seed 11): 0.69, 0.73, 0.73
NATS_A_FOLD = 4.0  # strikes are not independent: four nats of score are taken for one; common practice, no source
NORMAL_QUARTER_S = 0.5  # a quarter at 120 a minute, against which tempo ratios are given


@dataclass(frozen=True, slots=True)
class Effort:
    """How far the search looks: pulses, groups and votes, placements looked at, rated, and fitted finely."""

    grids: int
    groups: int
    votes: int
    looks: int
    rated: int
    fine: int


# Nearly all discs are known by the quick effort; where its first tune does not lead clearly, the search goes on.
QUICK = Effort(grids=1, groups=12_000, votes=150_000, looks=5_000, rated=600, fine=40)
THOROUGH = Effort(grids=2, groups=20_000, votes=500_000, looks=25_000, rated=1_000, fine=60)
FURTHER = Effort(grids=1, groups=12_000, votes=145_000, looks=6_000, rated=500, fine=40)  # for each further pulse
RANK_QUICK = Effort(grids=1, groups=8_000, votes=200_000, looks=4_000, rated=200, fine=40)
RANK_THOROUGH = Effort(grids=2, groups=12_000, votes=600_000, looks=25_000, rated=800, fine=60)
# Nats, and the share of the score by which the best of another group must be behind. Of 200 practice discs by rank
# (seed 107) one wrong tune passed.
CLEAR_SCORE, CLEAR_LEAD = 60.0, 0.25
CLEAR_NATS = 3.0  # for each strike likely of the melody; right tunes of hard discs have 3.5 to 7
RANK_CLEAR_SCORE, RANK_CLEAR_LEAD = 20.0, 0.4


@dataclass(frozen=True, slots=True, eq=False)
class Query:
    """What a disc plays: onsets in seconds, ascending, and either pitches (MIDI) or ranks of the teeth, shape (n,)."""

    onset_s: FloatArray
    pitch: FloatArray | None = None
    rank: IntArray | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """One tune's best placement. pitch_of_rank: the solved comb, where only ranks were known; -1 for idle teeth."""

    tune: int
    score: float
    place: Placement
    pitch_of_rank: IntArray | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Strikes:
    """Strikes of known pitch, shape (n,): whole semitones; probability to be of the melody; spread about their places.

    The spread is one for all pulses tried: on a finer grid strikes seem more exact, and scores would not compare.
    """

    onset_s: FloatArray
    pitch: IntArray
    likely: FloatArray
    sigma_s: float


def make_query(onset_s: FloatArray, pitch: FloatArray | None, rank: IntArray | None, name: str) -> Query:
    """A query in order of time. Raises BadInput for input no disc can have given; name: what to call it in words."""
    if (pitch is None) == (rank is None):
        raise BadInput(f"{name}: either pitches or ranks are needed for every strike.")
    onset_s = np.asarray(onset_s, dtype=np.float64)
    if onset_s.size < FEWEST_STRIKES:
        many = "no strikes" if onset_s.size == 0 else "one strike" if onset_s.size == 1 else f"{onset_s.size} strikes"
        raise BadInput(f"{name}: {many}; at least {FEWEST_STRIKES} are needed to know a tune by.")
    if onset_s.size > MOST_STRIKES:
        raise BadInput(
            f"{name}: {onset_s.size} strikes; a disc of this kind has a few hundred pins, and {MOST_STRIKES} is the "
            "most that is searched for. Give one turn of the disc only."
        )
    values = np.asarray(pitch if pitch is not None else rank, dtype=np.float64)
    if not (np.isfinite(onset_s).all() and np.isfinite(values).all()):
        raise BadInput(f"{name}: a time or a pitch is not a number. Correct it and run the command again.")
    if float(np.ptp(onset_s)) < 1.0:
        raise BadInput(
            f"{name}: all strikes fall within one second, so there is no tune to follow. Are the times seconds?"
        )
    if float(np.ptp(onset_s)) > 3600.0:
        raise BadInput(f"{name}: the strikes span more than an hour. Were the times written in milliseconds?")
    by_time = np.lexsort((values, onset_s))
    onset_s, values = onset_s[by_time], values[by_time]
    if pitch is not None:
        if values.min() < 0 or values.max() > 140:
            raise BadInput(
                f"{name}: pitches must lie from 0 to 140 (MIDI numbers). Correct them and run the command again."
            )
        return Query(onset_s, values, None)
    _, dense = np.unique(values, return_inverse=True)
    return Query(onset_s, None, dense.astype(np.int64))


def find_tunes(index: Index, query: Query, top: int = 10, allowed: np.ndarray | None = None) -> list[Match]:
    """The likeliest tunes, best first. allowed: shape (tunes,), which may be found; None: all."""
    found = rank_tunes(index, query, allowed)
    if not found:
        return []
    belief = probability(signs_of(index, query, found))
    matches: list[Match] = []
    for place, one in enumerate(found[:top]):
        reference = index.reference(one.tune)
        onset_s, pitch = _as_pitches(query, one)
        alignment = align(onset_s, pitch, reference, one.place)
        chance = belief if place == 0 else _chance_of_other(found, place, belief)
        # Versions of the first under any title are gathered; further down there is little but chance.
        group = index.group[found[0].tune if is_version(index, found[0].tune, one.tune) else one.tune]
        matches.append(_match(index, one, alignment, query, chance, int(group)))
    return matches


def allowed_tunes(index: Index, collection: str | None, exclude: Collection[TuneKey]) -> np.ndarray | None:
    """Which tunes may be found. Raises BadInput for a collection that the library does not have."""
    if collection is None and not exclude:
        return None
    allowed = np.ones(index.size, dtype=bool)
    if collection is not None:
        if collection not in index.collections:
            names = sorted(index.collections)
            raise BadInput(f"the library has no collection {collection!r}. It has: {', '.join(names)}.")
        allowed = np.asarray(index.collection_of[:] == list(index.collections).index(collection))
    for key in exclude:
        tune = index.tune_of(key)
        if tune is not None:
            allowed[tune] = False
    return allowed


# ---- ranking


def rank_tunes(index: Index, query: Query, allowed: np.ndarray | None = None) -> list[Found]:
    """Every tune that has a placement worth rating, best first, each with its best placement."""
    if index.size == 0 or (allowed is not None and not allowed.any()):
        return []
    return _rank_by_pitch(index, query, allowed) if query.pitch is not None else _rank_by_order(index, query, allowed)


def _rank_by_pitch(index: Index, query: Query, allowed: np.ndarray | None) -> list[Found]:
    assert query.pitch is not None
    _, pitch = split_tuning(query.pitch)
    likely = melody_probability(query.onset_s, query.pitch)
    found: list[Found] = []
    grids: list[Grid] = []
    for effort in (QUICK, THOROUGH):
        grids = _grids(effort, query.onset_s)
        if not grids:
            return []
        strikes = _Strikes(query.onset_s, pitch, likely, spread_s(query.onset_s, grids))
        found = _rank_with(effort, index, grids, strikes, allowed)
        if found and _leads_clearly(index, found, max(CLEAR_SCORE, CLEAR_NATS * float(likely.sum())), CLEAR_LEAD):
            return found
    for grid in further_grids(query.onset_s, grids):
        found = _merged(found, _rank_with(FURTHER, index, [grid], strikes, allowed))
    return found


def _merged(first: list[Found], second: list[Found]) -> list[Found]:
    """Each tune's best placement of two rankings, best first."""
    best: dict[int, Found] = {}
    for one in sorted((*first, *second), key=lambda found: -found.score):
        best.setdefault(one.tune, one)
    return list(best.values())


def _leads_clearly(index: Index, found: list[Found], score: float, lead: float) -> bool:
    """Whether the first tune is so far ahead of the best that is no version of it that looking further is idle."""
    first = found[0]
    near = [one for one in found[1:] if one.score > (1.0 - lead) * first.score]
    return first.score >= score and all(is_version(index, first.tune, one.tune) for one in near)


def _grids(effort: Effort, onset_s: FloatArray) -> list[Grid]:
    """The pulses tried: the likeliest that differ."""
    return [divided(onset_s, grid) for grid in unlike(find_grids(onset_s, GRIDS_FOUND), effort.grids)]


def _rank_with(
    effort: Effort, index: Index, grids: list[Grid], strikes: _Strikes, allowed: np.ndarray | None
) -> list[Found]:
    onset_s, pitch, likely, sigma = strikes.onset_s, strikes.pitch, strikes.likely, strikes.sigma_s
    trials = candidates(
        BY_PITCH, index.by_pitch, grids, pitch, np.log(likely), effort.groups, effort.votes, effort.looks, allowed
    )
    if trials.tune.size == 0:
        return []
    gain = strike_gain(onset_s, pitch, sigma) + melody_claim(likely)
    coarse = draw(onset_s, pitch, gain, max(sigma, COARSE_SPREAD_S))
    trials = trials.part(_highest(look(index, trials, grids, coarse).astype(np.float64), effort.rated))
    score, quarter_s, start_s = rate(index, trials, grids, coarse, np.zeros(1), np.ones(1))
    best = _highest(score, effort.fine)
    tune, shift = trials.tune[best], trials.transposition[best]
    score, quarter_s, start_s = rate_places(
        index, tune, shift, quarter_s[best], start_s[best], draw(onset_s, pitch, gain, sigma), FINE_SHIFTS_S,
        FINE_STRETCHES,
    )  # fmt: skip
    return _best_of_each(tune, score, shift, quarter_s, start_s, None)


def _highest(score: FloatArray, most: int) -> IntArray:
    """Indices of the highest scores, highest first."""
    if most >= score.size:
        return np.argsort(-score, kind="stable")
    part = np.sort(np.argpartition(-score, most)[:most])
    return part[np.argsort(-score[part], kind="stable")]


def _rank_by_order(index: Index, query: Query, allowed: np.ndarray | None) -> list[Found]:
    assert query.rank is not None
    likely = melody_probability(query.onset_s, query.rank.astype(np.float64), ranks=True)
    found: list[Found] = []
    for effort in (RANK_QUICK, RANK_THOROUGH):
        found = _rank_by_order_with(effort, index, query.onset_s, query.rank, likely, allowed)
        if found and _leads_clearly(index, found, RANK_CLEAR_SCORE, RANK_CLEAR_LEAD):
            break
    return found


def _rank_by_order_with(
    effort: Effort, index: Index, onset_s: FloatArray, rank: IntArray, likely: FloatArray, allowed: np.ndarray | None
) -> list[Found]:
    grids = _grids(effort, onset_s)
    if not grids:
        return []
    trials = candidates(
        BY_RANK, index.by_rank, grids, rank, np.log(likely), effort.groups, effort.votes, effort.looks, allowed
    )
    if trials.tune.size == 0:
        return []
    trials = trials.part(_highest(order.look(index, trials, grids, rank, likely), effort.rated))
    solved = order.solve_tunings(index, trials, grids, rank, likely)
    best = _highest(solved.score, effort.fine)
    quarter_s, start_s = trials.part(best).seconds(grids)
    zero = np.zeros(best.size, dtype=np.int64)
    return _best_of_each(trials.tune[best], solved.score[best], zero, quarter_s, start_s, solved.pitch_of_rank[best])


def spread_s(onset_s: FloatArray, grids: list[Grid]) -> float:
    """Standard deviation of the strikes about the strongest grid, within what pins of this kind show."""
    grid = grids[0]
    off = onset_s - (grid.start_s + grid.place * grid.step_s)
    near = off[np.abs(off) < 0.3 * grid.step_s]
    return float(np.clip(1.2 * np.sqrt(np.mean(near**2)), 0.012, 0.05)) if near.size else 0.03


def strike_gain(onset_s: FloatArray, pitch: IntArray, sigma_s: float) -> FloatArray:
    """Nats that a printed note gains by falling exactly on each strike: its density against that of chance."""
    span = max(float(onset_s[-1] - onset_s[0]), 1.0)
    near = np.exp(-0.5 * ((pitch[:, None] - pitch[None]) / 2.0) ** 2).sum(1) / 5.0
    return np.asarray(np.log(PRESENT / (sigma_s * np.sqrt(2 * np.pi))) - np.log((near + 0.2) / span))


def melody_claim(likely: FloatArray) -> FloatArray:
    """Nats for explaining a strike by how likely it is of the melody: its log-odds, within limits.

    A tune that leaves the upper strikes unexplained and fits the broken chords below them must not win; but the
    probability is a rule of thumb, hence the limits.
    """
    return np.asarray(np.clip(np.log(likely / (1.0 - likely)), -LEAST_CLAIM, MOST_CLAIM))


def _best_of_each(
    tune: IntArray, score: FloatArray, shift: IntArray, quarter_s: FloatArray, start_s: FloatArray,
    tuning: IntArray | None,
) -> list[Found]:  # fmt: skip
    found: dict[int, Found] = {}
    for i in np.argsort(-score, kind="stable"):
        number = int(tune[i])
        if number not in found and score[i] > 0:
            place = Placement(int(shift[i]) % 12, float(quarter_s[i]), float(start_s[i]), float(score[i]))
            found[number] = Found(number, float(score[i]), place, None if tuning is None else tuning[i])
    return list(found.values())


# ---- the answer


def signs_of(index: Index, query: Query, found: list[Found]) -> Signs:
    """What speaks for and against the first tune being the right one."""
    first = found[0]
    rival = next((one.score for one in found[1:] if not is_version(index, first.tune, one.tune)), 0.0)
    height = np.asarray(query.rank if query.pitch is None else query.pitch, dtype=np.float64)
    melody = float(melody_probability(query.onset_s, height, ranks=query.pitch is None).sum())
    return Signs(first.score, rival, melody, query.pitch is None, np.unique(np.round(height)).size)


def is_version(index: Index, a: int, b: int) -> bool:
    """Whether two tunes are versions of each other: of one group, or alike by their tones on the beats."""
    return bool(index.group[a] == index.group[b]) or _likeness(index, min(a, b), max(a, b)) >= ALIKE


@lru_cache(maxsize=512)
def _likeness(index: Index, a: int, b: int) -> float:
    """A search asks after the same pairs several times."""
    return likeness(index.reference(a), index.reference(b))


def _chance_of_other(found: list[Found], place: int, belief: float) -> float:
    """Only one tune can be the right one: what the first does not claim the others share by their scores.

    None is likelier than the first, for the right tune may be in no library at all.
    """
    scores = np.array([one.score for one in found])
    weight = np.exp((scores - scores[0]) / NATS_A_FOLD)
    return float(min((1.0 - belief) * weight[place] / weight[1:].sum(), belief * weight[place]))


def _as_pitches(query: Query, one: Found) -> tuple[FloatArray, FloatArray]:
    """The strikes with pitches: those given, or those of the solved comb; idle teeth get one far off."""
    if query.pitch is not None:
        return query.onset_s, query.pitch
    assert query.rank is not None and one.pitch_of_rank is not None
    tuned = one.pitch_of_rank[query.rank].astype(np.float64)
    return query.onset_s, np.where(tuned < 0, -60.0, tuned)


def _match(index: Index, one: Found, alignment: Alignment, query: Query, chance: float, group: int) -> Match:
    ranks_only = query.pitch is None
    return Match(
        index.key(one.tune), index.title(one.tune), index.collection(one.tune), round(one.score, 2),
        round(chance, 4), None if ranks_only else alignment.transposition,
        round(alignment.quarter_s / NORMAL_QUARTER_S, 4), alignment.from_bar, alignment.to_bar,
        len(alignment.agree), alignment.absent, tuple(p.strike for p in alignment.displaced), alignment.extra,
        group=group, alignment=alignment,
    )  # fmt: skip


def with_versions(matches: list[Match]) -> list[Match]:
    """The best match of each group of versions, with the keys of the others that were found."""
    firsts: dict[int, Match] = {}
    for match in matches:
        if match.group in firsts:
            best = firsts[match.group]
            firsts[match.group] = replace(best, versions=(*best.versions, match.key))
        else:
            firsts[match.group] = match
    return list(firsts.values())
