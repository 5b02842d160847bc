"""How likely each strike of a disc belongs to the melody, whether its pitch is known or only its tooth's rank.

The same small networks as in tune voices, which says what they look at; fitted anew on practice discs with all their
damage (pins gone, dead teeth, gaps, folded notes), since those of the tune room were fitted on whole discs. A third of
the practice discs was shown by rank. bench/fit/identify_fit.py makes melody.json and prints how the discs
that were left out were judged: 91 % of strikes rightly, where the shares of higher strikes nearby alone reach 82 %.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from disc.fitted import fitted_part
from disc.library.records import FloatArray
from disc.tune.read.voices.voices import VoiceModel
from disc.tune.read.voices.voices import melody_probability as judge

MODEL_FILE = Path(__file__).with_name("melody.json")
PARTS = ("mean", "spread", "hidden", "hidden_constant", "weight")
SEMITONES_OF_RANK = 1.7  # 12 semitones over the 7 steps of a scale, by definition
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
LEAST = 0.001  # the networks are never surer than this


def melody_probability(onset_s: FloatArray, pitch: FloatArray, ranks: bool = False) -> FloatArray:
    """Probability of each strike, shape (n,), to be of the melody. ranks: pitch holds ranks of teeth."""
    height = pitch * SEMITONES_OF_RANK + 60.0 if ranks else np.asarray(pitch, dtype=np.float64)
    return np.asarray(np.clip(judge(onset_s, height, load_looks()), LEAST, 1.0 - LEAST))


@cache
def load_looks() -> tuple[VoiceModel, ...]:
    """The fitted networks, first look first."""
    raw = fitted_part(MODEL_FILE, "melody")
    return tuple(
        VoiceModel(constant=float(one["constant"]), **{part: np.array(one[part]) for part in PARTS}) for one in raw
    )
