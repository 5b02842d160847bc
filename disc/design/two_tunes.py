"""Two tunes on one disc, one after the other in a turn: a breath between them, each in its own key, both a little
quicker or slower alike where the turn asks for it.

The first is arranged by itself and the second on what it leaves free, and the other way round where that loses
anything; the better of the two stands. Both by themselves are a bound that no arrangement of the pair can pass, so what
is proven is proven of the pair.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from disc.design.arrange.arrange import Arrangement, arrange
from disc.design.arrange.pitches import PlayingComb, playing_comb
from disc.design.arrange.task import prepare
from disc.design.arrange.timing import Timing, usable_arc_deg, written_quarter_s
from disc.design.plan import Design, laid_out
from disc.design.settings import DesignSettings
from disc.errors import BadInput
from disc.frame import FULL_TURN_DEG
from disc.records import Comb, Pin, Plate
from disc.tune.score.records import ScoreIn
from disc.words import Advance, no_progress

# From the end of the first tune's last note to the second's first, at the tempo written: a listener hears that one is
# over. Chosen by hand, no source.
BREATH_S = 1.5


@dataclass(frozen=True, slots=True)
class TwoTunes:
    """Both tunes laid out on one plate. bound: no arrangement of the pair is worth more."""

    first: Design
    second: Design
    bound: int

    @property
    def parts(self) -> tuple[Design, Design]:
        """Both in the order in which they are heard."""
        return self.first, self.second

    @property
    def value(self) -> int:
        """What both are worth together."""
        return self.first.arrangement.value + self.second.arrangement.value


def plan_two(
    scores: tuple[ScoreIn, ScoreIn],
    comb: Comb,
    plate: Plate,
    settings: DesignSettings,
    revolution_s: float | None = None,
    transpositions: tuple[int | None, int | None] = (None, None),
    advance: Advance = no_progress,
) -> TwoTunes:
    """A new disc that plays one tune and then the other. revolution_s: the movement's turn; None: by the tempi.

    Raises BadInput with one line if the comb's table is not enough, both are too long, or one cannot be played.
    """
    settings.check()
    playing = playing_comb(comb, plate)
    timings = two_timings(scores, plate, settings, revolution_s)
    turning = replace(plate, revolution_s=timings[0].revolution_s)
    task = _BothTunes(scores, comb, playing, turning, replace(settings, budget_s=settings.budget_s / 4), timings)
    alone = [task.arranged(number, transpositions[number], (), advance) for number in (0, 1)]
    for number, found in enumerate(alone):
        if not found.placed:
            raise BadInput(
                f"no note of {scores[number].title!r} can be played on this comb. Check the comb's pitches and tracks."
            )
    bound = sum(found.bound for found in alone)
    tried = [(alone[0], task.arranged(1, transpositions[1], task.pins(0, alone[0]), advance))]
    if tried[0][0].value + tried[0][1].value < bound:
        tried.append((task.arranged(0, transpositions[0], task.pins(1, alone[1]), advance), alone[1]))
    both = max(tried, key=lambda pair: pair[0].value + pair[1].value)
    first = task.design(0, both[0], 1)
    return TwoTunes(first, task.design(1, both[1], 1 + len(first.pins)), bound)


@dataclass(frozen=True, slots=True)
class _BothTunes:
    """What both arrangements share."""

    scores: tuple[ScoreIn, ScoreIn]
    comb: Comb
    playing: PlayingComb
    plate: Plate
    settings: DesignSettings
    timings: tuple[Timing, Timing]

    def arranged(self, number: int, transposition: int | None, kept: Sequence[Pin], advance: Advance) -> Arrangement:
        """One of the tunes beside pins that stand already."""
        score, timing = self.scores[number], self.timings[number]
        return arrange(prepare(score, self.playing, self.plate, self.settings, timing, kept), transposition, advance)

    def design(self, number: int, found: Arrangement, first_id: int) -> Design:
        """One of the tunes laid out."""
        score = self.scores[number]
        strikes, pins, of_note = laid_out(score, self.playing, self.comb, self.plate, self.settings, found, first_id)
        return Design(score, self.comb, self.playing, self.plate, self.settings, found, strikes, pins, of_note)

    def pins(self, number: int, found: Arrangement) -> tuple[Pin, ...]:
        """The pins of one arrangement."""
        return self.design(number, found, 1).pins


def two_timings(
    scores: tuple[ScoreIn, ScoreIn], plate: Plate, settings: DesignSettings, revolution_s: float | None
) -> tuple[Timing, Timing]:
    """Where in the turn each tune begins and how fast it goes: the tempi as written, both changed alike.

    Raises BadInput if both are too long for a turn.
    """
    arc = usable_arc_deg(plate, settings)
    if arc <= 0:
        raise BadInput(f"a rest arc of {plate.rest_arc_deg:g} degrees leaves no room for a tune. Give a smaller one.")
    written = [written_quarter_s(score) for score in scores]
    spans = [float(score.last_onset_quarter - score.start_quarter) for score in scores]
    pause_s = float(_last_length(scores[0])) * written[0] + BREATH_S
    lengths_s = [span * quarter for span, quarter in zip(spans, written, strict=True)]
    needed_s = sum(lengths_s) + pause_s
    share = arc / FULL_TURN_DEG
    longest_s = revolution_s or settings.longest_turn_s
    if needed_s / settings.fastest > share * longest_s:
        raise BadInput(
            f"both tunes are too long for one turn: {needed_s / settings.fastest:.0f} s even played fast "
            f"({lengths_s[0] / settings.fastest:.0f} and {lengths_s[1] / settings.fastest:.0f} s and a breath); a turn "
            f"of {longest_s:g} s has room for {share * longest_s:.0f} s. Take bars of each: --bars 1-16 --bars 1-8."
        )
    turn_s = revolution_s or min(max(needed_s / share, settings.shortest_turn_s), settings.longest_turn_s)
    stretch = min(turn_s * share / needed_s, 1 / settings.slowest)
    start = plate.rest_arc_deg / 2 + settings.run_up_deg
    later = start + (lengths_s[0] + pause_s) * stretch / turn_s * FULL_TURN_DEG
    first, second = (
        Timing(turn_s, quarter * stretch, at, span, quarter, score.quarter_s is not None)
        for score, quarter, at, span in zip(scores, written, (start, later), spans, strict=True)
    )
    return first, second


def _last_length(score: ScoreIn) -> Fraction:
    """Quarters from the last strike to the end of what it strikes."""
    return max(note.end_quarter for note in score.notes) - score.last_onset_quarter
