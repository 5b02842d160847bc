"""What a recorded turn says: what sounded, what did not, how the disc moved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from disc.listen.sound.audio import FloatArray
from disc.listen.sound.disturbed import Disturbance
from disc.listen.turn.learn.true_pitches import OffTable
from disc.listen.turn.place.speed import Motion

# off the smooth motion, and in spreads of the onsets: what is said to be early or late, the larger of the two. Pins
# read from a photograph stray by 12 ms; chosen on 34 turns of sampled instruments and 216 of modelled teeth: of what is
# said .96 and .97 were so, of those that were .86 and .92 are said
EARLY_LATE_S = 0.04
EARLY_LATE_SPREADS = 3.4  # as said beside EARLY_LATE_S
SAME_NOTE_SEMITONES = 0.5  # nearer, two teeth are of one note; chosen: a scale has none nearer than a semitone


@dataclass(frozen=True)
class Sound:
    """Something that sounded. tooth: None where several teeth of this pitch could have. strike: index in the expected
    strikes, None for an extra sound. late_s: against the smooth motion. strength: against the pitch's usual.
    probability: that an extra sound is one. cause: strike of a neighbouring tooth that may have taken it along."""

    time_s: float
    pitch: float
    tooth: int | None
    strike: int | None
    lap: int | None
    late_s: float
    strength: float
    undecidable: bool = False
    probability: float | None = None
    cause: int | None = None


@dataclass(frozen=True)
class Missed:
    """An expected strike that did not sound in one lap: where in the recording it was to be, its pitch and index."""

    time_s: float
    pitch: float
    tooth: int
    strike: int


@dataclass(frozen=True)
class Silence:
    """What is said of a strike that did not sound, or of which that cannot be told. probability: that it was silent,
    as the benchmark has shown it to be true."""

    strike: int
    probability: float
    reason: str


@dataclass(frozen=True)
class Turn:
    """A recorded turn, judged. silent: indices of strikes never heard, of those that fell into the recording. missed:
    every strike that did not sound, lap by lap.

    position of the disc: motion.position(time_s). speed: rows (time in s, speed against the mean of a revolution).
    silences: of every silent or undecided strike the probability that it was silent, and why that is said.
    off_table: teeth that sound elsewhere than their table says. disturbed: where something else is heard.
    undecided: strikes of which it cannot be told whether they sounded; untold: every such strike, lap by lap.
    weak: strikes weak each time they are heard against what their tooth is like. weak_teeth: teeth weak in all their
    strikes, against their neighbours in pitch. chances: probability that it was silent, of every strike judged by its
    sound.
    clock: by how much the recording's stated sample rate had to be multiplied. unheard: strikes outside the recording.
    """

    sounds: tuple[Sound, ...]
    silent: tuple[int, ...]
    unheard: tuple[int, ...]
    weak: tuple[int, ...]
    revolution_s: float
    speed: FloatArray
    motion: Motion
    whirr_hz: tuple[float, ...]
    clock: float
    tuning_cents: float
    fit: float
    laps: float
    remarks: tuple[str, ...]
    missed: tuple[Missed, ...] = ()
    undecided: tuple[int, ...] = ()
    weak_teeth: tuple[int, ...] = ()
    untold: tuple[Missed, ...] = ()
    off_table: tuple[OffTable, ...] = ()
    silences: tuple[Silence, ...] = ()
    disturbed: tuple[Disturbance, ...] = ()
    chances: Mapping[int, float] = field(default_factory=dict)

    @property
    def extra(self) -> tuple[Sound, ...]:
        """What sounded without a pin to explain it."""
        return tuple(s for s in self.sounds if s.strike is None)

    @property
    def early_late(self) -> tuple[Sound, ...]:
        """Expected strikes that stand off the disc's smooth motion by more than the onsets' own spread."""
        limit = max(EARLY_LATE_S, EARLY_LATE_SPREADS * self.motion.spread_s)
        return tuple(s for s in self.sounds if s.strike is not None and abs(s.late_s) > limit)


def twins_at_once(sounds: Sequence[Sound]) -> dict[tuple[int, ...], list[float]]:
    """Seconds at which teeth of one note struck together made one sound, by those teeth: one of them or all sounded."""
    shared = [s for s in sounds if s.undecidable and s.tooth is not None]
    found: dict[tuple[int, ...], list[float]] = {}
    for one in shared:
        like = {o.tooth for o in shared if o.time_s == one.time_s and abs(o.pitch - one.pitch) < SAME_NOTE_SEMITONES}
        teeth = tuple(sorted(tooth for tooth in like if tooth is not None))
        if len(teeth) > 1 and one.tooth == teeth[0]:
            found.setdefault(teeth, []).append(one.time_s)
    return found
