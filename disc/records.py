"""The records that pass between rooms. Frozen; changed with dataclasses.replace; an unknown is None.

Words and axes: a place on the disc is (side, r_mm, theta_deg), theta counted counter-clockwise from the stop slot as
seen looking at the upper side, 0 <= theta < 360. No sign of rotation is decided here; see frame.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from itertools import pairwise
from typing import Any


class Side(StrEnum):
    """A face of the disc. Upper is towards you when the stop cam or the arbor's square is up."""

    UPPER = "upper"
    LOWER = "lower"


class Turns(StrEnum):
    """Which way the disc goes, seen looking at the upper side."""

    CLOCKWISE = "clockwise"
    COUNTERCLOCKWISE = "counterclockwise"


class Condition(StrEnum):
    """What is seen of a pin."""

    SOUND = "sound"
    BENT = "bent"
    STUB = "stub"
    MISSING = "missing"
    EXTRA = "extra"
    UNSEEN = "unseen"  # no photograph shows the place well enough: neither missing nor absent


class ToothCondition(StrEnum):
    """What is seen or heard of a tooth."""

    SOUND = "sound"
    DEAD = "dead"  # whole, but gives no tone
    BROKEN = "broken"  # its tip, or all of it, has broken off
    MISSING = "missing"  # cut out, or lost with its block
    REPLACED = "replaced"  # not the maker's: set in later, its pitch may not be his
    BUZZING = "buzzing"
    DOUBLED = "doubled"


class About(StrEnum):
    """What a doubt is about."""

    FACES = "faces"  # upper and lower swapped
    DIRECTION = "direction"  # which way the disc turns
    DIAMETER = "diameter"
    DISC = "disc"  # the photographs show different discs, or none
    COMB = "comb"  # not this disc's comb
    TUNE = "tune"  # not this disc's tune
    FACE = "face"  # a face was not photographed
    COVERED = "covered"  # part of a face is hidden
    SLOT = "slot"
    SHARP = "sharp"  # blur, glare, too few pixels, too steep
    STALE = "stale"  # made from inputs that have changed since
    ASSUMED = "assumed"  # a number nobody gave


class Voice(StrEnum):
    """Part of the texture a note belongs to."""

    MELODY = "melody"
    ACCOMPANIMENT = "accompaniment"


# Teeth that give no tone, whatever lifts them.
SILENT_TEETH = frozenset({ToothCondition.DEAD, ToothCondition.BROKEN, ToothCondition.MISSING})

# Pins that still lift their tooth: a bent pin plays, early, late or beside; an extra is counted only if it stands.
SOUNDING = frozenset({Condition.SOUND, Condition.BENT})


@dataclass(frozen=True, slots=True)
class Plate:
    """The disc's plate and how it turns.

    slot_width_mm, slot_depth_mm: the stop slot, a notch in the rim, where measured. assumed: names of the fields that
    nobody gave and that stand at what is usual; whatever rests on one of them is said to be assumed.
    """

    diameter_mm: float
    turns: Turns = Turns.CLOCKWISE
    revolution_s: float = 45.0  # common practice, no source: discs of this kind play 30 to 60 s
    rest_arc_deg: float = 14.0  # common practice, no source: 10 to 20 degrees are left free for stopping
    thickness_mm: float | None = None
    bore_mm: float | None = None
    slot_width_mm: float | None = None
    slot_depth_mm: float | None = None
    assumed: frozenset[str] = frozenset()

    @classmethod
    def known(cls, **values: Any) -> Plate:
        """A plate of which only these values were given; None counts as not given. diameter_mm must be."""
        given = {name: value for name, value in values.items() if value is not None}
        return cls(**(USUAL | given), assumed=frozenset(USUAL.keys() - given.keys()))

    @property
    def radius_mm(self) -> float:
        """Radius of the rim (of a gear-cut rim: of the circle through the teeth's tips)."""
        return self.diameter_mm / 2.0


# What stands in for a value of the plate that nobody gave. Common practice, no source; always told as assumed.
USUAL: dict[str, Any] = {"turns": Turns.CLOCKWISE, "revolution_s": 45.0, "rest_arc_deg": 14.0}

DOUBT_BELOW = 0.9  # confidence under which a site is marked for a person's eye; chosen by hand


# A pin's thickness where none was measured; chosen, the middle of the project's conventions (0.15 to 0.35 mm).
USUAL_DIAMETER_MM = 0.25


# A place that was given without its uncertainty, by hand or in a table, is taken as known so well along each axis:
# twice what two sharp photographs give. Chosen; 0 would make a guess the surest place of all.
UNSTATED_SIGMA_MM = 0.05


