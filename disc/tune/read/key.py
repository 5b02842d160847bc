"""Key, mode and signature from the pitches struck.

Goes by: how well the weights of the pitch classes agree with published profiles, notes outside the scale, the first
and last notes and the lowest ones. Profiles (each also in music21.analysis.discrete; a test holds ours equal):
Krumhansl and Kessler 1982, in Krumhansl, Cognitive Foundations of Musical Pitch (1990), table 2.1; Temperley's revised
profile for folk song in Music and Probability (2007), table 4.1, here "simple" by Sapp 2011 as music21 gives it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from disc.frame import FloatArray
from disc.records import Key
from disc.tune.read.linear import LinearModel
from disc.tune.settings import MODE_STEPS, key_of

# Krumhansl, Cognitive Foundations of Musical Pitch (1990), table 2.1; a test holds them equal to music21's.
KRUMHANSL_KESSLER = {
    "major": (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88),
    "minor": (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17),
}
MODES = ("major", "minor", "dorian", "mixolydian")
SCALE = (0, 2, 4, 5, 7, 9, 11)  # semitones of the major scale; theory of music


@dataclass(frozen=True, slots=True)
class KeyEvidence:
    """What the key is read from. weight: of each pitch class, shape (12,), all notes; melody: of the melody alone."""

    weight: FloatArray
    melody: FloatArray
    last_melody: int
    last_low: int
    first_low: int
    first_melody: int


def key_evidence(pitch: FloatArray, length: FloatArray, is_melody: npt.NDArray[np.bool_]) -> KeyEvidence:
    """Notes in order of time. length: weight of each, such as its duration; shape (n,) each."""
    whole = np.round(pitch).astype(int)
    pcs = whole % 12
    melody = np.flatnonzero(is_melody) if np.any(is_melody) else np.arange(len(pcs))
    ends = np.arange(max(0, len(pcs) - 3), len(pcs))
    starts = np.arange(min(4, len(pcs)))
    return KeyEvidence(
        np.bincount(pcs, length, 12).astype(float),
        np.bincount(pcs[melody], length[melody], 12).astype(float),
        int(pcs[melody[-1]]),
        int(pcs[ends[np.argmin(whole[ends])]]),
        int(pcs[starts[np.argmin(whole[starts])]]),
        int(pcs[melody[0]]),
    )


KEY_FEATURES = (
    "profile, all notes",
    "profile, melody",
    "notes outside the scale",
    "melody outside the scale",
    "weight of the tonic",
    "weight of the fifth",
    "weight of the third",
    "ends on the tonic",
    "ends on the third or fifth",
    "lowest at the end is the tonic",
    "lowest at the start is the tonic",
    "begins on the tonic",
    "begins on the fifth",
    "minor",
    "dorian",
    "mixolydian",
)


def strike_weights(onset_s: FloatArray, is_melody: npt.NDArray[np.bool_]) -> FloatArray:
    """Seconds until the next strike of the same voice, at most one: what each counts for the key. Shape (n,)."""
    weight = np.full(len(onset_s), 0.3)
    for voice in (True, False):
        members = np.flatnonzero(is_melody == voice)
        if len(members) > 1:
            weight[members] = np.clip(np.diff(np.r_[onset_s[members], onset_s[members[-1]] + 0.6]), 0.05, 1.0)
    return weight


@cache
def key_candidates() -> tuple[Key, ...]:
    """Every key considered, 12 tonics in each mode."""
    return tuple(key_of(tonic, mode) for mode in MODES for tonic in range(12))


def key_table(evidence: KeyEvidence) -> FloatArray:
    """The values of KEY_FEATURES for every key of key_candidates, shape (48, len(KEY_FEATURES))."""
    tonic = np.arange(12)
    over_tonic = (tonic[:, None] + np.arange(12)) % 12  # pitch class of each step over each tonic
    weight, melody = (given / max(given.sum(), 1e-9) for given in (evidence.weight, evidence.melody))
    weight, melody = weight[over_tonic], melody[over_tonic]
    last = (evidence.last_melody - tonic) % 12
    blocks = []
    for mode in MODES:
        minor_third = mode in ("minor", "dorian")
        profile = KRUMHANSL_KESSLER["minor" if minor_third else "major"]
        outside = ~np.isin(np.arange(12), [(step - MODE_STEPS[mode]) % 12 for step in SCALE])
        third = 3 if minor_third else 4
        columns = (
            _correlation(weight, profile),
            _correlation(melody, profile),
            weight[:, outside].sum(1),
            melody[:, outside].sum(1),
            weight[:, 0],
            weight[:, 7],
            weight[:, third],
            last == 0,
            np.isin(last, (third, 7)),
            evidence.last_low == tonic,
            evidence.first_low == tonic,
            evidence.first_melody == tonic,
            (evidence.first_melody - tonic) % 12 == 7,
            *(np.full(12, mode == other) for other in MODES[1:]),
        )
        blocks.append(np.stack([np.asarray(column, dtype=float) for column in columns], axis=1))
    return np.vstack(blocks)


def _correlation(rows: FloatArray, profile: Sequence[float]) -> FloatArray:
    """Pearson's correlation of each row with a profile, shape (n,)."""
    off = rows - rows.mean(1, keepdims=True)
    from_mean = np.array(profile) - np.mean(profile)
    return np.asarray(off @ from_mean / np.sqrt((off * off).sum(1) * (from_mean @ from_mean)), dtype=float)


@dataclass(frozen=True, slots=True)
class KeyReading:
    """A key, its probability, and for a runner-up what spoke most against it."""

    key: Key
    probability: float
    why: str = ""


def off_scale(pitch: FloatArray, fifths: int) -> float:
    """The share of the strikes that lie off the scale of this signature. pitch: whole, shape (n,)."""
    return float(np.mean(~np.isin((pitch - 7 * fifths) % 12, SCALE))) if len(pitch) else 0.0


def read_key(
    pitch: FloatArray, length: FloatArray, is_melody: npt.NDArray[np.bool_], model: LinearModel
) -> list[KeyReading]:
    """All keys, best first. Signatures are weighed first, all keys of one signature together; then the key in it.

    Same inputs as key_evidence.
    """
    keys = key_candidates()
    evidence = key_evidence(pitch, length, is_melody)
    shares = model.shares(key_table(evidence))
    score = shares.sum(1)
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    by_signature: dict[int, float] = {}
    for key, share in zip(keys, weight, strict=True):
        by_signature[key.fifths] = by_signature.get(key.fifths, 0.0) + float(share)
    order = sorted(range(len(keys)), key=lambda i: (-by_signature[keys[i].fifths], -weight[i], i))
    lead = shares[order[0]]
    return [
        KeyReading(keys[i], float(weight[i]), "" if i == order[0] else _why(lead - shares[i], model.names))
        for i in order
    ]


def _why(lead: FloatArray, names: tuple[str, ...]) -> str:
    order = np.argsort(-lead)[:3]
    return "lost by: " + "; ".join(names[i] for i in order if lead[i] > 0)
