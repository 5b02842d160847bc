"""What the music says about a strike at one place of the turn: a few numbers, each with a plain meaning.

For places given by time and sound, whether a hole was seen there or not. Weights turn the numbers into log-likelihood
ratios (weights.py); this module only observes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.check.music.music_places import MusicSite
from disc.check.music.repeats import StrikesHeard, Votes, Window, nearest_gap, vote
from disc.frame import FloatArray

# What is observed of a place, in the order of the columns of Wants.observed.
OBSERVED = ("strain", "voice", "figure", "instead", "beat", "use", "crowd")
# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
VOICE_REACH = 4  # semitones below a place that still belong to its own, upper, voice
FIGURE_REACH = 3  # semitones above a place that still belong to its own, lower, voice
RARE = 0.02  # base rate of a sound that the disc hardly has
BLUR_SIGMAS = 1.2  # of the strikes' spread: how the strikes folded over one bar are smoothed
OFF_PARTS_SIGMAS = 2.5  # off the simple parts of the beat: none of them explains the strike
AROUND_BEATS = 0.6  # how far around a place other strikes may stand instead of it


@dataclass(frozen=True, slots=True)
class Wants:
    """observed: shape (n, len(OBSERVED)). votes: of the strain window, for naming witnesses."""

    observed: FloatArray
    votes: Votes


def observe(heard: StrikesHeard, places: Sequence[MusicSite]) -> Wants:
    """Observe places, n of them.

    strain: votes of like places (ln odds over the sound's base rate), where "like" is judged by all strikes within two
    bars. voice: the same within a bar, by the strikes not much lower than the place. figure: the same within a bar, by
    those not much higher. instead: how many other strikes stand around the place that the like places do not have; it
    speaks for a varied repeat, not for a loss. beat: ln density of the strikes at this point of the bar over an even
    one. use: ln of the sound's base rate. crowd: Place.crowd.
    """
    t_s = np.array([place.onset_s for place in places])
    sound = np.array([place.sound for place in places], dtype=np.int64)
    bar = heard.grid.bar_s
    base = np.array([heard.base_rate.get(place.sound, RARE) for place in places])
    strain = vote(heard, t_s, sound, Window(2.0 * bar))
    voice = vote(heard, t_s, sound, Window(bar, lowest=-VOICE_REACH))
    figure = vote(heard, t_s, sound, Window(bar, highest=FIGURE_REACH))
    columns = {
        "strain": strain.log_odds(base),
        "voice": voice.log_odds(base),
        "figure": figure.log_odds(base),
        "instead": _instead(heard, t_s, sound, strain),
        "beat": beat_density(heard, t_s),
        "use": np.log(base),
        "crowd": np.array([place.crowd for place in places]),
    }
    return Wants(np.column_stack([columns[name] for name in OBSERVED]), strain)


def _instead(heard: StrikesHeard, t_s: FloatArray, sound: npt.NDArray[np.int64], votes: Votes) -> FloatArray:
    """Mean number of strikes around each place without a counterpart at the like places that have the strike."""
    gap = np.abs(heard.t_s[None, :] - t_s[:, None])
    own = (heard.sound[None, :] == sound[:, None]) & (gap < heard.tolerance_s)
    around = (gap < AROUND_BEATS * heard.grid.beat_s) & ~own
    count = around.astype(float) @ _without_counterpart(heard, votes.lags_s)
    # Squared: the surest like places say most about what stands there instead.
    weight = np.where(votes.inside & votes.present, votes.same, 0.0) ** 2 + 1e-9
    return (weight * count).sum(axis=1) / weight.sum(axis=1)


def _without_counterpart(heard: StrikesHeard, lags: FloatArray) -> FloatArray:
    """Whether each strike has none of its sound at each lag, shape (m, k), as 0 and 1."""
    lonely = np.ones((len(heard.t_s), len(lags)))
    for value in np.unique(heard.sound):
        rows = np.flatnonzero(heard.sound == value)
        times = np.sort(heard.t_s[rows])
        lonely[rows] = nearest_gap(times, heard.t_s[rows][:, None] + lags[None, :]) >= heard.tolerance_s
    return lonely


def stands_alone(heard: StrikesHeard) -> npt.NDArray[np.bool_]:
    """Whether each strike falls at a point of the beat that nothing explains, shape (n,): off the grid indeed.

    Beside is_lonely, a third, a quarter or a sixth of the beat, used once, is a rare figure and no fault.
    """
    beat = heard.grid.beat_s
    quarters = np.array([heard.grid.tune.quarter_at(float(at)) for at in heard.t_s])
    share = (quarters / float(heard.grid.beat_quarter)) % 1.0
    off_parts = np.min([np.abs(share * parts - np.round(share * parts)) / parts for parts in (3, 4, 6)], axis=0)
    return (off_parts * beat > OFF_PARTS_SIGMAS * heard.grid.sigma_s) & is_lonely(heard)


def is_lonely(heard: StrikesHeard) -> npt.NDArray[np.bool_]:
    """Whether each strike falls at a point of the beat where hardly any other does, shape (n,).

    A point that only one strike uses in its bar, but others use in other beats, is a rare figure and no fault.
    """
    return beat_density(heard, heard.t_s, of_others=True, fold_s=heard.grid.beat_s) < 0.0


def beat_density(
    heard: StrikesHeard, t_s: FloatArray, of_others: bool = False, fold_s: float | None = None
) -> FloatArray:
    """ln of the density of all strikes, folded over one bar, at each place's point of the bar; 0 is an even density.

    of_others: t_s are times of strikes themselves, each of which is left out of its own density. fold_s: what is folded
    over, if not the bar.
    """
    bar = fold_s or heard.grid.bar_s
    blur = BLUR_SIGMAS * heard.grid.sigma_s
    gap = np.abs((t_s[:, None] - heard.t_s[None, :] + bar / 2) % bar - bar / 2)
    bell = np.exp(-0.5 * (gap / blur) ** 2) / (blur * np.sqrt(2 * np.pi))
    # Two strikes' worth of an even density: a few strikes alone prove no grid.
    own = 1.0 / (blur * np.sqrt(2 * np.pi)) if of_others else 0.0
    others = np.maximum(bell.sum(axis=1) - own, 0.0)  # rounding may leave a little less than nothing
    return np.log((others + 2.0 / bar) * bar / (len(heard.t_s) + 2.0))
