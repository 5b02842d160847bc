"""What the library holds and what a search answers: tunes as they are printed, alignments, matches."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from disc.tune.score.records import TICKS_PER_QUARTER

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, order=True)
class TuneKey:
    """Names a tune for good: file within its collection (`essenFolksong/erk10.abc`) and its number (`580`)."""

    file: str
    number: int

    def __str__(self) -> str:
        return f"{self.file}:{self.number}"


@dataclass(frozen=True, slots=True, eq=False)
class ReferenceTune:
    """A printed tune, repeats played out. All arrays have shape (n,), sorted by onset, then pitch.

    onset_tick: from the first bar line or the upbeat's start, TICKS_PER_QUARTER to the quarter. pitch: whole MIDI
    numbers. bar: printed bar of each note; 1 is the first full bar, 0 an upbeat.
    """

    key: TuneKey
    title: str
    collection: str
    onset_tick: IntArray
    duration_tick: IntArray
    pitch: IntArray
    bar: IntArray
    metre: tuple[int, int] | None = None
    fifths: int = 0
    composer: str = ""

    @property
    def onset_quarter(self) -> FloatArray:
        """Onsets in quarters, shape (n,)."""
        return self.onset_tick / TICKS_PER_QUARTER


@dataclass(frozen=True, slots=True)
class Pairing:
    """A strike and the printed note it plays. late_s: seconds after its place at a steady tempo (negative: early).

    octaves: how many octaves the strike stands above the note once the transposition is taken out.
    """

    strike: int
    note: int
    late_s: float
    octaves: int = 0


@dataclass(frozen=True, slots=True)
class Alignment:
    """One disc against one printed tune: one transposition, one tempo.

    agree: strikes at their place. displaced: strikes of the right pitch too early or too late for their place.
    absent: printed notes, within what the disc plays, that no strike plays. extra: strikes that the print does not
    have (all of the accompaniment, where the print is the melody alone). Strikes and notes by index, in order.
    transposition: semitones from print to disc. quarter_s: seconds of a printed quarter on the disc. sigma_s: spread
    of the agreeing strikes about their places. from_bar, to_bar: printed bars. score: log-likelihood ratio, nats.
    """

    agree: tuple[Pairing, ...]
    displaced: tuple[Pairing, ...]
    absent: tuple[int, ...]
    extra: tuple[int, ...]
    transposition: float
    quarter_s: float
    sigma_s: float
    from_bar: int
    to_bar: int
    score: float
    start_s: float = 0.0
    expected_s: dict[int, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Match:
    """One tune found, best first in a list. probability: that the disc plays this tune at all (or a version of it).

    score: how alike disc and print are, nats. tempo_ratio: seconds of a printed quarter on the disc over the 0.5 s of a
    quarter at 120 a minute. versions: keys of other tunes that are versions of this one. group: versions share it.
    What lies far down a list is ranked only: where it would lie on the disc was not made out, and is None.
    alike: of the first match, how many tunes of the library fit about as well, itself among them.
    """

    key: TuneKey
    title: str
    collection: str
    score: float
    probability: float
    transposition: float | None = None
    tempo_ratio: float | None = None
    from_bar: int | None = None
    to_bar: int | None = None
    agree: int | None = None
    absent: tuple[int, ...] = ()
    displaced: tuple[int, ...] = ()
    extra: tuple[int, ...] = ()
    versions: tuple[TuneKey, ...] = ()
    group: int = -1
    alignment: Alignment | None = None
    alike: int = 1