@dataclass(frozen=True, slots=True)
class Pin:
    """One pin, stub or empty hole, in the disc's own axes.

    lean_x_mm, lean_y_mm: tip minus root along the disc's axes (x towards the stop slot, y 90 degrees
    counter-clockwise from it, both as seen on the upper side). sigma_mm: one standard deviation of the root along each
    axis. confidence: probability, 0 to 1, that a pin site is here. tooth: number in the comb table.
    condition_probability: that the condition is as said, if a site is here; None: not judged, or set by a person.
    height_sigma_mm: one standard deviation of the height as photographs tell it; None: not told by them.
    """

    id: int
    side: Side
    r_mm: float
    theta_deg: float
    diameter_mm: float | None = None
    height_mm: float | None = None
    condition: Condition = Condition.SOUND
    lean_x_mm: float | None = None
    lean_y_mm: float | None = None
    sigma_mm: float | None = None
    confidence: float | None = None
    tooth: int | None = None
    condition_probability: float | None = None
    height_sigma_mm: float | None = None

    @property
    def plays(self) -> bool:
        """Whether the pin, as it stands, lifts its tooth; an extra plays if it stands and has a tooth."""
        if self.condition is Condition.EXTRA:
            return self.tooth is not None and bool(self.height_mm)
        return self.condition in SOUNDING

    @property
    def presence_is_doubtful(self) -> bool:
        """Whether there may be nothing here."""
        return self.confidence is not None and self.confidence < DOUBT_BELOW

    @property
    def is_doubtful(self) -> bool:
        """Whether a person should look at the place again: nothing may be here, or not what calls for work.

        What a person set has no confidence and no doubt.
        """
        unsure = self.condition_probability is not None and self.condition_probability < DOUBT_BELOW
        return self.presence_is_doubtful or (unsure and self.condition not in SOUNDING)


@dataclass(frozen=True, slots=True)
class Tooth:
    """One steel tooth of the comb. tip_theta_deg: where its tip stands with the disc at rest; None: not measured.

    pitch: MIDI number with a fraction (69.0 is A4 at 440 Hz); None: not known yet. pitch_probability: that pitch and
    condition are this tooth's, where a recording of many teeth told them by counting; None: they were not counted.
    """

    number: int
    side: Side
    tip_r_mm: float
    tip_theta_deg: float | None = None
    pitch: float | None = None
    condition: ToothCondition | None = None
    pitch_probability: float | None = None

    @property
    def is_silent(self) -> bool:
        """Whether it gives no tone as it is; where the condition is not known it is taken to sound."""
        return self.condition in SILENT_TEETH

    @property
    def tip_deg(self) -> float:
        """tip_theta_deg where it must be known: measured, or estimated in turn/. Raises ValueError where it is not."""
        if self.tip_theta_deg is None:
            raise ValueError(f"the tip of tooth {self.number} has no angle yet")
        return self.tip_theta_deg


@dataclass(frozen=True, slots=True)
class Comb:
    """All teeth of the movement, in the order of the table. draft: made from the pins alone, not measured."""

    teeth: tuple[Tooth, ...]
    draft: bool = False

    def tooth(self, number: int) -> Tooth:
        """The tooth with this number. Raises KeyError if there is none."""
        for tooth in self.teeth:
            if tooth.number == number:
                return tooth
        raise KeyError(number)


@dataclass(frozen=True, slots=True)
class Strike:
    """One tooth plucked once in a turn. onset_s is at a steady speed; turn_deg counts from rest, 0 to below 360.
    silent: the tooth gives no tone. swing: how far the tip is lifted, against the loudest; None: not known."""

    turn_deg: float
    onset_s: float
    tooth: int
    pitch: float | None = None
    pin_id: int | None = None
    doubtful: bool = False
    silent: bool = False
    swing: float | None = None


@dataclass(frozen=True, slots=True)
class Note:
    """One written note. Times are exact quarters from the first bar line (an upbeat is negative).

    pitch: sounding MIDI number, whole. pins: the pins that play it (more than one only where a repeat was folded).
    onset_s: when its strike falls, seconds after the disc starts; None: not read from a disc. silent: its tooth gives
    no tone, so it is written, but not played. swing: as of its strike.
    """

    onset_quarter: Fraction
    duration_quarter: Fraction
    pitch: int
    voice: Voice = Voice.MELODY
    pins: tuple[int, ...] = ()
    tooth: int | None = None
    doubtful: bool = False
    grace: bool = False
    rolled: bool = False
    onset_s: float | None = None
    silent: bool = False
    swing: float | None = None


@dataclass(frozen=True, slots=True)
class Key:
    """A key or mode. fifths: sharps positive, flats negative. tonic: pitch class 0-11. mode: "major", "minor", ..."""

    tonic: int
    mode: str
    fifths: int


@dataclass(frozen=True, slots=True)
class Metre:
    """A time signature, e.g. Metre(6, 8)."""

    beats: int
    unit: int

    @property
    def bar_quarter(self) -> Fraction:
        """Length of one bar in quarters."""
        return Fraction(4 * self.beats, self.unit)


