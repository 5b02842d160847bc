"""Which bars rush: the pace of each bar of the tune, or of each tenth of the turn where no tune is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from disc.listen.turn.turn_record import Turn
from disc.records import Tune

# Listeners notice a change of pace of about 2 % in an even run (Drake and Botte, Perception and Psychophysics 54, 1993;
# from memory).
NOTICED = 0.02
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
LEAST_SHARE = 0.6  # of a stretch that must lie within what was heard


@dataclass(frozen=True)
class Stretch:
    """A part of the turn. name: "3" for bar 3, "upbeat", or "2/10" for the second tenth. Turns: 0 to 1."""

    name: str
    from_turn: float
    to_turn: float


@dataclass(frozen=True)
class Pace:
    """How fast a stretch ran. ratio: against the mean of a revolution, over all laps heard."""

    stretch: Stretch
    ratio: float

    @property
    def rushes(self) -> bool:
        """Whether it is fast enough to be noticed."""
        return self.ratio > 1.0 + NOTICED

    @property
    def drags(self) -> bool:
        """Whether it is slow enough to be noticed."""
        return self.ratio < 1.0 - NOTICED


def bars_of(tune: Tune, revolution_s: float) -> tuple[Stretch, ...]:
    """The bars of a tune as parts of the turn, in which revolution_s is the time the tune was read for."""
    last, _ = tune.bar_of(max((n.onset_quarter for n in tune.notes), default=Fraction(0)))
    found = []
    if tune.upbeat_quarter > 0:
        begin = tune.onset_s(-tune.upbeat_quarter)
        found.append(Stretch("upbeat", begin / revolution_s, tune.start_s / revolution_s))
    for bar in range(1, last + 1):
        at = [tune.onset_s(tune.line_of(bar + j)) / revolution_s for j in (0, 1)]
        found.append(Stretch(str(bar), at[0], at[1]))
    return tuple(found)


def tenths() -> tuple[Stretch, ...]:
    """The turn in ten equal parts."""
    return tuple(Stretch(f"{k + 1}/10", k / 10, (k + 1) / 10) for k in range(10))


def paces_of(turn: Turn, stretches: Sequence[Stretch]) -> tuple[Pace, ...]:
    """The pace of every stretch that was heard, in order."""
    places = turn.motion.position(np.array([s.time_s for s in turn.sounds if s.strike is not None]))
    first, last = (float(places.min()), float(places.max())) if len(places) else (0.0, 0.0)
    found = []
    for stretch in stretches:
        ratios = []
        for lap in range(int(np.floor(first)), int(np.ceil(last)) + 1):
            begin, end = max(first, stretch.from_turn + lap), min(last, stretch.to_turn + lap)
            if end - begin > LEAST_SHARE * (stretch.to_turn - stretch.from_turn):
                times = turn.motion.time(np.array([begin, end]))
                ratios.append((end - begin) * turn.revolution_s / float(times[1] - times[0]))
        if ratios:
            found.append(Pace(stretch, float(np.mean(ratios))))
    return tuple(found)


def pace_words(paces: Sequence[Pace]) -> tuple[str, ...]:
    """What runs noticeably fast or slow, neighbours together, in words."""
    lines = []
    for words, chosen in (("rush", "rushes"), ("drag", "drags")):
        for run in _runs(paces, chosen):
            most = max(run, key=lambda p: abs(p.ratio - 1.0))
            one = len(run) == 1
            verb = f"{words}{'es' if words == 'rush' else 's'}" if one else words
            by = f"{abs(most.ratio - 1.0) * 100:.1f} %"
            lines.append(f"{_name(run)} {verb} by {'' if one else 'up to '}{by} against the mean of the turn")
    return tuple(lines)


def paces_json(paces: Sequence[Pace]) -> list[dict[str, object]]:
    """Plain JSON: one item a stretch."""
    return [
        {
            "name": p.stretch.name, "from_turn": round(p.stretch.from_turn, 5), "to_turn": round(p.stretch.to_turn, 5),
            "ratio": round(p.ratio, 5), "rushes": p.rushes, "drags": p.drags,
        }
        for p in paces
    ]  # fmt: skip


def _runs(paces: Sequence[Pace], chosen: str) -> list[list[Pace]]:
    """Neighbouring stretches that all rush, or all drag."""
    runs: list[list[Pace]] = []
    before = False
    for pace in paces:
        now = bool(getattr(pace, chosen))
        if now and before:
            runs[-1].append(pace)
        elif now:
            runs.append([pace])
        before = now
    return runs


def _name(run: Sequence[Pace]) -> str:
    first, last = run[0].stretch.name, run[-1].stretch.name
    if "/" in first:
        ends = [f"{name.split('/')[0]}" for name in (first, last)]
        return f"tenth {ends[0]} of the turn" if len(run) == 1 else f"tenths {ends[0]} to {ends[1]} of the turn"
    if len(run) == 1:
        return "the upbeat" if first == "upbeat" else f"bar {first}"
    return f"the upbeat to bar {last}" if first == "upbeat" else f"bars {first} to {last}"
