"""Key, mode and signature from the pitches struck.

Goes by: how well the weights of the pitch classes agree with published profiles, notes outside the scale, the first
and last notes and the lowest ones. Profiles (each also in music21.analysis.discrete; a test holds ours equal):
Krumhansl and Kessler 1982, in Krumhansl, Cognitive Foundations of Musical Pitch (1990), table 2.1; Temperley's revised
profile for folk song in Music and Probability (2007), table 4.1, here "simple" by Sapp 2011 as music21 gives it.
"""

from __future__ import annotations

from dataclasses import dataclass

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


def key_candidates() -> list[Key]:
    """Every key considered, 12 tonics in each mode."""
    return [key_of(tonic, mode) for mode in MODES for tonic in range(12)]


def key_features(evidence: KeyEvidence, key: Key) -> list[float]:
    """The values of KEY_FEATURES for one key."""
    weight = np.roll(evidence.weight, -key.tonic)
    melody = np.roll(evidence.melody, -key.tonic)
    weight, melody = weight / max(weight.sum(), 1e-9), melody / max(melody.sum(), 1e-9)
    minor_third = key.mode in ("minor", "dorian")
    profile = KRUMHANSL_KESSLER["minor" if minor_third else "major"]
    scale = [(step - MODE_STEPS[key.mode]) % 12 for step in SCALE]
    inside = np.isin(np.arange(12), scale)
    last = (evidence.last_melody - key.tonic) % 12
    third = 3 if minor_third else 4
    return [
        float(np.corrcoef(weight, profile)[0, 1]),
        float(np.corrcoef(melody, profile)[0, 1]),
        float(weight[~inside].sum()),
        float(melody[~inside].sum()),
        float(weight[0]),
        float(weight[7]),
        float(weight[third]),
        float(last == 0),
        float(last in (third, 7)),
        float(evidence.last_low == key.tonic),
        float(evidence.first_low == key.tonic),
        float(evidence.first_melody == key.tonic),
        float((evidence.first_melody - key.tonic) % 12 == 7),
        float(key.mode == "minor"),
        float(key.mode == "dorian"),
        float(key.mode == "mixolydian"),
    ]


@dataclass(frozen=True, slots=True)
class KeyReading:
    """A key, its probability, and for a runner-up what spoke most against it."""

    key: Key
    probability: float
    why: str = ""


def read_key(
    pitch: FloatArray, length: FloatArray, is_melody: npt.NDArray[np.bool_], model: LinearModel
) -> list[KeyReading]:
    """All keys, best first. Signatures are weighed first, all keys of one signature together; then the key in it.

    Same inputs as key_evidence.
    """
    keys = key_candidates()
    evidence = key_evidence(pitch, length, is_melody)
    shares = model.shares(np.array([key_features(evidence, key) for key in keys]))
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
