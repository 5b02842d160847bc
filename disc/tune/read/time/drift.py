"""A slow drift of the setting followed along the turn: the step grows or shrinks by up to some per cent on the way.

The turn is cut into stretches of a few seconds; in each a rate and a phase of the step are tried, and the row of them
that suits the strikes best without jumping is found (dynamic programming). A few slow waves are then laid through the
strikes' steps by least squares.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray

STRETCH_S = 3.0  # parts of the turn that each keep one rate: some tens of strikes tell it (chosen, not fitted)
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
# Rates up to 4.5 per cent off; a dividing error that drifts faster would be seen on the disc. Half a per cent apart.
RATES = np.linspace(-0.045, 0.045, 19)
PHASES = 16  # of a step, tried in each stretch; chosen, a sixteenth is under a setting error
# From one stretch to the next the rate changes by about this, and the phase is off what it should be by so much.
RATE_SIGMA, PHASE_SIGMA = 0.006, 0.06
SIGMA_S, STRAYS = 0.015, 0.04  # setting error of a strike, and the share off any grid; chosen, not fitted
WAVES = 6  # of the smooth curve over the turn that the drift may follow (chosen; DRIFT_NATS pays for them)
RIDGE = 1e-3  # a strike's weight of each wave's own size being 0: keeps the fit from running off; chosen by hand
KNOTS = 60  # places of the curve as it is given; chosen by hand, ten to a wave


def drifted(onset_s: FloatArray, step_s: float) -> tuple[FloatArray, FloatArray, float]:
    """(steady seconds, the turn's seconds) at KNOTS knots, both rising, and the steady step, s: the mean over the turn,
    from which the step tried may be some per cent off. onset_s: shape (n,), in order.
    """
    place = np.round(_places(onset_s, step_s))
    straight, real = _smooth(onset_s, place, step_s)
    return straight, real, float((straight[-1] - straight[0]) / max(np.ptp(place), 1.0))


def _places(onset_s: FloatArray, step_s: float) -> FloatArray:
    """Steps since the beginning of the turn for each onset, the drift followed; shape (n,)."""
    first, last = float(onset_s[0]), float(onset_s[-1])
    count = max(2, round((last - first) / STRETCH_S))
    width_s = (last - first) / count
    centres = first + (np.arange(count) + 0.5) * width_s
    which = np.clip(((onset_s - first) / width_s).astype(np.int64), 0, count - 1)
    table = _table(onset_s - centres[which], which, count, step_s)
    rates, phases = _best_row(table, width_s / step_s)
    at = np.empty(count)
    at[0] = -phases[0]
    for k in range(1, count):
        ahead = at[k - 1] + width_s / step_s / (1.0 + (rates[k - 1] + rates[k]) / 2.0)
        at[k] = np.round(ahead + phases[k]) - phases[k]
    return np.asarray(at[which] + (onset_s - centres[which]) / (step_s * (1.0 + rates[which])), dtype=float)


def _table(since_s: FloatArray, which: npt.NDArray[np.int64], count: int, step_s: float) -> FloatArray:
    """Nats of each stretch at each rate and phase, shape (count, rates, phases)."""
    phase = np.arange(PHASES) / PHASES
    place = since_s[:, None, None] / (step_s * (1.0 + RATES[None, :, None])) - phase[None, None, :]
    off_s = (place - np.round(place)) * step_s
    density = np.exp(-0.5 * (off_s / SIGMA_S) ** 2) * step_s / (SIGMA_S * np.sqrt(2 * np.pi))
    nats = np.log((1 - STRAYS) * density + STRAYS)
    table = np.zeros((count, len(RATES), PHASES))
    np.add.at(table, which.astype(np.int64), nats)
    return table


def _best_row(table: FloatArray, steps: float) -> tuple[FloatArray, FloatArray]:
    """(rate, phase) of each stretch on the best row. steps: grid steps from one centre to the next."""
    count = len(table)
    phase = np.arange(PHASES) / PHASES
    mean = (RATES[:, None] + RATES[None, :]) / 2.0
    ahead = steps / (1.0 + mean)  # (from rate, to rate)
    turn = phase[:, None] - phase[None, :]  # (from phase, to phase)
    off = turn[None, None] - ahead[:, :, None, None]
    off -= np.round(off)
    price = (
        -0.5 * (off / PHASE_SIGMA) ** 2 - 0.5 * ((RATES[None, :] - RATES[:, None]) / RATE_SIGMA)[:, :, None, None] ** 2
    )
    price = price.transpose(0, 2, 1, 3).reshape(len(RATES) * PHASES, -1)  # (from state, to state)
    score = table[0].ravel() - 0.5 * np.repeat((RATES / 0.02) ** 2, PHASES)
    back = []
    for k in range(1, count):
        total = score[:, None] + price
        came = total.argmax(0)
        back.append(came)
        score = total[came, np.arange(total.shape[1])] + table[k].ravel()
    state = int(score.argmax())
    row = [state]
    for came in reversed(back):
        row.append(int(came[row[-1]]))
    states = np.array(row[::-1])
    return RATES[states // PHASES], phase[states % PHASES]


def _smooth(onset_s: FloatArray, place: FloatArray, step_s: float) -> tuple[FloatArray, FloatArray]:
    """Slow waves through the strikes' steps by least squares, strikes far off left out; knots of the map."""
    low, high = place.min(), place.max()
    span = max(high - low, 1.0)

    def design(at: FloatArray) -> FloatArray:
        x = (at - low) / span
        waves = [np.cos(np.pi * k * x) for k in range(1, WAVES + 1)]
        return np.stack([np.ones_like(x), x, *waves], axis=1)

    table = design(place)
    weight: FloatArray = np.ones(len(place))
    penalty = np.diag([0.0, 0.0, *([RIDGE * len(place)] * WAVES)])
    beta: FloatArray = np.zeros(table.shape[1])
    for _ in range(4):
        left = table.T @ (table * weight[:, None]) + penalty
        beta = np.asarray(np.linalg.solve(left, table.T @ (weight * onset_s)), dtype=float)
        weight = (np.abs(onset_s - table @ beta) < 0.3 * step_s).astype(float)
        if weight.sum() < 2 * table.shape[1]:
            weight = np.ones(len(place))
    knots = np.linspace(low, high, KNOTS)
    real = np.maximum.accumulate(design(knots) @ beta + 1e-9 * np.arange(KNOTS))
    straight = real[0] + (knots - low) * (real[-1] - real[0]) / span
    return straight, real
