"""A printed tune with all its notes as plain values: how a job keeps one, whether the library is there or not."""

from __future__ import annotations

import numpy as np
from pydantic import BaseModel, ConfigDict, model_validator

from disc.library.records import ReferenceTune, TuneKey


class StoredTune(BaseModel):
    """Times in ticks, as in ReferenceTune; one entry a note in each of the lists."""

    model_config = ConfigDict(extra="forbid")

    file: str
    number: int
    title: str
    collection: str
    metre: tuple[int, int] | None = None
    fifths: int = 0
    onset_tick: list[int]
    duration_tick: list[int]
    pitch: list[int]
    bar: list[int]

    @model_validator(mode="after")
    def _whole(self) -> StoredTune:
        lengths = {len(self.onset_tick), len(self.duration_tick), len(self.pitch), len(self.bar)}
        if lengths == {0}:
            raise ValueError("it has no notes")
        if len(lengths) > 1:
            raise ValueError("its notes are not whole")
        rows = (self.onset_tick, self.duration_tick, self.pitch, self.bar)
        if any(abs(value) > LARGEST for row in rows for value in row):
            raise ValueError("a number in it is out of all measure")
        return self

    def tune(self) -> ReferenceTune:
        """As the library's record."""
        onset, duration, pitch, bar = (
            np.array(row, dtype=np.int64) for row in (self.onset_tick, self.duration_tick, self.pitch, self.bar)
        )
        key = TuneKey(self.file, self.number)
        return ReferenceTune(key, self.title, self.collection, onset, duration, pitch, bar, self.metre, self.fifths)


LARGEST = 2**40  # ticks; far beyond any score, and far from where whole numbers end; chosen


def stored_values(tune: ReferenceTune) -> dict[str, object]:
    """What a StoredTune of this tune is made of."""
    return {
        "file": tune.key.file, "number": tune.key.number, "title": tune.title, "collection": tune.collection,
        "metre": tune.metre, "fifths": tune.fifths, "onset_tick": tune.onset_tick.tolist(),
        "duration_tick": tune.duration_tick.tolist(), "pitch": tune.pitch.tolist(), "bar": tune.bar.tolist(),
    }  # fmt: skip
