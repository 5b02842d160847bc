"""Several recordings of one turn, judged together: a pin silent in each is surer, one heard clearly in any has sounded.

Each recording is judged by itself first. Their odds that a strike was silent are added like those of laps, with one
prior; each says no more than a lap may. Times, sounds and motion are those of the recording that fits best.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from disc.listen.turn.hear.heard_strikes import SILENT_FROM, SOUNDED_TO
from disc.listen.turn.judge.silent_strikes import MOST_OF_A_LAP, PRIOR
from disc.listen.turn.learn.true_pitches import OffTable
from disc.listen.turn.turn_record import Missed, Silence, Turn

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# probabilities as they enter the sum of log-odds: no one recording is surer than a million to one
LEAST, MOST = 1e-6, 1.0 - 1e-6


def best_of(turns: Sequence[Turn]) -> int:
    """Index of the recording whose strikes lie best along its path."""
    return int(np.argmax([turn.fit for turn in turns]))


def pooled(turns: Sequence[Turn]) -> Turn:
    """The turn of best_of, with what all recordings say of silent, weak and off-table strikes and teeth."""
    if len(turns) == 1:
        return turns[0]
    main = turns[best_of(turns)]
    chances = _chances(turns)
    silent = {k for k, p in chances.items() if p >= SILENT_FROM}
    undecided = {k for k, p in chances.items() if SOUNDED_TO <= p < SILENT_FROM}
    unheard = set.intersection(*(set(turn.unheard) for turn in turns))
    # A tooth whose table says that it is dead has no odds of its own; it is silent wherever the disc passes it.
    silent |= {k for turn in turns for k in turn.silent if k not in chances}
    not_heard = silent | undecided
    return replace(
        main, silent=tuple(sorted(silent)), undecided=tuple(sorted(undecided)), unheard=tuple(sorted(unheard)),
        sounds=tuple(s for s in main.sounds if s.strike is None or s.strike not in not_heard),
        missed=_of(turns, silent), untold=_of(turns, undecided), weak=_weak(turns),
        silences=_silences(turns, chances, not_heard), off_table=_off_table(turns), chances=chances,
        remarks=(*main.remarks, f"{len(turns)} recordings of this turn are judged together"),
    )  # fmt: skip


def _chances(turns: Sequence[Turn]) -> dict[int, float]:
    """Probability of silence of every strike that any recording tells of."""
    said: dict[int, list[float]] = {}
    for turn in turns:
        for k, p in turn.chances.items():
            odds = float(np.log(np.clip(p, LEAST, MOST) / (1.0 - np.clip(p, LEAST, MOST))))
            said.setdefault(k, []).append(float(np.clip(odds - PRIOR, -MOST_OF_A_LAP, MOST_OF_A_LAP)))
    return {k: 1.0 / (1.0 + float(np.exp(-(sum(rows) + PRIOR)))) for k, rows in sorted(said.items())}


def _of(turns: Sequence[Turn], strikes: set[int]) -> tuple[Missed, ...]:
    """Where the best recording passes these strikes; one that it does not tell of where another does."""
    main = turns[best_of(turns)]
    found: list[Missed] = []
    for turn in (main, *turns):
        known = {m.strike for m in found}
        rows = (*turn.missed, *turn.untold)
        found += [m for m in rows if m.strike in strikes and m.strike not in known]
    return tuple(sorted(found, key=lambda m: m.time_s))


def _weak(turns: Sequence[Turn]) -> tuple[int, ...]:
    """Strikes that are weak in every recording that heard them."""
    weak = Counter(k for turn in turns for k in turn.weak)
    heard = Counter(k for turn in turns for k in {s.strike for s in turn.sounds if s.strike is not None})
    return tuple(sorted(k for k, n in weak.items() if n == heard[k]))


def _silences(turns: Sequence[Turn], chances: dict[int, float], strikes: set[int]) -> tuple[Silence, ...]:
    """Of each strike what the recording says that is surest of its silence, with the odds of all."""
    said: dict[int, Silence] = {}
    for silence in sorted((s for turn in turns for s in turn.silences), key=lambda s: -s.probability):
        if silence.strike in strikes and silence.strike in chances:
            said.setdefault(silence.strike, replace(silence, probability=round(chances[silence.strike], 3)))
    return tuple(said[k] for k in sorted(said))


def _off_table(turns: Sequence[Turn]) -> tuple[OffTable, ...]:
    """Teeth that more than half of the recordings find off their table, with the mean of what they find."""
    cents: dict[int, list[float]] = {}
    for turn in turns:
        for off in turn.off_table:
            cents.setdefault(off.tooth, []).append(off.cents)
    return tuple(
        OffTable(tooth, round(float(np.mean(rows)), 1))
        for tooth, rows in sorted(cents.items()) if 2 * len(rows) > len(turns)
    )  # fmt: skip
