"""How likely it is that the best match is right: fitted on practice discs, many of them with the tune left out.

The signs are how much the disc's melody and the print share, how far that stands above the best tune that is no version
of it, and how much melody there is to tell by. "Not in the library" and "too little to tell" are answers: the
probability is then low. While the search goes on a curve says whether it has looked enough; the match it ends with is
laid over the disc, and trees then ask as well how much of disc and print are each other's: a relation of the tune
leaves more of both unexplained than the print itself does. belief.json is made by tests/bench/fit/belief_fit.py, which
says on what and how it was judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from disc.fitted import fitted_part
from disc.library.records import FloatArray
from disc.library.search.chains.chain import PLAIN
from disc.trees import fitted_trees

MODEL_FILE = Path(__file__).with_name("belief.json")
LAID = "laid"  # the part of the file that holds the trees, by definition
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
# Below this many teeth a rhythm is all there is, and any tune with that rhythm fits.
FEWEST_TEETH = 4


@dataclass(frozen=True, slots=True)
class Signs:
    """What speaks for the best match and against it. score, chain, placed: its likenesses, nats; rival, rival_chain,
    rival_placed: the highest of matches that are no version of it.

    notes: of the disc's melody. kind: what was known of the strikes ("pitch", "order" or "notes": pitches without
    times). teeth: how many different ones are struck. strikes: of the disc. agree, absent: strikes that the print
    explains, and its notes that no strike plays; None: it was not laid over the disc yet. folded: those of the strikes
    that it explains an octave off.
    """

    score: float
    rival: float
    chain: float
    notes: float
    kind: str
    teeth: int = 99
    rival_chain: float = 0.0
    placed: float = 0.0
    rival_placed: float = 0.0
    strikes: int = 0
    agree: int | None = None
    absent: int = 0
    folded: int = 0


def features(signs: Signs) -> tuple[float, ...]:
    """The signs as the curve takes them."""
    notes = max(signs.notes, 1.0)
    if signs.kind == "pitch":
        return 1.0, *_a_note(signs)
    score = max(signs.score, 1e-3)
    lead = max(score - max(signs.rival, 0.0), 0.0)
    usual = 1.0, signs.chain / notes, float(np.log(score)), lead / score, float(np.log1p(lead)), float(np.log(notes))
    if signs.kind != "notes":
        return usual
    # Of notes in their order all are laid or some are not: how many are not says more than what is laid.
    return *usual, max(notes - 1.0 - signs.chain / PLAIN.same, 0.0)


def laid_features(signs: Signs) -> tuple[float, ...]:
    """The signs as the trees take them, once the match has been laid over the disc note by note."""
    notes, agree = max(signs.notes, 1.0), signs.agree or 0
    share = (agree + 1.0) / (agree + signs.absent + 2.0)
    laid = agree / max(signs.strikes, 1), agree / notes, signs.absent / notes, share
    # Of a few strikes chance finds some print that has the same names of notes, seldom one that has their octaves too.
    return *_a_note(signs), *laid, signs.folded / max(agree, 1), float(np.log(max(signs.strikes, 1)))


def _a_note(signs: Signs) -> tuple[float, ...]:
    """Chain and exact place for each note of the melody, how far both stand above any other tune, how many notes."""
    notes = max(signs.notes, 1.0)
    return (
        signs.chain / notes, signs.placed / notes, (signs.placed - signs.rival_placed) / notes,
        (signs.chain - signs.rival_chain) / notes, float(np.log(notes)),
    )  # fmt: skip


def probability(signs: Signs) -> float:
    """Probability, 0 to 1, that the disc plays the best match or a version of it."""
    if signs.teeth < FEWEST_TEETH:
        return 0.0
    if signs.kind == "pitch" and signs.agree is not None:
        total = fitted_trees(MODEL_FILE, LAID).odds_of_one(laid_features(signs))
    else:
        total = float(weights_of(signs.kind) @ np.array(features(signs)))
    return float(1.0 / (1.0 + np.exp(-np.clip(total, -30.0, 30.0))))


@cache
def weights_of(kind: str) -> FloatArray:
    """The fitted weights of the features."""
    return np.array(fitted_part(MODEL_FILE, kind), dtype=np.float64)
