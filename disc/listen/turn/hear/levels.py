"""How loud a strike of each pitch is in this recording, and what stands there without one.

A tooth that sounds clearly is known by its own strikes, however weak it is; one that does not is taken to be about as
loud as its neighbours in pitch. What stands there without a strike is noise, and what leaks from other strikes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d

from disc.listen.sound.audio import FloatArray
from disc.listen.turn.hear.single_sounds import Beginning, peak_near
from disc.listen.turn.place.disc_path import Expected
from disc.listen.turn.place.tones import Tones

# Logarithms of a strike's strength against the usual: about +-4 dB; what is explained strays more, since partials add
# with chance phase. Chosen by hand on the development recordings, not fitted.
SOUND_SPREAD, EXPLAINED_SPREAD = 0.45, 0.5
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
BACKGROUND_S = 0.05  # what stands in the background is read over twice this
# A strike counts towards its tooth's own level if it stands so far over what would be there anyway; the level is
# believed if so many and such a share of the tooth's strikes do.
CLEAR, FEWEST_CLEAR, CLEAR_SHARE = 1.5, 2, 0.4
# Else the nearest known pitches tell it, with a spread of 7 dB (teeth of one comb, tuning recordings).
NEIGHBOURS, FEWEST_KNOWN, UNKNOWN_SPREAD = 6, 3, 0.8
AWAY_S = (0.15, 0.35)  # before and after a strike of the same pitch nothing is learned of the background
LEAST_AWAY_S = 2.0  # of sound away from strikes, to tell what is usual there; chosen by hand
AMBIENT_SPREADS = (0.25, 1.0)  # bounds, natural logarithm, of how what is usual there spreads; chosen by hand


@dataclass(frozen=True)
class StrikeLevels:
    """What strikes of each pitch are like, shape (pitches,) each. usual: strength of a strike, spread: of its
    logarithm; known: whether it is read from its own strikes. ambient, ambient_spread: the same of the largest strength
    in a window where no strike of this pitch was to be: noise, and what leaks from other strikes."""

    usual: FloatArray
    spread: FloatArray
    known: npt.NDArray[np.bool_]
    ambient: FloatArray
    ambient_spread: FloatArray


def usual_levels(tones: Tones, expected: Sequence[Expected], path_s: FloatArray, fallback: FloatArray) -> StrikeLevels:
    """The levels, from the strengths where strikes were to sound and where none was. fallback: shape (pitches,), the
    usual strength of a pitch that has no strikes."""
    ambient, ambient_spread = _background(tones, expected, path_s)
    strengths = [peak_near(tones, e.group, t, 0.05) for t, e in zip(path_s, expected, strict=True)]
    return _levels(expected, strengths, ambient, ambient_spread, fallback)


def without_explained(
    levels: StrikeLevels, expected: Sequence[Expected], found: Sequence[Beginning | None]
) -> StrikeLevels:
    """The levels again, from those strikes alone that what else sounds does not explain."""
    clear = [b.strength if b is not None and b.strength > CLEAR * b.explained else 0.0 for b in found]
    return _levels(expected, clear, levels.ambient, levels.ambient_spread, levels.usual)


def _levels(
    expected: Sequence[Expected], strengths: Sequence[float], ambient: FloatArray, ambient_spread: FloatArray,
    fallback: FloatArray,
) -> StrikeLevels:  # fmt: skip
    """A tooth that sounds clearly is known by itself, however weak; one that does not is taken to be as loud as its
    neighbours in pitch are."""
    by_tooth: dict[tuple[int, int], list[float]] = {}
    for value, e in zip(strengths, expected, strict=True):
        by_tooth.setdefault((e.group, e.tooth), []).append(value)
    own = np.full(len(fallback), np.nan)
    for (group, _), values in by_tooth.items():
        clear = [v for v in values if v > CLEAR * ambient[group]]
        if len(clear) >= max(FEWEST_CLEAR, CLEAR_SHARE * len(values)):
            # Of teeth that share a pitch one may be dead: the loudest tells what a strike of this pitch is like.
            own[group] = np.fmax(own[group], np.median(clear))
    known = np.isfinite(own)
    filled = np.where(known, own, np.nan if known.sum() >= FEWEST_KNOWN else fallback)
    beside = np.array([np.nanmedian(filled[_nearest(known if known.any() else ~known, k)]) for k in range(len(filled))])
    return StrikeLevels(
        np.where(known, own, beside), np.where(known, SOUND_SPREAD, UNKNOWN_SPREAD), known, ambient, ambient_spread
    )


def _nearest(known: npt.NDArray[np.bool_], group: int) -> npt.NDArray[np.int_]:
    """The NEIGHBOURS pitches nearest to a group that are known."""
    places = np.flatnonzero(known)
    return places[np.argsort(np.abs(places - group), kind="stable")[:NEIGHBOURS]]


def _background(tones: Tones, expected: Sequence[Expected], path_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(median, spread of the logarithm) of the largest strength in a window where no strike of a pitch is near."""
    near = maximum_filter1d(tones.strength, 1 + 2 * round(BACKGROUND_S / tones.step_s), axis=1)
    times = np.arange(tones.frames) * tones.step_s
    groups = np.array([e.group for e in expected])
    playing = (times > path_s.min()) & (times < path_s.max())
    middle, spread = 3.0 * tones.noise, np.full(len(tones.noise), EXPLAINED_SPREAD)
    for group in range(len(near)):
        alone = playing.copy()
        for t in path_s[groups == group]:
            alone[max(0, round((t - AWAY_S[0]) / tones.step_s)) : round((t + AWAY_S[1]) / tones.step_s)] = False
        if alone.sum() * tones.step_s > LEAST_AWAY_S:
            half, most = np.percentile(near[group, alone], (50.0, 90.0)) + 1e-12
            # 1.28 spreads: nine tenths of a normal distribution.
            middle[group], spread[group] = half, np.clip(np.log(most / half) / 1.28, *AMBIENT_SPREADS)
    return middle, spread


def usual_steadiness(struck: Sequence[Beginning], count: int) -> tuple[FloatArray, FloatArray]:
    """How steadily strikes of each pitch go on, shape (count,): (by its own strikes or, where it has too few, by its
    neighbours'; by its neighbours' alone). High teeth die away sooner, a string glides."""
    own = np.full(count, np.nan)
    for group in range(count):
        values = [b.steady for b in struck if b.group == group]
        if len(values) >= FEWEST_CLEAR:
            own[group] = np.median(values)
    known = np.isfinite(own)
    if known.sum() < FEWEST_KNOWN:
        return np.where(known, own, 1.0), np.ones(count)
    beside = np.array([float(np.median(own[_nearest(known, k)])) for k in range(count)])
    return np.where(known, own, beside), beside


def ground(b: Beginning, levels: StrikeLevels) -> tuple[float, float]:
    """(strength, spread of its logarithm) of what would be there without a strike."""
    ambient, usual = levels.ambient[b.group], levels.usual[b.group]
    if b.explained > ambient:
        return max(b.explained, 0.01 * usual), EXPLAINED_SPREAD
    return max(ambient, 0.01 * usual), float(levels.ambient_spread[b.group])
