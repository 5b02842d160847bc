"""How fast the disc turns and how fast the tune goes on it; which bars fit if it is too long.

Of the turn the rest arc is free, and a run-up on both of its sides. What is left is the arc the tune may use, from its
first strike to its last. A turn's time given by the movement rules the tempo; without one the tempo rules the turn.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from disc.design.arrange.phrases import phrase_ends
from disc.design.settings import DesignSettings
from disc.errors import BadInput
from disc.frame import FULL_TURN_DEG, FloatArray
from disc.records import Plate
from disc.tune.score.records import ScoreIn
from disc.tune.write.lengths import beat_quarter

# Without a tempo mark: beats a minute. Common practice, no source: the middle of what a walking tune takes.
USUAL_BEATS_A_MINUTE = 96.0


@dataclass(frozen=True, slots=True)
class Timing:
    """revolution_s: one turn. quarter_s: a quarter on the disc. start_deg: turn of the first strike.

    written_quarter_s: what the tune asks for (or a guess, tempo_given False). span_quarter: first to last strike.
    """

    revolution_s: float
    quarter_s: float
    start_deg: float
    span_quarter: float
    written_quarter_s: float
    tempo_given: bool

    @property
    def deg_per_quarter(self) -> float:
        """Degrees of turn for one quarter."""
        return self.quarter_s / self.revolution_s * FULL_TURN_DEG

    @property
    def tempo_ratio(self) -> float:
        """How much faster than written the tune goes."""
        return self.written_quarter_s / self.quarter_s

    def turn_deg(self, quarters_since_first: FloatArray) -> FloatArray:
        """Turn of each strike, shape (n,), from quarters since the first note."""
        return self.start_deg + quarters_since_first * self.deg_per_quarter

    def stretched(self, factor: float) -> Timing:
        """The same turn with the tune stretched by a factor."""
        return replace(self, quarter_s=self.quarter_s * factor)


def usable_arc_deg(plate: Plate, settings: DesignSettings) -> float:
    """Degrees between the first and the last strike that the rest arc and its run-ups leave."""
    return FULL_TURN_DEG - plate.rest_arc_deg - 2 * settings.run_up_deg


def set_timing(score: ScoreIn, plate: Plate, settings: DesignSettings, revolution_s: float | None) -> Timing:
    """The tune's timing on the disc. revolution_s: the movement's turn, None to choose it from the tempo.

    Raises BadInput if the tune is too long, naming the bars that fit and where phrases end.
    """
    span = float(score.last_onset_quarter - score.start_quarter)
    arc = usable_arc_deg(plate, settings)
    if arc <= 0:
        raise BadInput(f"a rest arc of {plate.rest_arc_deg:g} degrees leaves no room for a tune. Give a smaller one.")
    written = written_quarter_s(score)
    share = arc / FULL_TURN_DEG
    longest = revolution_s or settings.longest_turn_s
    if span * written / settings.fastest > share * longest:
        raise BadInput(_too_long(score, share * longest, written / settings.fastest, longest))
    turn = revolution_s or min(max(span * written / share, settings.shortest_turn_s), settings.longest_turn_s)
    filling = turn * share / span if span else written
    quarter = min(filling, written / settings.slowest)
    start = plate.rest_arc_deg / 2 + settings.run_up_deg
    return Timing(turn, quarter, start, span, written, score.quarter_s is not None)


def written_quarter_s(score: ScoreIn) -> float:
    """Seconds of a quarter as the tune asks; by the usual beat where it does not say."""
    if score.quarter_s is not None:
        return score.quarter_s
    return 60.0 / USUAL_BEATS_A_MINUTE / float(beat_quarter(score.metre))


def _too_long(score: ScoreIn, room_s: float, fastest_quarter_s: float, turn_s: float) -> str:
    """One line: how long it is, which bars fit, and good places to cut."""
    first = score.bars[0].number
    fitting = [
        bar.number
        for bar in score.bars
        if _span_to(score, bar.end_quarter) * fastest_quarter_s <= room_s and bar.number >= 1
    ]
    needed = float(score.last_onset_quarter - score.start_quarter) * fastest_quarter_s
    words = (
        f"the tune is too long: {needed:.0f} s even played fast; a turn of {turn_s:g} s has room for {room_s:.0f} s."
    )
    if not fitting:
        return f"{words} Not even its first bar fits; give a longer --revolution-s or a faster tempo."
    last = max(fitting)
    cuts = [number for number in phrase_ends(score) if number <= last][-3:]
    offer = " or ".join(f"--bars {first}-{number}" for number in reversed(cuts or [last]))
    where = f"phrases end after bar {', '.join(map(str, cuts))}" if cuts else "no phrase end was found before that"
    return f"{words} Bars {first} to {last} fit; {where}. Try {offer}."


def _span_to(score: ScoreIn, end: Fraction) -> float:
    inside = [note.onset_quarter for note in score.notes if note.onset_quarter < end]
    return float(max(inside) - min(inside)) if inside else 0.0
