"""Whether two printed tunes are one tune, whatever they are called: their tones on the beats laid side by side.

Versions of a tune differ in their notes between the beats, in key and title, but keep the tones on the beats and their
order. Each beat gives two tones, pitch classes above the tonic of the key signature. The beats of one tune are laid
against those of the other by local alignment (Smith and Waterman 1981) at all twelve transpositions; a bar of four is
taken as two beats and as four. A tone counts by its log-odds under a model of copying against that of tunes that have
nothing to do with each other, where each tone follows the one before as in tunes at large. The reading knows nothing of
the search (votes, groups, strikes), so it can judge the search. A major tune put into minor is not seen.

bench/truth/identify_same.py measures how often unrelated tunes are called alike: against the library read backwards,
which keeps everything but the tunes.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import numpy.typing as npt

from disc.library.records import IntArray, ReferenceTune
from disc.tune.score.records import TICKS_PER_QUARTER

Scores = npt.NDArray[np.float64]

NO_TONE = 12  # what stands on a beat without a tone: one above the 12 tones, by definition
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
LONGEST_REPEAT, SHORTEST_REPEAT = 24, 4  # bars; a part repeated at once is one part

# Tones of the installed corpus, taken as described: each after the one before (rows), in per cent; C is the tonic.
AFTER = np.array([
    [43, 0, 11, 1, 15, 2, 0, 14, 0, 8, 1, 6],
    [19, 16, 28, 4, 12, 3, 0, 3, 0, 8, 3, 4],
    [22, 0, 32, 1, 15, 7, 0, 10, 0, 5, 0, 8],
    [14, 1, 25, 34, 1, 16, 0, 7, 1, 0, 2, 0],
    [20, 0, 18, 0, 29, 8, 0, 17, 0, 6, 0, 2],
    [5, 0, 18, 2, 24, 24, 0, 15, 0, 7, 0, 4],
    [4, 0, 10, 0, 10, 2, 15, 42, 1, 13, 0, 3],
    [17, 0, 6, 1, 17, 9, 0, 37, 0, 9, 1, 4],
    [3, 0, 1, 1, 4, 9, 1, 25, 19, 24, 5, 6],
    [16, 0, 6, 0, 8, 7, 1, 25, 0, 31, 1, 6],
    [12, 0, 6, 6, 1, 5, 0, 16, 4, 12, 37, 0],
    [26, 0, 15, 0, 4, 4, 0, 19, 1, 16, 0, 16],
]) / 100  # fmt: skip
ALONE = np.array([23, 0, 15, 1, 17, 8, 0, 20, 0, 10, 1, 6]) / 100  # each alone; the same corpus
# No tone is taken for rarer: a rare tone would otherwise decide alone. Of 1, 3 and 6 per cent the last told most true
# pairs from backward ones.
RAREST = 0.06
# Share of tones that a version copies, after a tone that agrees and after one that does not, and nats for a beat left
# out. Of nine settings these told most pairs of 300 tunes from backward ones; all came within a tenth.
COPIED, COPIED_ANEW, SKIPPED = 0.9, 0.3, 8.0
HELD = 0.6  # a tone that both repeat says less: it was tried at 0, 0.3, 0.6 and 1
OTHER_METRE = 10.0  # where beats, not bars, are laid side by side, there are more ways to be alike by chance
# Nats from which two tunes are one. Of 200 tunes (seed 42) 6 in 100 found one of 13,000 backward tunes beyond 14 (5
# pairs in a million), a third beyond 10 (30 in a million), none beyond 19. Forward pairs were looked at note by note:
# from 18 to 22 nats 8 of 12 are one tune for certain, the others are old tunes of few different tones; beyond, no doubt
# was left by titles and notes of 48. The lower limit does where a few tunes are compared that a search has found, or
# whose titles agree.
ALIKE, SURELY_ALIKE = 10.0, 14.0


def beat_tones(tune: ReferenceTune, fine: bool = False) -> IntArray:
    """Two tones of each beat, bar by bar, shape (bars, 2 beats): 0 to 11 above the tonic of the key signature.

    NO_TONE in rests. fine: a bar of four as four beats, not two. Parts repeated at once are given once.
    """
    beats, second = _beats(tune, fine)
    length = _bar_ticks(tune)
    place = (np.arange(beats)[:, None] + np.array([0.0, second])).ravel() * (length / beats)
    at = _bar_starts(tune, length)[:, None] + np.round(place).astype(np.int64)
    note = np.searchsorted(tune.onset_tick, at, side="right") - 1
    sounding = at < tune.onset_tick[note] + tune.duration_tick[note] + TICKS_PER_QUARTER // 2
    tone = (tune.pitch[note] - 7 * tune.fifths) % 12
    return _without_repeats(np.where((note >= 0) & sounding, tone, NO_TONE))


def bars_of_four(tune: ReferenceTune) -> bool:
    """Whether a bar has four beats, which may be meant as two."""
    return (tune.metre or (4, 4)) in ((4, 4), (2, 2), (4, 2), (8, 8), (12, 8))


def _beats(tune: ReferenceTune, fine: bool) -> tuple[int, float]:
    """(beats of a bar, where in a beat its second tone is taken)."""
    beats, unit = tune.metre or (4, 4)
    if bars_of_four(tune):
        return (4 if fine else 2), (2 / 3 if fine and beats == 12 else 1 / 2)
    if unit >= 8 and beats % 3 == 0 and beats > 3:
        return beats // 3, 2 / 3
    return beats, 1 / 2


def _bar_ticks(tune: ReferenceTune) -> int:
    beats, unit = tune.metre or (4, 4)
    return TICKS_PER_QUARTER * 4 * beats // unit


def _bar_starts(tune: ReferenceTune, length: int) -> IntArray:
    """Where each played bar begins: a bar after the last one, unless a note shows that the last was shorter."""
    first = np.flatnonzero(np.concatenate([[True], np.diff(tune.bar) != 0]))
    onset = tune.onset_tick[first]
    starts = np.empty(first.size, dtype=np.int64)
    for i in range(first.size):
        expected = starts[i - 1] + length if i else onset[0]
        starts[i] = expected if expected <= onset[i] < expected + length else onset[i]
    if first.size > 1 and tune.bar[0] == 0:
        starts[0] = starts[1] - length
    return starts


def _without_repeats(tones: IntArray) -> IntArray:
    bars = [tuple(bar) for bar in tones.tolist()]
    for length in range(min(LONGEST_REPEAT, len(bars) // 2), SHORTEST_REPEAT - 1, -1):
        kept: list[tuple[int, ...]] = []
        for bar in bars:
            kept.append(bar)
            if kept[-length:] == kept[-2 * length : -length]:
                del kept[-length:]
        bars = kept
    return np.array(bars, dtype=np.int64).reshape(-1, tones.shape[1])


# ---- two tunes


def likeness(a: ReferenceTune, b: ReferenceTune) -> float:
    """How much the best run of beats speaks for one tune under two names, nats."""
    if a.pitch.size == 0 or b.pitch.size == 0:
        return 0.0
    best = tone_likeness(beat_tones(a), beat_tones(b))
    if bars_of_four(a) != bars_of_four(b):
        best = max(best, tone_likeness(beat_tones(a, fine=True), beat_tones(b, fine=True)))
    return best


def tone_likeness(a: IntArray, b: IntArray) -> float:
    """As likeness(), of beat_tones(). Bars are laid on bars; where theirs differ in beats, halves or single beats."""
    short, long = sorted((a.shape[1], b.shape[1]))
    width = short if long % short == 0 else 2
    nats = _best_run(*_rows(a, width), *_rows(b, width))
    return nats if width == short else nats - OTHER_METRE


def _rows(tones: IntArray, width: int) -> tuple[IntArray, Scores]:
    """Bars cut into rows of this width, and what each counts: a bar that recurs says nothing new, so all once."""
    bars = [bar.tobytes() for bar in tones]
    count = Counter(bars)
    once = np.array([1.0 / count[bar] for bar in bars])
    return tones.reshape(-1, width), np.repeat(once, tones.shape[1] // width)


def _best_run(a: IntArray, once_a: Scores, b: IntArray, once_b: Scores) -> float:
    value = _row_scores(a, b) * np.sqrt(once_a[:, None] * once_b)
    rows, columns = value.shape[1:]
    run = np.zeros((rows + 2, 12, columns + 2))  # best run that ends with each pair; two empty ones before
    for row in range(rows):
        before = np.maximum(run[row + 1, :, 1:-1], 0.0)
        before = np.maximum(before, run[row, :, 1:-1] - SKIPPED)
        before = np.maximum(before, run[row + 1, :, :-2] - SKIPPED)
        run[row + 2, :, 2:] = before + value[:, row]
    return float(run.max())


def _row_scores(a: IntArray, b: IntArray) -> Scores:
    """What each pair of rows says at each transposition of a, shape (12, rows of a, rows of b).

    Two tones are the same at one transposition, and miss each other at the others: only that one is worked out, and
    that at which the tones before them were the same.
    """
    before_a, before_b = _before(a), _before(b)
    told = (a != NO_TONE)[:, None] & (b != NO_TONE)[None]
    told_before = (before_a != NO_TONE)[:, None] & (before_b != NO_TONE)[None]
    told_before[0, :, 0] = told_before[:, 0, 0] = False  # nothing stands before the first row of either
    meet, met_before = (b[None] - a[:, None]) % 12, (before_b[None] - before_a[:, None]) % 12
    again = _mean(AGAIN_NATS[before_a, a], AGAIN_NATS[before_b, b])
    held = (before_a == a)[:, None] & (before_b == b)[None]
    same_before = told_before & (meet == met_before)
    met = np.where(same_before, np.where(held, HELD, 1.0) * again, _mean(ANEW_NATS[a], ANEW_NATS[b]))
    usual = np.log(1.0 - COPIED_ANEW)
    pair = np.arange(len(a) * len(b)).reshape(len(a), len(b), 1) + np.zeros_like(meet)
    lost = told & told_before & (meet != met_before)
    at = np.concatenate([(meet * len(a) * len(b) + pair)[told], (met_before * len(a) * len(b) + pair)[lost]])
    nats = np.concatenate([(met - usual)[told], np.full(np.count_nonzero(lost), np.log(1.0 - COPIED) - usual)])
    special = np.bincount(at, weights=nats, minlength=12 * len(a) * len(b)).reshape(12, len(a), len(b))
    return np.asarray(special + usual * told.sum(-1))


def _before(tones: IntArray) -> IntArray:
    return np.concatenate([[NO_TONE], tones.ravel()[:-1]]).reshape(tones.shape)


def _mean(a: Scores, b: Scores) -> Scores:
    return np.asarray(0.5 * (a[:, None] + b[None]))


def _copy_nats(share: float, usual: Scores) -> Scores:
    """Log-odds of a tone met, copied with this share or else by chance; one for NO_TONE along each axis."""
    usual = np.maximum(usual, RAREST)
    return np.asarray(np.pad(np.log((share + (1.0 - share) * usual) / usual), [(0, 1)] * usual.ndim))


AGAIN_NATS, ANEW_NATS = _copy_nats(COPIED, AFTER), _copy_nats(COPIED_ANEW, ALONE)
