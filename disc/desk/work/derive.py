"""What follows from the pins: strikes as the disc plays now and as it should, the tune, and each pin's bar and beat.

Pure and quick: it is run after every edit. What takes longer (findings, plan, score) has its own steps in tasks.py.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from disc.comb.strikes import strikes_from_pins
from disc.frame import turn_for_onset_deg
from disc.records import Comb, Pin, Plate, Strike, Tune
from disc.tune.write.lengths import beat_quarter

# A pin that the tune does not hold (an empty hole) is given the nearest place on this grid, in quarters.
GRID_QUARTER = Fraction(1, 4)
SHARP_NAMES = ("C", "C♯", "D", "D♯", "E", "F", "F♯", "G", "G♯", "A", "A♯", "B")
FLAT_NAMES = ("C", "D♭", "D", "E♭", "E", "F", "G♭", "G", "A♭", "A", "B♭", "B")
# Teeth of unknown pitch are sounded as a rising scale from this MIDI number, so that they can be told apart.
STAND_IN_FROM = 67.0
MOST_CHANGES_TOLD = 6


@dataclass(frozen=True, slots=True)
class MusicPlace:
    """Where in the tune a pin sounds. bar 0 is the upbeat; beat counts from 1 in felt beats (two in 6/8)."""

    bar: int
    beat: Fraction
    exact: bool  # False: not a note of the tune as read, placed by its time alone


@dataclass(frozen=True, slots=True)
class BarLine:
    """The start of a bar. number counts full bars from 1."""

    number: int
    onset_s: float
    turn_deg: float


@dataclass(frozen=True, slots=True)
class Derived:
    """All that follows from pins, comb and plate. tune None: not read (yet), why says the reason."""

    now: tuple[Strike, ...] = ()
    should: tuple[Strike, ...] = ()
    tune: Tune | None = None
    bars: tuple[BarLine, ...] = ()
    beats_s: tuple[float, ...] = ()
    places: dict[int, MusicPlace] = field(default_factory=dict)
    alternatives: tuple[str, ...] = ()
    why: str = ""


def derive(pins: Sequence[Pin], comb: Comb | None, plate: Plate, tune: Tune | None, why: str = "") -> Derived:
    """Strikes, bars and places. pins: with their teeth. tune: as read from the same pins, if it was."""
    if comb is None:
        return Derived(why="There is no comb yet, so nothing sounds.")
    now = strikes_from_pins(pins, comb, plate, as_it_stands=True)
    should = strikes_from_pins(pins, comb, plate, with_missing=True)
    if tune is None:
        return Derived(now, should, None, why=why or "The tune has not been read yet.")
    bars, beats = _bar_lines(tune, plate)
    return Derived(now, should, tune, bars, beats, _places(tune, should), why=why)


def _bar_lines(tune: Tune, plate: Plate) -> tuple[tuple[BarLine, ...], tuple[float, ...]]:
    bar_s = float(tune.metre.bar_quarter) * tune.quarter_s
    end = max((float(n.onset_quarter + n.duration_quarter) for n in tune.notes), default=0.0) * tune.quarter_s
    count = max(1, -int(-(end - 1e-6) // bar_s))
    onsets = [tune.start_s + index * bar_s for index in range(count + 1)]
    lines = tuple(
        BarLine(index + 1, onset, float(turn_for_onset_deg(onset, plate.revolution_s)))
        for index, onset in enumerate(onsets)
        if 0.0 <= onset <= plate.revolution_s
    )
    in_bar = int(tune.metre.bar_quarter / beat_quarter(tune.metre))
    beats = tuple(
        round(onset + step * bar_s / in_bar, 4) for onset in onsets[:-1] for step in range(1, in_bar) if onset >= 0
    )
    return lines, beats


def _places(tune: Tune, strikes: Sequence[Strike]) -> dict[int, MusicPlace]:
    exact = {pin: _place_at(note.onset_quarter, tune, True) for note in tune.notes for pin in note.pins}
    places = dict(exact)
    for strike in strikes:
        if strike.pin_id is not None and strike.pin_id not in exact and tune.quarter_s > 0:
            quarter = Fraction(round((strike.onset_s - tune.start_s) / tune.quarter_s / float(GRID_QUARTER)))
            places[strike.pin_id] = _place_at(quarter * GRID_QUARTER, tune, False)
    return places


def _place_at(quarter: Fraction, tune: Tune, exact: bool) -> MusicPlace:
    bar_quarter = tune.metre.bar_quarter
    bar = quarter // bar_quarter
    beat = (quarter - bar * bar_quarter) / beat_quarter(tune.metre) + 1
    return MusicPlace(int(bar) + 1, beat, exact)


def note_name(pitch: float | None, fifths: int = 0) -> str:
    """A pitch in words, with its octave and how far it is off in cents: "D5", "B♭4 +8"."""
    if pitch is None:
        return "pitch not known"
    whole = round(pitch)
    cents = round((pitch - whole) * 100)
    names = FLAT_NAMES if fifths < 0 else SHARP_NAMES
    off = "" if cents == 0 else f" {cents:+d}"
    return f"{names[whole % 12]}{whole // 12 - 1}{off}"


def sounding_pitches(comb: Comb) -> dict[int, tuple[float, bool]]:
    """By tooth: the pitch to sound, and whether it is only a stand-in because the tooth's own is not known."""
    stand_in = STAND_IN_FROM
    pitches = {}
    for tooth in sorted(comb.teeth, key=lambda t: (t.side, t.tip_r_mm)):
        pitches[tooth.number] = (tooth.pitch, False) if tooth.pitch is not None else (stand_in, True)
        stand_in += 1.0
    return pitches


