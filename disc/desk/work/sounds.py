"""The sound of one tooth for the page, which plays the turn from such pieces: slower, one bar, one tooth, live."""

from __future__ import annotations

from functools import lru_cache

from disc.desk.open_job.derive import sounding_pitches
from disc.errors import MissingPart
from disc.records import Comb

# Unless said otherwise: chosen by hand, not measured.
# Half of compact disc audio's rate: the partials kept reach 11 kHz, and 40 teeth load in a blink.
RATE_HZ = 22_050
LOUDNESS = 0.5  # several teeth sound together; the page adds a limiter


def tooth_wav(comb: Comb | None, number: int) -> bytes:
    """A tooth plucked once, as a WAV file. Raises MissingPart if there is no such tooth."""
    pitches = sounding_pitches(comb) if comb else {}
    if number not in pitches:
        raise MissingPart(f"there is no tooth {number} in the comb.")
    return _wav(round(pitches[number][0], 3))


@lru_cache(maxsize=256)
def _wav(pitch: float) -> bytes:
    import numpy as np

    from disc.tune.write.sound import tooth_sound, wav_bytes

    tone = tooth_sound(pitch, rate=RATE_HZ)
    return wav_bytes(tone * (LOUDNESS / max(float(np.max(np.abs(tone))), 1e-9)), RATE_HZ)
