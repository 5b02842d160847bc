"""The tunes looked at so far, each rated two ways: what its melody shares with the disc's, and where it lies exactly.

Chains (lay_tunes.py) are found first and cheaply; where the likeliest of them lie is then made out note by note, and
rated like the places that votes find (by_pitch.py). Both likenesses are added with fitted weights.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.library.index.tune_index import Index
from disc.library.records import FloatArray, IntArray
from disc.library.search.chains.chain import Piece
from disc.library.search.chains.lay_tunes import Asked, lay_tunes, pieces_of, place_of
from disc.library.search.places.by_pitch import Strikes, rate_given
from disc.library.search.places.placed import PlacedTune
from disc.library.search.places.rate import MARGIN_S
from disc.library.search.places.trial_places import Placement

# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
NEAR_PIECE_S = 0.2  # around a piece's first and last note, within which notes are its own
BY_CHANCE = 0.1  # what a nat of a chain counts that any print has by chance: it only parts equals
NOT_LAID = (0.0, 0.0)  # nats and tempo of a tune that was not laid, by definition


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
    """What a nat of an exact place counts, and how many nats of its chain any print has by chance: they tell little."""

    placed: float
    chance: float = 0.0

    def together(self, chain: FloatArray, placed: FloatArray) -> FloatArray:
        """Both likenesses as one, of chains and exact places, nats."""
        above = np.maximum(chain - self.chance, 0.0)
        return np.asarray(above + BY_CHANCE * np.minimum(chain, self.chance) + self.placed * placed)


class LookedAt:
    """Collects tunes; `rated()` gives them likeliest first."""

    def __init__(self, index: Index, asked: Asked, weights: LikenessWeights) -> None:
        self._index, self._asked, self._weights = index, asked, weights
        self._laid: dict[int, tuple[float, float]] = {}  # nats of the chain, seconds of a quarter
        self._placed: dict[int, PlacedTune] = {}
        self._made_out: dict[int, float] = {}  # at what nats of its chain a tune's place was made out

    def lay(self, tunes: IntArray, known_s: FloatArray | None = None) -> None:
        """Lay tunes beside the disc. known_s: seconds of a quarter of each, where another search found them."""
        for tune, chain, quarter_s in zip(
            tunes.tolist(), *(column.tolist() for column in lay_tunes(self._index, self._asked, tunes, known_s)),
            strict=True,
        ):  # fmt: skip
            if chain > self._laid.get(tune, (-1.0, 0.0))[0]:
                self._laid[tune] = (chain, quarter_s)

    def take(self, found: list[PlacedTune]) -> None:
        """Tunes that another search has placed, laid beside the disc at the tempo it gave."""
        self._keep_best(found)
        if found:
            self.lay(np.array([one.tune for one in found]), np.array([one.place.quarter_s for one in found]))

    def place(self, strikes: Strikes, most: int) -> None:
        """Make out where the likeliest tunes lie, and rate their places like those found by votes.

        A tune laid in pieces is also rated piece by piece, each within its own time; its place is then that of the
        piece that says most.
        """
        likeliest = [tune for tune in self._likeliest(most) if self._made_out.get(tune, -1.0) < self._laid[tune][0]]
        if not likeliest:
            return
        rows = self._rows(strikes, likeliest)
        if not rows:
            return
        tune, shift, quarter_s, start_s, begin_s, end_s = (np.array(column) for column in zip(*rows, strict=True))
        within = np.stack([begin_s, end_s], axis=1)
        found = rate_given(self._index, strikes, tune, shift, quarter_s, start_s, within)
        whole = (begin_s == strikes.picture.first_s).tolist()
        self._keep_best([one for one, all_of_it in zip(found, whole, strict=True) if all_of_it and one.score > 0])
        pieces: dict[int, list[PlacedTune]] = {}
        for one, all_of_it in zip(found, whole, strict=True):
            if not all_of_it and one.score > 0:
                pieces.setdefault(one.tune, []).append(one)
        self._keep_best([_joined(parts) for parts in pieces.values()])

    def chains(self, tunes: Sequence[int]) -> list[list[Piece]]:
        """The best chains of tunes that were laid, in their pieces."""
        return pieces_of(self._index, self._asked, tunes, np.array([self._laid[tune][1] for tune in tunes]))

    def rated(self) -> list[Rated]:
        """Both likenesses as one, likeliest first."""
        # Chance has as much as the least of them, where none was looked for.
        least = min((one.score for one in self._placed.values()), default=0.0)
        tunes = list(self._laid.keys() | self._placed.keys())
        chain = np.array([self._laid.get(tune, NOT_LAID)[0] for tune in tunes])
        exact = np.array([self._placed[tune].score if tune in self._placed else least for tune in tunes])
        number = np.array(tunes, dtype=np.int64)
        score = self._weights.together(chain, exact)
        found = []
        for i in np.lexsort((number, -score)).tolist():
            one = self._placed.get(tunes[i])
            place, tuning = (one.place, one.pitch_of_rank) if one else (None, None)
            found.append(Rated(tunes[i], float(score[i]), float(chain[i]), float(exact[i]), place, tuning))
        return found

    def _likeliest(self, most: int) -> list[int]:
        return sorted(self._laid, key=lambda tune: -self._laid[tune][0])[:most]

    def _rows(self, strikes: Strikes, tunes: list[int]) -> list[tuple[int, int, float, float, float, float]]:
        """(tune, semitones up, seconds of a quarter, start, first and last second) of each piece's place.

        Each twice where there are several pieces: for the whole turn, and for its own time.
        """
        first_s, end_s = strikes.picture.first_s, strikes.picture.end_s + MARGIN_S
        onset_s = self._asked.line.onset_s
        rows = []
        for tune, pieces in zip(tunes, self.chains(tunes), strict=True):
            self._made_out[tune] = self._laid[tune][0]
            for piece in pieces:
                place = place_of(self._index, self._asked, tune, self._laid[tune][1], piece)
                if place is None:
                    continue
                rows.append((tune, *place, first_s, end_s))
                if len(pieces) > 1:
                    begin, end = float(onset_s[piece[0][0]]), float(onset_s[piece[-1][0]])
                    rows.append((tune, *place, begin - NEAR_PIECE_S, end + NEAR_PIECE_S))
        return rows

    def _keep_best(self, found: list[PlacedTune]) -> None:
        for one in found:
            if one.tune not in self._placed or one.score > self._placed[one.tune].score:
                self._placed[one.tune] = one


def _joined(found: list[PlacedTune]) -> PlacedTune:
    """Pieces of one tune as one: all of what they say, at the place of the one that says most."""
    return replace(max(found, key=lambda one: one.score), score=sum(one.score for one in found))
