"""The fitted numbers of the reader, in model.json: made by tests/bench/fit/fit_tune.py and fit_parts.py, which say how.

Nothing here is measured on the half of the draw that tests/bench/measure/score.py reports as held out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from disc.fitted import fitted_part, made_parts
from disc.tune.read.linear import LinearModel
from disc.tune.read.rhythm import RhythmModel
from disc.tune.read.voices import VoiceModel

VOICE_PARTS = ("mean", "spread", "hidden", "hidden_constant", "weight")
MODEL_FILE = Path(__file__).with_name("model.json")


@dataclass(frozen=True, slots=True)
class Model:
    """All fitted parts."""

    voices: tuple[VoiceModel, ...]
    metre: LinearModel
    key: LinearModel
    rhythm: RhythmModel
    parts: LinearModel


@cache
def load_model() -> Model:
    """The model that comes with the program."""
    return model_from({part: fitted_part(MODEL_FILE, part) for part in made_parts(MODEL_FILE)})


def model_from(raw: dict[str, Any]) -> Model:
    """A model from the parts of model.json."""
    voices = tuple(
        VoiceModel(constant=float(look["constant"]), **{part: np.array(look[part]) for part in VOICE_PARTS})
        for look in raw["voices"]
    )
    tables = {kind: {name: np.array(t, float) for name, t in raw["rhythm"][kind].items()} for kind in ("bar", "beat")}
    rhythm = RhythmModel(tables["bar"], tables["beat"])
    return Model(voices, _linear(raw["metre"]), _linear(raw["key"]), rhythm, _linear(raw["parts"]))


def _linear(raw: dict[str, dict[str, float]]) -> LinearModel:
    names = tuple(raw)
    columns = {part: np.array([raw[name][part] for name in names]) for part in ("mean", "spread", "weight")}
    return LinearModel(names, columns["mean"], columns["spread"], columns["weight"])
