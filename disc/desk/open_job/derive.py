"""What follows from the pins: strikes as the disc plays now and as it should, the tune, and each pin's bar and beat.

Pure and quick: it is run after every edit. What takes longer (findings, plan, score) has its own steps in tasks.py.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from typing import Any

from disc.desk.open_job.bars_said import SaidOfBar
from disc.frame import turn_for_onset_deg
from disc.records import Comb, Doubt, Plate, Strike, Tune
from disc.tune.write.lengths import beat_quarter
from disc.turn.one_turn import OneTurn
from disc.turn.places import MusicPlace
from disc.words import counted

# Unless said otherwise: chosen by hand, not measured.
# Teeth of unknown pitch are sounded as a rising scale from this MIDI number, so that they can be told apart.
STAND_IN_FROM = 67.0
MOST_CHANGES_TOLD = 6  # lines of what changed; the rest is counted (chosen, by looking at the page)


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
    doubts: tuple[Doubt, ...] = ()
    said: tuple[SaidOfBar, ...] = ()  # of single bars


def derive(turn: OneTurn | None, why: str = "", doubts: tuple[Doubt, ...] = ()) -> Derived:
    """Strikes, bars and places of a turn; turn None: nothing sounds, and why says the reason. doubts: as shown."""
    if turn is None:
        return Derived(why=why or "There is no comb yet, so nothing sounds.", doubts=doubts)
    now, should = turn.now, turn.whole
    if turn.beat_tune is None:
        return Derived(now, should, None, why=why or turn.why or "The tune has not been read yet.", doubts=doubts)
    bars, beats = _bar_lines(turn.beat_tune, turn.plate)
    struck = {strike.pin_id for strike in should}
    places = {pin.id: place for pin in turn.pins if pin.id in struck and (place := turn.place_of_pin(pin))}
    return Derived(now, should, turn.tune, bars, beats, places, why=why or turn.why, doubts=doubts)


def _bar_lines(tune: Tune, plate: Plate) -> tuple[tuple[BarLine, ...], tuple[float, ...]]:
    last = max((n.onset_quarter for n in tune.notes), default=Fraction(0))
    count, _ = tune.bar_of(last)
    onsets = [tune.onset_s(tune.line_of(bar)) for bar in range(1, max(count, 1) + 2)]
    lines = tuple(
        BarLine(index + 1, onset, float(turn_for_onset_deg(onset, plate.revolution_s)))
        for index, onset in enumerate(onsets)
        if 0.0 <= onset <= plate.revolution_s
    )
    beats = []
    for bar, (onset, following) in enumerate(pairwise(onsets), start=1):
        line = tune.line_of(bar)
        length = tune.line_of(bar + 1) - line
        beat = beat_quarter(tune.part_at(line).metre)
        inside = range(1, -int(-length // beat)) if onset >= 0 else ()
        beats += [round(onset + float(step * beat / length) * (following - onset), 4) for step in inside]
    return lines, tuple(beats)


def sounding_pitches(comb: Comb) -> dict[int, tuple[float, bool]]:
    """By tooth: the pitch to sound, and whether it is only a stand-in because the tooth's own is not known."""
    stand_in = STAND_IN_FROM
    pitches = {}
    for tooth in sorted(comb.teeth, key=lambda t: (t.side, t.tip_r_mm)):
        pitches[tooth.number] = (tooth.pitch, False) if tooth.pitch is not None else (stand_in, True)
        stand_in += 1.0
    return pitches


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
    return "" if place is None else f" at {place.words}"


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
        told.append(f"{counted(len(before.notes), 'note')} became {len(after.notes)}")
    return told
