"""Which way the disc turns, by the music: played backwards, a tune keeps its beat and loses its bars and its ending.

Turned the other way the strikes come in exactly the reverse order. The metre's reader, made for tunes that go forwards,
finds clearer bars in the right direction, and tunes end on their tonic. On sixteen discs the score was ahead in the
right direction on fourteen, by 1.4 to 6.5; never by CLEAR and a tonic the wrong way. That is a hint, not a proof: where
the tune is in the library, `disc identify` tells it far better.
"""

from __future__ import annotations

from disc.records import Tune, Turns, Voice
from disc.tune.read.read_tune import TuneReading

A_NAT, TONIC = 0.7, 1.5  # worth of one point of the metre's score, and of ending on the tonic; from those sixteen discs
CLEAR = 3.7  # log-odds from which the other direction is named
NAMED = 0.8  # probability said with it; chosen by hand


def other_way(turns: Turns) -> Turns:
    """The other way of turning."""
    return Turns.COUNTERCLOCKWISE if turns is Turns.CLOCKWISE else Turns.CLOCKWISE


def backwards_odds(given: TuneReading, reversed_: TuneReading) -> float:
    """Log-odds, before any belief, that the disc turns the other way."""
    return A_NAT * (reversed_.score - given.score) + TONIC * (ends_on_tonic(reversed_.tune) - ends_on_tonic(given.tune))


def ends_on_tonic(tune: Tune) -> bool:
    """Whether the melody's last note is the key's first."""
    melody = [note for note in tune.notes if note.voice is Voice.MELODY]
    return bool(melody) and melody[-1].pitch % 12 == tune.key.tonic
