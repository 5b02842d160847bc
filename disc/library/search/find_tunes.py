"""Which tune is it: the whole search, from strikes to ranked matches.

rank_tunes.py ranks; the first matches are aligned in full (align.py); how likely it is that the disc plays the first at
all is read off a fitted curve (belief.py).
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import numpy as np

from disc.errors import BadInput
from disc.library.index.tune_index import Index
from disc.library.records import Alignment, FloatArray, Match, TuneKey
from disc.library.search.asked.query import NORMAL_QUARTER_S, Query
from disc.library.search.places.align import align
from disc.library.search.places.placed import is_version
from disc.library.search.ranking.belief import Signs, probability
from disc.library.search.ranking.looked_at import Rated
from disc.library.search.ranking.rank_tunes import SAME_RANK_NATS, SAME_WAY_NATS, Ranking, rank_tunes

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
ALIGNED = 5  # matches laid over their print note by note; where a later one lies is of little use, and costs as much
THROUGHOUT, MOSTLY = 0.98, 0.75  # of what a melody that fits in every step has
AS_WELL = 0.5  # nats: a tune that is no further behind fits as well
FITS = 0.85  # of the first one's score: fits about as well
FEW_STRIKES = 24  # of more, tunes that fit equally well are hardly ever different tunes
TIES_TOLD_APART = 12  # tunes that fit as well and are looked at for being versions of the first; the rest is counted
GATHERED = 0.4  # of the first one's score: less is no version of it that the disc would show
NATS_A_FOLD = 4.0  # strikes are not independent: four nats of score are taken for one; common practice, no source


def find_tunes(index: Index, query: Query, top: int = 10, allowed: np.ndarray | None = None) -> list[Match]:
    """The likeliest tunes, best first. allowed: shape (tunes,), which may be found; None: all."""
    ranking = rank_tunes(index, query, allowed, top)
    found = ranking.found
    if not found or ranking.signs is None:
        return []
    laid = [_laid_over(index, query, one) for one in found[: min(top, ALIGNED)]]
    vague = query.contour or (query.pitch is None and not query.timed)
    if vague:
        belief = _share_of_fitting(index, query, found)
    else:
        belief = probability(_with_laid(ranking.signs, laid[0])) / _fitting_as_well(index, query, found)
    matches: list[Match] = []
    chances = _chances(found, belief)
    for place, one in enumerate(found[:top]):
        # Versions of the first under any title are gathered; further down there is little but chance.
        same = one.score >= GATHERED * found[0].score and is_version(index, found[0].tune, one.tune)
        group = int(index.group[found[0].tune if same else one.tune])
        alignment = laid[place] if place < len(laid) else None
        matches.append(_match(index, one, query, float(chances[place]), group, alignment))
    alike = {int(index.group[one.tune]) for one in found if one.score >= FITS * found[0].score}
    return [replace(matches[0], alike=len(alike)), *matches[1:]]


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


# ---- the answer


def laid_signs(index: Index, query: Query, ranking: Ranking) -> Signs:
    """What speaks for the first tune, with how much of disc and print are each other's. ranking: not empty."""
    assert ranking.signs is not None
    return _with_laid(ranking.signs, _laid_over(index, query, ranking.found[0]))


def _with_laid(signs: Signs, laid: Alignment | None) -> Signs:
    if laid is None:
        return replace(signs, agree=0)
    folded = sum(pairing.octaves != 0 for pairing in laid.agree)
    return replace(signs, agree=len(laid.agree), absent=len(laid.absent), folded=folded)


def _laid_over(index: Index, query: Query, one: Rated) -> Alignment | None:
    """Disc and print note by note; None where no place was made out."""
    return None if one.place is None else align(*_as_pitches(query, one), index.reference(one.tune), one.place)


def _share_of_fitting(index: Index, query: Query, found: list[Rated]) -> float:
    """Where only rises and falls or an order of teeth without times are known: one of the tunes that fit as well.

    No curve is fitted for these; what does not fit throughout is not claimed, and an order of teeth, which a tune in
    the library need not meet exactly, never beyond one half.
    """
    steps = query.onset_s.size - 1
    fits = found[0].chain / (steps * (SAME_WAY_NATS if query.contour else SAME_RANK_NATS))
    if fits < (THROUGHOUT if query.contour else MOSTLY):
        return 0.0
    alike = {int(index.group[one.tune]) for one in found if one.score > found[0].score - AS_WELL}
    return 1.0 / len(alike) if query.contour else 0.5 / len(alike)


def _fitting_as_well(index: Index, query: Query, found: list[Rated]) -> int:
    """How many different tunes fit as well as the first, itself among them: of a few notes many prints have all."""
    if query.onset_s.size > FEW_STRIKES:
        return 1
    first = found[0]
    tied = [one.tune for one in found[1:] if one.score > first.score - AS_WELL]
    others = [tune for tune in tied[:TIES_TOLD_APART] if not is_version(index, first.tune, tune)]
    others += tied[TIES_TOLD_APART:]
    return 1 + len({int(index.group[tune]) for tune in others} - {int(index.group[first.tune])})


def _chances(found: list[Rated], belief: float) -> FloatArray:
    """Only one tune can be the right one: what the first does not claim the others share by their scores.

    None is likelier than the first, for the right tune may be in no library at all.
    """
    scores = np.array([one.score for one in found])
    weight = np.exp((scores - scores[0]) / NATS_A_FOLD)
    others = weight[1:].sum()
    chances = np.minimum((1.0 - belief) * weight / max(others, 1e-300), belief * weight)
    chances[0] = belief
    return np.asarray(chances)


def _as_pitches(query: Query, one: Rated) -> tuple[FloatArray, FloatArray]:
    """The strikes with pitches: those given, or those of the solved comb; idle teeth get one far off."""
    if query.pitch is not None:
        return query.onset_s, query.pitch
    assert query.rank is not None and one.pitch_of_rank is not None
    tuned = one.pitch_of_rank[query.rank].astype(np.float64)
    return query.onset_s, np.where(tuned < 0, -60.0, tuned)


def _match(index: Index, one: Rated, query: Query, chance: float, group: int, laid: Alignment | None) -> Match:
    """One match; where the tune lies stays unknown (None) where it was not made out."""
    plain = Match(
        index.key(one.tune), index.title(one.tune), index.collection(one.tune), round(one.score, 2), round(chance, 4),
        group=group,
    )  # fmt: skip
    if laid is not None:
        return _with_alignment(plain, query, laid)
    if one.notes:
        bars = index.bar[int(index.start[one.tune]) + np.array(one.notes)]
        return replace(plain, from_bar=int(bars.min()), to_bar=int(bars.max()), agree=len(one.notes))
    return plain


def _with_alignment(plain: Match, query: Query, alignment: Alignment) -> Match:
    return replace(
        plain,
        transposition=None if query.pitch is None else alignment.transposition,
        tempo_ratio=round(alignment.quarter_s / NORMAL_QUARTER_S, 4),
        from_bar=alignment.from_bar,
        to_bar=alignment.to_bar,
        agree=len(alignment.agree),
        absent=alignment.absent,
        displaced=tuple(pairing.strike for pairing in alignment.displaced),
        extra=alignment.extra,
        alignment=alignment,
    )


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
