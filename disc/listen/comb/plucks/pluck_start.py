"""An attack with what begins there, and how much speaks for its being a tooth's pluck."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from disc.listen.sound.attacks import Attack
from disc.listen.sound.bands import pitch_of_hz
from disc.listen.sound.beginnings import NewTone

# Unless said otherwise: log-odds in nats, chosen by hand on the development and second sets, not fitted.
LIVE_SCORE = 10.0  # of a tone that begins as a tooth's does
TICK = -5.0  # what an attack that is a tick counts against a dead tooth's pluck; chosen likewise
SHARP_DB = 15.0  # an attack that may be a pin's letting go, if it is no tick; chosen likewise
# from one pluck to the next, and the longest that is looked back over; chosen by hand
SHORTEST_GAP_S, LONGEST_GAP_S = 0.22, 12.0
SAME_PITCH_SEMITONES = 0.5  # within which two plucks are of one tooth; teeth of a comb lie a semitone apart at least


@dataclass(frozen=True)
class PluckStart:
    """An attack with what begins there. tone: the fundamental where a tooth seems to ring, else None."""

    attack: Attack
    tone: NewTone | None
    tones: tuple[NewTone, ...]
    score: float

    @property
    def time_s(self) -> float:
        """When it begins."""
        return self.attack.time_s

    @property
    def pitch(self) -> float | None:
        """MIDI number of the tone."""
        return None if self.tone is None else pitch_of_hz(self.tone.frequency_hz)


def click_score(attack: Attack) -> float:
    """How much speaks for the pluck of a dead tooth."""
    return float(np.clip((attack.rise_db - 12.0) / 6.0, -2.0, 2.5)) + (TICK if attack.tick else 0.0)
