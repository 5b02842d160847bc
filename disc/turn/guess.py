"""Draft pitches for a comb whose pitches are unknown: a guess, always marked as one, with its alternatives.

What is known is the order of the teeth from low to high (from their lengths and widths, or a person's ranking). What
is sought is the ascending row of pitches that makes most sense of the strikes: notes of one key, the often struck ones
its main notes, small steps from tooth to tooth, teeth that strike together consonant. Where lengths are known the bar's
physics joins in: frequency falls with the square of the length. The search begins from the scale at each of its
degrees, or from the lengths, and moves teeth up and down while that helps. Only the row's shape can be guessed without
lengths; where it lies is then a convention.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.errors import BadInput
from disc.frame import FloatArray
from disc.records import Strike
from disc.tune.read.key import KRUMHANSL_KESSLER, SCALE
from disc.tune.settings import key_name, key_of

USUAL_MIDDLE = 79.0  # where the middle tooth is put if no length says otherwise: G5, common practice, no source
# Probability of a step in semitones from one tooth to the next. Doubled teeth and the gaps of a comb made for one key.
# Common practice, no source.
STEP_CHANCE = {0: 0.07, 1: 0.25, 2: 0.45, 3: 0.12, 4: 0.05, 5: 0.04, 6: 0.01, 7: 0.01}
# A pitch from a tooth's length alone is off by this much: taper, lead and file marks. Common practice, no source.
LENGTH_SIGMA_SEMITONES = 1.5
# Nats for two notes struck together, by interval in semitones modulo 12: thirds, sixths, fifths and octaves against
# seconds, sevenths and the tritone. Common practice of two-part writing; sizes chosen to be of the order of a key's.
TOGETHER_NATS = (0.3, -0.9, -0.4, 0.4, 0.4, 0.2, -0.5, 0.4, 0.4, 0.4, -0.2, -0.7)
TOGETHER_S = 0.05  # strikes so near count as struck together; chosen by hand
ROUNDS = 8  # of moving teeth, at most; chosen by hand
# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
TRUST = 0.5  # the strikes of a tune are not independent draws from a key: half their number counts

SEMITONES_A_DOUBLING = 24.0  # down, of a bar twice as long: f goes by 1 / L^2; exact
HEIGHTS = np.arange(-0.5, 0.5, 0.25)  # semitones up or down that a row told by lengths is begun from; chosen by hand
ALTERNATIVES = 3  # rows of pitches told beside the likeliest; chosen by hand

TOGETHER = np.array(TOGETHER_NATS)
STEP_NATS = np.log(np.array([STEP_CHANCE[step] for step in range(max(STEP_CHANCE) + 1)]))  # by definition
# Of the key profiles, turned to each tonic; by definition.
LOG_PROFILES = np.array(
    [np.log(np.roll(p, tonic) / np.sum(p)) for p in KRUMHANSL_KESSLER.values() for tonic in range(12)]
)


@dataclass(frozen=True, slots=True)
class PitchGuess:
    """pitch: by tooth, MIDI. key: in words. score: nats. alternatives: the next best rows that differ."""

    pitch: Mapping[int, float]
    key: str
    score: float
    alternatives: tuple[PitchGuess, ...] = ()


def guess_pitches(
    strikes: Sequence[Strike], order: Sequence[int], lengths_mm: Mapping[int, float] | None = None
) -> PitchGuess:
    """Pitches of the teeth in `order` (low to high). lengths_mm: by tooth, where measured. Raises BadInput."""
    if len(set(order)) != len(order) or len(order) < 3:
        raise BadInput("the order of the teeth must name at least three teeth, each once, from low to high.")
    place = {tooth: index for index, tooth in enumerate(order)}
    struck = [s for s in strikes if s.tooth in place]
    if not struck:
        raise BadInput("none of the teeth in the order is ever struck. Check the numbers of the teeth.")
    count = np.bincount([place[s.tooth] for s in struck], minlength=len(order)).astype(float)
    pairs = _pairs(struck, place)
    expected = _expected(order, lengths_mm or {})
    found: dict[tuple[float, ...], float] = {}
    for start in _starts(len(order), expected):
        row, score = _improve(start, count, pairs, expected)
        if expected is None:
            row = row + round(USUAL_MIDDLE - row[len(row) // 2])
        found[tuple(row)] = max(score, found.get(tuple(row), -np.inf))
    ranked = sorted(found.items(), key=lambda item: (-item[1], item[0]))[: 1 + ALTERNATIVES]
    guesses = [
        PitchGuess({tooth: float(row[place[tooth]]) for tooth in order}, _key_of_row(np.array(row), count), score)
        for row, score in ranked
    ]
    return replace(guesses[0], alternatives=tuple(guesses[1:]))


def _pairs(strikes: Sequence[Strike], place: Mapping[int, int]) -> FloatArray:
    """How often two teeth strike together, shape (n, n)."""
    onset_s = np.array([s.onset_s for s in strikes])
    which = np.array([place[s.tooth] for s in strikes])
    found = np.zeros((len(place), len(place)))
    one, other = np.nonzero(np.abs(onset_s[:, None] - onset_s[None, :]) < TOGETHER_S)
    np.add.at(found, (which[one], which[other]), 0.5)
    np.fill_diagonal(found, 0.0)
    return found


def _expected(order: Sequence[int], lengths_mm: Mapping[int, float]) -> FloatArray | None:
    """Pitch of each tooth from its length, NaN where unknown, shape (n,); None if fewer than two are known.

    f ~ 1 / L^2: an octave is a factor of the root of 2 in length. The middle of the row stands at the usual place.
    """
    logs = np.array([np.log2(lengths_mm[tooth]) if tooth in lengths_mm else np.nan for tooth in order])
    if np.isfinite(logs).sum() < 2:
        return None
    return USUAL_MIDDLE - SEMITONES_A_DOUBLING * (logs - np.nanmedian(logs))


def _starts(count: int, expected: FloatArray | None) -> list[FloatArray]:
    """Rows to begin from: the scale from each of its degrees, or what the lengths say, at every height."""
    rows = []
    if expected is None:
        for degree in range(len(SCALE)):
            row = [SCALE[(degree + k) % 7] + 12 * ((degree + k) // 7) for k in range(count)]
            rows.append(np.array(row, dtype=float) + 60)
        return rows
    filled = np.interp(np.arange(count), np.flatnonzero(np.isfinite(expected)), expected[np.isfinite(expected)])
    for height in HEIGHTS:
        rows.append(np.maximum.accumulate(np.round(filled + height)))
    return rows


def _key_scores(row: FloatArray, count: FloatArray) -> FloatArray:
    """How well the struck pitch classes agree with each key, nats, shape (24,): minus n times the divergence."""
    weight = np.bincount(row.astype(int) % 12, count, 12) + 1e-9
    share = weight / weight.sum()
    return TRUST * count.sum() * (LOG_PROFILES @ share - float((share * np.log(share)).sum()))


def _key_of_row(row: FloatArray, count: FloatArray) -> str:
    best = int(_key_scores(row, count).argmax())
    return key_name(key_of(best % 12, list(KRUMHANSL_KESSLER)[best // 12]))


def _score(row: FloatArray, count: FloatArray, pairs: FloatArray, expected: FloatArray | None) -> float:
    whole = row.astype(int)
    steps = np.diff(whole)
    if (steps < 0).any() or (steps > max(STEP_CHANCE)).any():
        return -np.inf
    chords = float((pairs * TOGETHER[np.abs(whole[:, None] - whole[None, :]) % 12]).sum())
    fit = 0.0 if expected is None else -0.5 * float(np.nansum(((row - expected) / LENGTH_SIGMA_SEMITONES) ** 2))
    return float(_key_scores(row, count).max()) + chords + fit + float(STEP_NATS[steps].sum())


def _improve(
    row: FloatArray, count: FloatArray, pairs: FloatArray, expected: FloatArray | None
) -> tuple[FloatArray, float]:
    """The row after moving single teeth, and all above a tooth, up or down where the whole gains by it."""
    best = _score(row, count, pairs, expected)
    for _ in range(ROUNDS):
        before = best
        for index in range(len(row)):
            for last in (index + 1, len(row)):
                for move in (-1.0, 1.0):
                    tried = row.copy()
                    tried[index:last] += move
                    if (value := _score(tried, count, pairs, expected)) > best + 1e-9:
                        row, best = tried, value
        if best == before:
            break
    return row, best
