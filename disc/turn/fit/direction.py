"""Which way the disc turns: played backwards, a tune keeps its beat and loses its sense.

Turned the other way the strikes come in exactly the reverse order. The metre's reader, made for tunes that go forwards,
finds clearer bars in the right direction, and the steps of the melody are those of printed melodies in one direction
more than in the other (forwards.py). Each sign is a difference between the two directions, so that a disc turned round
gives the same with the other sign; what each is worth is fitted on invented discs of tunes that the steps' weights were
not fitted to. What bent pins and the rest arc say of it is added (bent_pins.py). That is a hint, not a proof: where the
tune is in the library, `disc identify` tells it better.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np

from disc.fitted import fitted_part
from disc.frame import FULL_TURN_DEG
from disc.records import Strike, Tune, Turns, Voice
from disc.tune.read.read_tune import TuneReading
from disc.turn.fit.forwards import FITTED, forwards_odds
from disc.turn.fit.melodies import FEWEST_NOTES

WAYS = "ways"
SIGNS = ("metre", "line")
LARGEST_SIGN = {"metre": 8.0, "line": 5.0}  # chosen by hand: no one sign decides; few of the invented discs gave more
# Log-odds from which the other direction is named. Chosen on 80 invented discs of held-out tunes (draw 101): beyond it
# 75 are told rightly and none wrongly.
CLEAR = 1.5
MOST_SURE = 0.97  # chosen: more was never tried
# The last note rings before the disc stops, the first needs no room: the free arc after the last strike is the longer
# one. Nothing is said by less than the first of these degrees, and no more by more than the second. Three to one at the
# most, by judgement: of the discs of development nine are laid out so, on eight the two arcs are alike.
ALIKE_DEG, LONGER_DEG, RINGING = 1.5, 4.0, 1.1


def other_way(turns: Turns) -> Turns:
    """The other way of turning."""
    return Turns.COUNTERCLOCKWISE if turns is Turns.CLOCKWISE else Turns.CLOCKWISE


def backwards_odds(given: TuneReading, reversed_: TuneReading) -> float:
    """Log-odds by the music, before any belief, that the disc turns the other way."""
    weights = load_ways()
    return -sum(weights[name] * value for name, value in signs_of(given, reversed_).items())


@cache
def load_ways() -> dict[str, float]:
    """What each of SIGNS is worth."""
    return {name: float(weight) for name, weight in fitted_part(FITTED, WAYS).items()}


def signs_of(given: TuneReading, reversed_: TuneReading) -> dict[str, float]:
    """By SIGNS: how much more the reading of the disc as it turns looks like a tune than that of the other way."""
    line = 0.5 * (line_odds(given.tune) - line_odds(reversed_.tune))
    signs = {"metre": given.score - reversed_.score, "line": line}
    return {name: float(np.clip(signs[name], -LARGEST_SIGN[name], LARGEST_SIGN[name])) for name in SIGNS}


def line_odds(tune: Tune) -> float:
    """Log-odds that the melody runs forwards; 0 where it is too short to tell."""
    when, pitch = melody_line(tune)
    return forwards_odds(when, pitch, tune.key.fifths) if len(when) >= FEWEST_NOTES else 0.0


def melody_line(tune: Tune) -> tuple[np.ndarray, np.ndarray]:
    """The melody, the highest of what stands at one place: (quarters, pitch)."""
    highest: dict[float, int] = {}
    for note in tune.notes:
        if note.voice is Voice.MELODY:
            at = float(note.onset_quarter)
            highest[at] = max(note.pitch, highest.get(at, note.pitch))
    when = np.array(sorted(highest))
    return when, np.array([highest[at] for at in when], dtype=int)


def ringing_odds(strikes: Sequence[Strike]) -> float:
    """Log-odds by the free arcs before the first strike and after the last one that the disc turns the other way."""
    at = [strike.turn_deg for strike in strikes]
    if len(at) < FEWEST_NOTES:
        return 0.0
    longer = (FULL_TURN_DEG - max(at)) - min(at)
    share = np.clip((abs(longer) - ALIKE_DEG) / (LONGER_DEG - ALIKE_DEG), 0.0, 1.0)
    return float(-np.sign(longer) * share * RINGING)
