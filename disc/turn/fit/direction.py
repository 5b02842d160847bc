"""Which way the disc turns, by the music: played backwards, a tune keeps its beat and loses its sense.

Turned the other way the strikes come in exactly the reverse order. The metre's reader, made for tunes that go forwards,
finds clearer bars in the right direction, tunes end on their tonic, and the steps of the melody are those of printed
melodies in one direction more than in the other (melodies.py). Each sign is a difference between the two directions,
so that a disc turned round gives the same with the other sign; what each is worth is fitted on invented discs. That is
a hint, not a proof: where the tune is in the library, `disc identify` tells it better.
"""

from __future__ import annotations

import numpy as np

from disc.records import Tune, Turns, Voice
from disc.tune.read.read_tune import TuneReading
from disc.turn.fit.melodies import FEWEST_NOTES, line_forwards, load_tables

SIGNS = ("metre", "tonic", "degrees", "figures", "rhythm")
# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
LARGEST_SIGN = {"metre": 12.0, "tonic": 1.0, "degrees": 30.0, "figures": 30.0, "rhythm": 30.0}  # no one sign decides
# Log-odds from which the other direction is named. Beyond it 17 in 1,000 printed melodies are taken for reversed ones.
CLEAR = 2.0
MOST_SURE = 0.97  # chosen: more was never tried


def other_way(turns: Turns) -> Turns:
    """The other way of turning."""
    return Turns.COUNTERCLOCKWISE if turns is Turns.CLOCKWISE else Turns.CLOCKWISE


def backwards_odds(given: TuneReading, reversed_: TuneReading) -> float:
    """Log-odds, before any belief, that the disc turns the other way."""
    weights = load_tables().weights["direction"]
    return -sum(weights[name] * value for name, value in signs_of(given, reversed_).items())


def signs_of(given: TuneReading, reversed_: TuneReading) -> dict[str, float]:
    """By SIGNS: how much more the reading of the disc as it turns looks like a tune than that of the other way."""
    lines = _line(given.tune), _line(reversed_.tune)
    forwards = dict.fromkeys(SIGNS[2:], 0.0)
    for (when, pitch), tune, sign in zip(lines, (given.tune, reversed_.tune), (0.5, -0.5), strict=True):
        if len(when) >= FEWEST_NOTES:
            for name, nats in line_forwards(when, pitch, tune.key.fifths).items():
                forwards[name] += sign * nats
    signs = {
        "metre": given.score - reversed_.score,
        "tonic": float(ends_on_tonic(given.tune)) - float(ends_on_tonic(reversed_.tune)),
        **forwards,
    }
    return {name: float(np.clip(signs[name], -LARGEST_SIGN[name], LARGEST_SIGN[name])) for name in SIGNS}


def _line(tune: Tune) -> tuple[np.ndarray, np.ndarray]:
    """The melody, the highest of what stands at one place: (quarters, pitch)."""
    highest: dict[float, int] = {}
    for note in tune.notes:
        if note.voice is Voice.MELODY:
            at = float(note.onset_quarter)
            highest[at] = max(note.pitch, highest.get(at, note.pitch))
    when = np.array(sorted(highest))
    return when, np.array([highest[at] for at in when], dtype=int)


def ends_on_tonic(tune: Tune) -> bool:
    """Whether the melody's last note is the key's first."""
    melody = [note for note in tune.notes if note.voice is Voice.MELODY]
    return bool(melody) and melody[-1].pitch % 12 == tune.key.tonic
