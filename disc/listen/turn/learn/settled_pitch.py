"""A tooth's pitch as its tone settles: read late in each of its strikes, where nothing near it begins.

A plucked tone may glide by some cents at first. Where a tooth stands against its table is told by how it goes on.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.listen.sound.audio import FloatArray
from disc.listen.sound.bands import Whole, band, hz_of_pitch, pitch_of_hz

# Unless said otherwise: chosen on eight turns of the bench ("make-end") that had been looked at; not fitted. There the
# worst of eleven teeth off their table came from 5.2 to 3.6 cents of where it settles.
HALF_HZ = 12.0  # of the band about the tooth: a semitone's neighbour at 220 Hz is outside
FROM_S, TO_S, BEFORE_NEXT_S, SHORTEST_S = 0.15, 0.9, 0.06, 0.15  # after a strike; of what is read at least
LEAST_SHARE = 0.1  # of its strongest: what is fainter is noise
MOST_STRAY = 0.5  # radians about an even course; more is another tone beside it
FEWEST = 3  # strikes that tell
FARTHEST_CENTS = 15.0  # a tone settles no farther from how it began


def settled_pitch(whole: Whole, pitch: float, own_s: Sequence[float], near_s: FloatArray) -> float:
    """MIDI pitch at which a tooth settles; the given one where too few strikes tell. own_s: when its strikes began;
    near_s: when anything near its pitch did, ascending."""
    hz = hz_of_pitch(pitch)
    envelope, rate = band(whole, hz, HALF_HZ)
    found = []
    for at in own_s:
        later = near_s[near_s > at + 1.0 / HALF_HZ]
        end_s = min(float(later[0]) - BEFORE_NEXT_S if len(later) else np.inf, at + TO_S)
        piece = envelope[int((at + FROM_S) * rate) : int(min(end_s * rate, len(envelope)))]
        if len(piece) < SHORTEST_S * rate:
            continue
        size = np.abs(piece)
        clear = size > LEAST_SHARE * size.max()
        times, phase = np.arange(len(piece))[clear] / rate, np.unwrap(np.angle(piece))[clear]
        course = np.polyfit(times, phase, 1, w=size[clear])
        if np.std(phase - np.polyval(course, times)) < MOST_STRAY and hz + course[0] / (2 * np.pi) > 0:
            found.append(pitch_of_hz(float(hz + course[0] / (2 * np.pi))))
    if len(found) < FEWEST:
        return pitch
    settled = float(np.median(found))
    return settled if 100.0 * abs(settled - pitch) < FARTHEST_CENTS else pitch