@dataclass(frozen=True, slots=True)
class Repeat:
    """Bars start_bar..end_bar (inclusive, the first full bar is 1) are played twice.

    first_ending, second_ending: lengths in bars of differing endings, 0 where the two passes are the same.
    """

    start_bar: int
    end_bar: int
    first_ending: int = 0
    second_ending: int = 0


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a turn with bar lines of its own: a second tune, a trio, a bar line moved by hand.

    line_quarter: its first full bar's line, in quarters from the turn's first bar line; bar: that bar's number, counted
    on; upbeat_quarter: how long before the line it begins. quarter_s: seconds of a quarter in it. titled: it is a tune
    of its own, after a double bar.
    """

    line_quarter: Fraction
    bar: int
    metre: Metre
    key: Key
    quarter_s: float
    upbeat_quarter: Fraction = Fraction(0)
    title: str = ""
    titled: bool = False


@dataclass(frozen=True, slots=True)
class Tune:
    """A tune as it is written down and played out: notes holds every note of the turn, repeats not folded.

    upbeat_quarter: length of the upbeat before the first bar line, 0 <= upbeat < bar. quarter_s: seconds of a quarter.
    start_s: seconds after the disc starts at which bar 1 begins. repeats: how the played-out bars fold in print.
    pace: where the tempo is not steady, (quarter, seconds after the disc starts) at rising quarters; held: onsets of
    notes under a fermata; slowing_quarter: where the end begins to slow down. sections: parts after the first whose
    bar lines are counted anew; metre, key and upbeat are those of the first.
    """

    notes: tuple[Note, ...]
    metre: Metre
    key: Key
    upbeat_quarter: Fraction
    quarter_s: float
    start_s: float = 0.0
    title: str = ""
    repeats: tuple[Repeat, ...] = ()
    pace: tuple[tuple[float, float], ...] = ()
    held: tuple[Fraction, ...] = ()
    slowing_quarter: Fraction | None = None
    sections: tuple[Section, ...] = ()

    @property
    def parts(self) -> tuple[Section, ...]:
        """All sections, the first included; one for a tune in one piece."""
        first = Section(Fraction(0), 1, self.metre, self.key, self.quarter_s, self.upbeat_quarter, self.title)
        return (first, *self.sections)

    def part_at(self, quarter: Fraction) -> Section:
        """The section whose bars a quarter is counted in; a later one's upbeat lies in the last bar before it."""
        return [part for part in self.parts if part.line_quarter <= quarter or part.bar == 1][-1]

    def bar_of(self, quarter: Fraction) -> tuple[int, Fraction]:
        """(number of the bar, quarters after its line) of a place; an upbeat stands in bar 0."""
        parts = self.parts
        part = self.part_at(quarter)
        bar = part.bar + int((quarter - part.line_quarter) // part.metre.bar_quarter)
        later = parts.index(part) + 1
        if later < len(parts):  # the bar before a line that was moved may be longer than the metre's
            bar = min(bar, parts[later].bar - 1)
        return bar, quarter - self.line_of(bar)

    def line_of(self, bar: int) -> Fraction:
        """The quarter at which a bar's line stands, by its number."""
        part = [part for part in self.parts if part.bar <= max(bar, 1)][-1]
        return part.line_quarter + (bar - part.bar) * part.metre.bar_quarter

    def onset_s(self, quarter: Fraction | float) -> float:
        """Seconds after the disc starts at which a quarter falls; beyond the pace's ends at the usual tempo."""
        at, knots = float(quarter), self.pace
        if not knots:
            return self.start_s + at * self.quarter_s
        if at <= knots[0][0]:
            return knots[0][1] + (at - knots[0][0]) * self.quarter_s
        for (before, before_s), (after, after_s) in pairwise(knots):
            if at <= after:
                return before_s + (at - before) * (after_s - before_s) / (after - before)
        return knots[-1][1] + (at - knots[-1][0]) * self.quarter_s

    def quarter_at(self, onset_s: float) -> float:
        """The quarter that falls at a time: the inverse of onset_s."""
        knots = self.pace
        if not knots:
            return (onset_s - self.start_s) / self.quarter_s
        if onset_s <= knots[0][1]:
            return knots[0][0] + (onset_s - knots[0][1]) / self.quarter_s
        for (before, before_s), (after, after_s) in pairwise(knots):
            if onset_s <= after_s:
                return before + (after - before) * (onset_s - before_s) / (after_s - before_s)
        return knots[-1][0] + (onset_s - knots[-1][1]) / self.quarter_s


@dataclass(frozen=True, slots=True)
class Doubt:
    """A fact that is missing, assumed or implausible, made where it is known and carried to every command and paper.

    say: what is in doubt, one sentence for the person at the bench. advice: what settles it, with the command where
    there is one. probability: that the doubt is justified (1.0: a plain fact, such as a face not photographed).
    """

    about: About
    say: str
    advice: str = ""
    side: Side | None = None
    probability: float = 1.0


@dataclass(frozen=True, slots=True)
class Evidence:
    """One reason for a finding. kind: "seen", "heard", "known" or "mechanical". weight: log-likelihood ratio, nats."""

    kind: str
    words: str
    weight: float = 0.0


@dataclass(frozen=True, slots=True)
class Finding:
    """Something a person should know or decide about one place of the disc.

    kind: e.g. "missing", "bent", "stub", "abandoned", "displaced", "collision". probability: that it is so.
    """

    kind: str
    side: Side
    r_mm: float
    theta_deg: float
    probability: float
    evidence: tuple[Evidence, ...] = field(default_factory=tuple)
    pin_id: int | None = None
    tooth: int | None = None
    bar: int | None = None
    beat: Fraction | None = None
