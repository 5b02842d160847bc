"""What a recording shows along the strikes laid through it: the record that follow_disc makes and the judges read."""

from __future__ import annotations

from dataclasses import dataclass

from disc.listen.sound.audio import FloatArray
from disc.listen.sound.bands import Whole
from disc.listen.turn.hear.strike_steps import ToneStep, ToothVoice
from disc.listen.turn.judge.which_tooth import Told
from disc.listen.turn.learn.true_pitches import OffTable
from disc.listen.turn.place.speed import Motion
from disc.listen.turn.place.tones import Tones


@dataclass(frozen=True)
class Followed:
    """steps, places_s: of told.matched.heard, one each: what the strike adds to its tooth's tone, and where that was
    looked for. off: teeth off their table. voices: each tooth's tone as it settles; tuned: as it is just after a
    strike, by which steps are measured. leaks: what each strike's companions usually put into its band."""

    whole: Whole
    tones: Tones
    told: Told
    motion: Motion
    off: tuple[OffTable, ...]
    voices: dict[int, ToothVoice]
    tuned: dict[int, ToothVoice]
    steps: list[ToneStep | None]
    places_s: FloatArray
    leaks: FloatArray
