"""Where bar lines and beats fall, as a small network hears them before any grid or metre is known.

Comes in: onsets, pitches and voices of the strikes. Goes out: for each moment at which something is struck the
log-probabilities that it is on a bar line, on another beat, or between beats; and how the bars are likely to be
divided. One opinion among those that metre.py weighs (pulse.py, "heard lines" and "heard kind").
Method: residual blocks of dilated convolutions over the moments in order (after van den Oord et al., WaveNet, 2016),
in numpy; tempo enters only as the turn's usual gap, pitch as intervals and as steps over the tonic. Trained on the
tuning half of the corpus draw by tests/bench/fit/bar_training.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.tune.read.voices.voices import TOGETHER_S

NET_FILE = Path(__file__).with_name("bar_lines.npz")
LEVELS = ("bar line", "beat", "between")
KINDS = ("two or four beats in halves", "three beats in halves", "two or four beats in thirds", "three beats in thirds")
WINDOWS_S = (0.6, 1.5)  # over which harmony before and after a moment is compared; chosen by hand
FARTHEST = 3.0  # chosen: powers of two by which a gap may be over or under the usual one; beyond it all are alike


@dataclass(frozen=True, slots=True)
class HeardLines:
    """of: shape (n,), the moment of each strike as given. level: shape (m, 3), log-probabilities of LEVELS by moment.

    kind: shape (4,), log-probabilities of KINDS.
    """

    of: npt.NDArray[np.int64]
    level: FloatArray
    kind: FloatArray

    def moment_s(self, onset_s: FloatArray) -> FloatArray:
        """When the moments are, if the strikes, in the order given, are moved to these onsets; shape (m,)."""
        return np.asarray(np.bincount(self.of, onset_s) / np.bincount(self.of), dtype=float)


@dataclass(frozen=True, slots=True)
class BarNet:
    """Weights. blocks: (dilation, three taps one below another (3 c, c), constant (c,), mix (c, c), constant (c,))."""

    mean: FloatArray
    spread: FloatArray
    enter: FloatArray
    enter_constant: FloatArray
    blocks: tuple[tuple[int, FloatArray, FloatArray, FloatArray, FloatArray], ...]
    level: FloatArray
    level_constant: FloatArray
    kind: FloatArray
    kind_constant: FloatArray


@cache
def load_net(path: Path = NET_FILE) -> BarNet:
    """The network that comes with the program."""
    with np.load(path, allow_pickle=False) as kept:
        parts = {name: kept[name].astype(np.float32) for name in kept.files}
    blocks = tuple(
        (
            int(dilation),
            np.vstack(list(parts[f"block{number}_taps"])),
            *(parts[f"block{number}_{name}"] for name in ("taps_constant", "mix", "mix_constant")),
        )
        for number, dilation in enumerate(parts["dilations"])
    )
    plain = {name: part for name, part in parts.items() if not name.startswith(("block", "dilations"))}
    return BarNet(blocks=blocks, **plain)


def hear_lines(
    onset_s: FloatArray, pitch: FloatArray, is_melody: npt.NDArray[np.bool_], tonic: int, net: BarNet
) -> HeardLines:
    """What the network says of a turn. onset_s, pitch, is_melody: shape (n,) each, in any order; tonic: pitch class."""
    of, table = moment_features(onset_s, pitch, is_melody, tonic)
    inner = ((table - net.mean) / net.spread).astype(np.float32) @ net.enter + net.enter_constant
    count = len(inner)
    for dilation, taps, taps_constant, mix, mix_constant in net.blocks:
        padded = np.pad(np.maximum(inner, 0.0), ((dilation, dilation), (0, 0)))
        seen = np.hstack([padded[k * dilation : k * dilation + count] for k in range(3)]) @ taps + taps_constant
        inner = inner + np.maximum(seen, 0.0) @ mix + mix_constant
    inner = np.maximum(inner, 0.0)
    level = _log_shares(inner @ net.level + net.level_constant)
    return HeardLines(of, level, _log_shares((inner.mean(0) @ net.kind + net.kind_constant)[None, :])[0])


def _log_shares(values: FloatArray) -> FloatArray:
    values = values - values.max(1, keepdims=True)
    return np.asarray(values - np.log(np.exp(values).sum(1, keepdims=True)), dtype=float)


def moment_features(
    onset_s: FloatArray, pitch: FloatArray, is_melody: npt.NDArray[np.bool_], tonic: int
) -> tuple[npt.NDArray[np.int64], FloatArray]:
    """(moment of each strike as given, shape (n,); what the network sees of each moment, shape (m, f)).

    Strikes closer than TOGETHER_S are one moment. The columns follow the order in which they are made.
    """
    order = np.argsort(onset_s, kind="stable")
    onset_s, pitch, is_melody = onset_s[order], pitch[order], is_melody[order]
    of = np.r_[0, np.cumsum(np.diff(onset_s) > TOGETHER_S)].astype(int)
    count = int(of[-1]) + 1
    size = np.bincount(of, minlength=count).astype(float)
    moment_s = np.bincount(of, onset_s, count) / size
    top, low = np.full(count, -np.inf), np.full(count, np.inf)
    np.maximum.at(top, of, pitch)
    np.minimum.at(low, of, pitch)
    has_melody = np.bincount(of, is_melody, count) > 0
    has_rest = np.bincount(of, ~is_melody, count) > 0
    chroma = np.zeros((count, 12))
    np.add.at(chroma, (of, (np.round(pitch).astype(int) - tonic) % 12), 1.0)
    gap_s = np.diff(moment_s)
    usual_s = float(np.median(gap_s)) if len(gap_s) else 1.0
    middle = float(pitch.mean())
    columns = [
        *_gaps(moment_s, np.ones(count, dtype=bool), usual_s),
        *_gaps(moment_s, has_melody, usual_s),
        *_gaps(moment_s, has_rest, usual_s),
        np.full(count, np.log2(usual_s / 0.2)),
        np.minimum(size, 5.0) / 4.0,
        has_melody,
        has_rest,
        (top - middle) / 12.0,
        (low - middle) / 12.0,
        *_steps(top),
        *_steps(low),
        *_steps(np.where(has_melody, top, np.nan)),
        np.r_[0.0, ((chroma[1:] > 0) == (chroma[:-1] > 0)).all(1)],
        *(_change(moment_s, chroma, window_s) for window_s in WINDOWS_S),
        _lowest_near(moment_s, low),
        np.exp(-(moment_s - moment_s[0]) / 2.0),
        np.exp(-(moment_s[-1] - moment_s) / 2.0),
        *np.minimum(chroma, 2.0).T,
    ]
    in_order = np.empty(len(of), dtype=np.int64)
    in_order[order] = of
    return in_order, np.stack([np.asarray(column, dtype=float) for column in columns], axis=1)


def _gaps(moment_s: FloatArray, member: npt.NDArray[np.bool_], usual_s: float) -> list[FloatArray]:
    """From each moment back and on to the nearest member of a voice, in powers of two of the usual gap."""
    at = np.flatnonzero(member)
    made = []
    for side in ("left", "right"):
        if side == "left":
            found = np.searchsorted(at, np.arange(len(moment_s)), "left") - 1
            ok = found >= 0
        else:
            found = np.searchsorted(at, np.arange(len(moment_s)), "right")
            ok = found < len(at)
        far = np.full(len(moment_s), FARTHEST)
        near = np.abs(moment_s - moment_s[at[np.clip(found, 0, len(at) - 1)]]) if len(at) else np.ones(len(moment_s))
        lengths = np.log2(np.maximum(near, 1e-3) / max(usual_s, 1e-3))
        made.append(np.where(ok, np.clip(lengths, -FARTHEST, FARTHEST), far))
    return made


def _steps(height: FloatArray) -> list[FloatArray]:
    """Octaves up from the moment before, and on to the next; nan: the voice is silent there, and is stepped over."""
    made = []
    at = np.flatnonzero(np.isfinite(height))
    for back in (True, False):
        step = np.zeros(len(height))
        if len(at) > 1:
            moved = np.clip(np.diff(height[at]), -12.0, 12.0) / 12.0
            step[at[1:] if back else at[:-1]] = moved
        made.append(step)
    return made


def _change(moment_s: FloatArray, chroma: FloatArray, window_s: float) -> FloatArray:
    """Distance of the pitch classes struck in a window from each moment on from those before it, 0 to 1."""
    total = np.vstack([np.zeros(12), np.cumsum(chroma, axis=0)])
    at = np.arange(len(moment_s))
    end = np.searchsorted(moment_s, moment_s + window_s - TOGETHER_S)
    begin = np.searchsorted(moment_s, moment_s - window_s - TOGETHER_S)
    after, before = total[end] - total[at], total[at] - total[begin]
    norm = np.linalg.norm(after, axis=1) * np.linalg.norm(before, axis=1)
    return np.where(norm > 0, 1.0 - (after * before).sum(1) / np.maximum(norm, 1e-9), 0.5)


def _lowest_near(moment_s: FloatArray, low: FloatArray, window_s: float = 0.9) -> FloatArray:
    """Whether a moment's lowest note is the lowest for some time before and after it."""
    near = np.abs(moment_s[:, None] - moment_s[None, :]) < window_s
    return (low <= np.where(near, low[None, :], np.inf).min(1)).astype(float)
