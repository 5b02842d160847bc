"""What a strike's companions put into its tooth's band, by what they put there at their other strikes.

A partial of a lower tooth, or a neighbour's skirt, begins with the strike and stands where the tooth's own tone would.
How strong it is the companion's other strikes tell, those at which this tooth and its twins keep still: so much is
explained, and no more.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from disc.listen.sound.audio import FloatArray
from disc.listen.sound.bands import Whole
from disc.listen.turn.hear.heard_strikes import HeardStrike
from disc.listen.turn.hear.strike_steps import AFTER_S, BEFORE_S, ToneStep, ToothVoice, steps_of
from disc.listen.turn.place.tones import SHARED_SEMITONES

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
TOGETHER_S = 0.045  # strikes of one chord, as far as pins are read
CLEAR_GAIN = 0.92  # a strike that explains so much of its band needs no other explanation
# of a companion alone that are measured, and that are needed for its usual; chosen, not fitted
MOST_STRIKES, FEWEST = 4, 2


def leaks(
    whole: Whole, voices: Mapping[int, ToothVoice], heard: Sequence[HeardStrike], steps: Sequence[ToneStep | None],
    places_s: FloatArray,
) -> FloatArray:  # fmt: skip
    """The level that each strike's companions usually leave in its tooth's band, shape (n,); 0 where nothing comes with
    it or the strike is clear, nan where the companions are never struck without it."""
    struck = begun_at(heard, steps, places_s)
    unclear = [k for k, step in enumerate(steps) if step is not None and step.gain <= CLEAR_GAIN]
    sounding = [h.beginning is not None for h in heard]
    found = np.zeros(len(heard))
    found[unclear] = leaks_at(whole, voices, [struck[k] for k in unclear], struck, sounding)
    return found


def begun_at(
    heard: Sequence[HeardStrike], steps: Sequence[ToneStep | None], places_s: FloatArray
) -> list[tuple[int, float]]:
    """(tooth, time in s) of each strike, where its step fits best."""
    return [
        (h.expected.tooth, float(t) + (0.0 if s is None else s.off_s))
        for h, t, s in zip(heard, places_s, steps, strict=True)
    ]


def leaks_at(
    whole: Whole, voices: Mapping[int, ToothVoice], sought: Sequence[tuple[int, float]],
    struck: Sequence[tuple[int, float]], sounding: Sequence[bool],
) -> FloatArray:  # fmt: skip
    """The level that what sounds at each moment sought, (tooth, time in s), usually leaves in that tooth's band; shape
    (n,), 0 and nan as leaks says. struck: (tooth, time in s) of all strikes; sounding: of each."""
    times = np.array([t for _, t in struck])
    pairs: dict[int, list[tuple[int, int]]] = {}
    alone: dict[tuple[int, int], list[float]] = {}
    for k, (tooth, at) in enumerate(sought):
        for j in map(int, np.flatnonzero(np.abs(times - at) < TOGETHER_S)):
            other = struck[j][0]
            if sounding[j] and not _is_twin(voices, tooth, other):
                pairs.setdefault(k, []).append((other, tooth))
                if (other, tooth) not in alone:
                    alone[other, tooth] = _alone(other, tooth, voices, struck, sounding)
    level = _levels(whole, voices, alone, struck)
    found = np.zeros(len(sought))
    for k, mine in pairs.items():
        known = [level[pair] for pair in mine if pair in level]
        found[k] = float(np.sqrt(np.sum(np.square(known)))) if known else np.nan
    return found


def _is_twin(voices: Mapping[int, ToothVoice], one: int, other: int) -> bool:
    return one == other or abs(12.0 * np.log2(voices[one].hz / voices[other].hz)) < SHARED_SEMITONES


def _alone(
    other: int, tooth: int, voices: Mapping[int, ToothVoice], struck: Sequence[tuple[int, float]],
    sounding: Sequence[bool],
) -> list[float]:  # fmt: skip
    """Moments at which the companion sounds and nothing of the tooth's own pitch does."""
    own = np.array([t for o, t in struck if _is_twin(voices, tooth, o)])
    moments = [t for (o, t), sounds in zip(struck, sounding, strict=True) if o == other and sounds]
    free = [t for t in moments if not np.any((own > t - BEFORE_S) & (own < t + AFTER_S))]
    return free[:MOST_STRIKES]


def _levels(
    whole: Whole, voices: Mapping[int, ToothVoice], sought: Mapping[tuple[int, int], Sequence[float]],
    struck: Sequence[tuple[int, float]],
) -> dict[tuple[int, int], float]:  # fmt: skip
    """The usual level of a tooth's tone at its companion's strikes, by (companion, tooth)."""
    rows = [(pair, t) for pair, moments in sought.items() if len(moments) >= FEWEST for t in moments]
    steps = steps_of(whole, voices, [(pair[1], t) for pair, t in rows], struck)
    levels: dict[tuple[int, int], list[float]] = {}
    for (pair, _), step in zip(rows, steps, strict=True):
        if step is not None:
            levels.setdefault(pair, []).append(step.level)
    return {pair: float(np.median(values)) for pair, values in levels.items()}