def beat_words(beat: Fraction) -> str:
    """A beat as it is said: "2", "2½", "2 3/8"."""
    whole, rest = divmod(beat, 1)
    written = {Fraction(0): "", Fraction(1, 2): "½", Fraction(1, 4): "¼", Fraction(3, 4): "¾"}
    return f"{whole}{written.get(rest, f' {rest.numerator}/{rest.denominator}')}"


def told_changes(before: Derived, after: Derived) -> list[str]:
    """What an edit changed in the music, in words: strikes that came, went or moved, and a new reading of the tune."""
    told: list[str] = []
    old = {s.pin_id: s for s in before.should}
    new = {s.pin_id: s for s in after.should}
    for pin in sorted(old.keys() | new.keys(), key=str):
        a, b = old.get(pin), new.get(pin)
        if a is None and b is not None:
            told.append(f"pin {pin} now sounds tooth {b.tooth}{_at(after, pin)}")
        elif b is None and a is not None:
            told.append(f"pin {pin} no longer sounds tooth {a.tooth}{_at(before, pin)}")
        elif a and b and a.tooth != b.tooth:
            told.append(f"pin {pin}: tooth {a.tooth} became tooth {b.tooth}")
        elif a and b and abs(a.onset_s - b.onset_s) > 0.001:
            told.append(f"pin {pin} sounds {abs(b.onset_s - a.onset_s):.2f} s {_sooner(a, b)}")
    if len(told) > MOST_CHANGES_TOLD:
        told = [f"{len(told)} strikes changed"]
    told += _fell_silent(before, after, old.keys() & new.keys())
    return told + _tune_changes(before.tune, after.tune)


def _fell_silent(before: Derived, after: Derived, both: Collection[int | None]) -> list[str]:
    """Pins that play, or no longer play, as the disc stands."""
    plays = {s.pin_id for s in after.now}
    turned = sorted(({s.pin_id for s in before.now} ^ plays) & set(both), key=str)
    return [f"pin {pin} {'plays' if pin in plays else 'is silent'} as the disc stands" for pin in turned][:3]


def _sooner(a: Strike, b: Strike) -> str:
    return "sooner" if b.onset_s < a.onset_s else "later"


def _at(derived: Derived, pin: Any) -> str:
    place = derived.places.get(pin)
    return "" if place is None else f" at bar {place.bar}, beat {beat_words(place.beat)}"


def _tune_changes(before: Tune | None, after: Tune | None) -> list[str]:
    if before is None or after is None:
        return [] if before is after else ["the tune was read" if after else "the tune can no longer be read"]
    told = []
    if before.metre != after.metre:
        told.append(f"metre {before.metre.beats}/{before.metre.unit} became {after.metre.beats}/{after.metre.unit}")
    if before.key != after.key:
        told.append("the key changed")
    if before.upbeat_quarter != after.upbeat_quarter:
        told.append("the upbeat changed")
    if len(before.notes) != len(after.notes):
        told.append(f"{len(before.notes)} notes became {len(after.notes)}")
    return told
