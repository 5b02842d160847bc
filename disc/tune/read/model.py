"""The fitted numbers of the reader, in model.json: made by fit_tune.py, fit_parts.py, fit_holds.py and
fit_certainty.py in tests/bench/fit, which say how.

Nothing here is measured on the half of the draw that tests/bench/measure/score.py reports as held out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from disc.fitted import fitted_part, made_parts
from disc.tune.read.beat.rhythm import RhythmModel
from disc.tune.read.certainty import Certainty, MixedCertainty
from disc.tune.read.linear import LinearModel
from disc.tune.read.voices.voices import VoiceModel

VOICE_PARTS = ("mean", "spread", "hidden", "hidden_constant", "weight")
MODEL_FILE = Path(__file__).with_name("model.json")


# A tune of so few pitches is read as a plain one, one of so many as a piece with parts of its own, between them by
# both: on 225 melodies and 75 excerpts of the tuning half, which hold 8 to 16 and 25 to 39 pitches (the middle
# eighty of a hundred), 90 and 77 in a hundred have their bar lines right so; by plain weights alone 89 and 61, by the
# others 87 and 77. At 16 and 24 it is 89 and 77.
FEW_PITCHES, MANY_PITCHES = 12, 20


@dataclass(frozen=True, slots=True)
class Model:
    """All fitted parts. metre_plain: the metre's weights for plain tunes; metre: for pieces with parts of their own.

    certainty: by "metre" and "key", of plain tunes; by "metre of pieces" and "key of pieces".
    """

    voices: tuple[VoiceModel, ...]
    metre: LinearModel
    metre_plain: LinearModel
    key: LinearModel
    rhythm: RhythmModel
    parts: LinearModel
    holds: LinearModel
    certainty: dict[str, Certainty]

    def metre_for(self, pitches: int) -> LinearModel:
        """The metre's weights for a turn that strikes so many different pitches: the two fits, mixed by its compass."""
        wide = share_of_piece(pitches)
        plain = dict(zip(self.metre_plain.names, self.metre_plain.weight / self.metre_plain.spread, strict=True))
        weight = np.array([plain.get(name, 0.0) for name in self.metre.names]) * self.metre.spread
        return replace(self.metre, weight=(1.0 - wide) * weight + wide * self.metre.weight)

    def certainty_of(self, what: str, pitches: int) -> MixedCertainty:
        """How sure is said of "metre" or "key" in a turn that strikes so many different pitches."""
        return MixedCertainty(self.certainty[what], self.certainty[f"{what} of pieces"], share_of_piece(pitches))


def share_of_piece(pitches: int) -> float:
    """How much a turn of so many different pitches is read as a piece with parts of its own, 0 to 1."""
    return min(1.0, max(0.0, (pitches - FEW_PITCHES) / (MANY_PITCHES - FEW_PITCHES)))


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
    linear = {part: _linear(raw[part]) for part in ("metre", "metre_plain", "key", "parts", "holds")}
    certainty = {name: Certainty(**curve) for name, curve in raw["certainty"].items()}
    return Model(voices, rhythm=rhythm, certainty=certainty, **linear)


def _linear(raw: dict[str, dict[str, float]]) -> LinearModel:
    names = tuple(raw)
    columns = {part: np.array([raw[name][part] for name in names]) for part in ("mean", "spread", "weight")}
    return LinearModel(names, columns["mean"], columns["spread"], columns["weight"])
