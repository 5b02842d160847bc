"""What the attack says of a strike that stands alone: the sharp rise of the level as the pin lets go.

A weak tone may drown in what else rings, but its attack is heard where nothing else begins just then. How often a
strike shows one, and how often chance (a watch that ticks) does, the recording itself tells.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d

from disc.listen.sound.audio import FloatArray

RISE_DB = 6.0  # that counts as an attack; chosen by eye on development recordings, what it says is fitted
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
REACH_S = 0.02  # of the path from the strike
ALONE_S = 0.05  # nothing else may begin so near
CLEAR_ODDS, GONE_ODDS = 3.0, -3.0  # a strike that certainly sounded, one that certainly did not
# Nine strikes in ten show their attack, believed as far as two strikes heard (common practice, no source).
USUAL_SHARE, USUAL_WEIGHT = 0.9, 2.0
# In a tune so dense that nothing is left between its strikes chance is not known: steps of the curve.
CHANCE, CHANCE_WEIGHT = 0.2, 200.0
LEAST_SHARE = 0.02  # never or always is not believed of a few strikes


@dataclass(frozen=True)
class Attacks:
    """curve_db: rise of the level at steps of step_s, shape (steps,)."""

    curve_db: FloatArray
    step_s: float

    def cue(self, path_s: FloatArray, odds: FloatArray) -> FloatArray:
        """Log-odds, shape (n,), that the attack (or its lack) at each place adds to odds; nothing where another strike
        is near. path_s, odds: shape (n,), places of the expected strikes and the log-odds their tones give."""
        alone = _alone(path_s, odds)
        return np.asarray(np.where(alone, self.says(path_s, self.rates(path_s, odds)), 0.0))

    def rates(self, path_s: FloatArray, odds: FloatArray) -> tuple[float, float]:
        """(how often a sure and lone strike shows an attack, how often chance does) in this recording."""
        rises = self._rises()
        at = np.clip(np.round(path_s / self.step_s).astype(int), 0, len(rises) - 1)
        sure = _alone(path_s, odds) & (odds > CLEAR_ODDS)
        away = np.ones(len(rises), dtype=bool)
        for t in path_s:
            away[max(0, round((t - ALONE_S) / self.step_s)) : round((t + ALONE_S) / self.step_s) + 1] = False
        away[: at.min()] = away[at.max() :] = False
        struck = (rises[at[sure]].sum() + USUAL_SHARE * USUAL_WEIGHT) / (sure.sum() + USUAL_WEIGHT)
        chance = (rises[away].sum() + CHANCE * CHANCE_WEIGHT) / (away.sum() + CHANCE_WEIGHT)
        struck, chance = np.clip((struck, chance), LEAST_SHARE, 1 - LEAST_SHARE)
        return float(struck), float(chance)

    def says(self, times_s: FloatArray, rates: tuple[float, float]) -> FloatArray:
        """Log-odds of a strike that the attack within REACH_S of each time, or its lack, adds; shape (n,)."""
        struck, chance = rates
        if struck <= chance:
            return np.zeros(len(times_s))
        rises = self._rises()
        here = rises[np.clip(np.round(times_s / self.step_s).astype(int), 0, len(rises) - 1)]
        return np.asarray(np.where(here, np.log(struck / chance), np.log((1 - struck) / (1 - chance))))

    def _rises(self) -> npt.NDArray[np.bool_]:
        reach = 1 + 2 * round(REACH_S / self.step_s)
        return np.asarray(maximum_filter1d(self.curve_db, reach) > RISE_DB)


def _alone(path_s: FloatArray, odds: FloatArray) -> npt.NDArray[np.bool_]:
    """Which strikes have no other beside them that may have sounded; shape (n,)."""
    apart = np.abs(path_s[:, None] - path_s[None, :])
    np.fill_diagonal(apart, np.inf)
    return np.asarray(np.where(odds[None, :] > GONE_ODDS, apart, np.inf).min(axis=1) > ALONE_S)
