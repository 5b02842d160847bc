"""Strikes of one turn to a written tune: the main path of the room.

Melody and accompaniment are told apart first, then the steady grid, the metre with its bar line, the key, and last the
lengths. Nothing here looks at a clock or a random number: the same strikes give the same tune.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from disc.errors import BadInput
from disc.frame import FULL_TURN_DEG, FloatArray
from disc.records import Key, Metre, Note, Plate, Strike, Tune, Voice
from disc.tune.read.beat.explain import reasons
from disc.tune.read.beat.metre import MetreReading, describe, explain, read_metre
from disc.tune.read.beat.quantise import on_written_places, place_strikes
from disc.tune.read.certainty import straightened
from disc.tune.read.find_figures import FEWEST_STRIKES, Figures, find_figures
from disc.tune.read.find_pace import find_turn_pace
from disc.tune.read.key import KeyReading, off_scale, read_key, strike_weights
from disc.tune.read.model import load_model
from disc.tune.read.said_notes import said_notes
from disc.tune.read.sections.strains import find_repeats
from disc.tune.read.time.step_grid import StepGrid, find_grids, grids_of_quarter
from disc.tune.read.time.straighten import STEADY, TimeMap
from disc.tune.read.voices.figures import Rolls, find_rolls, gather_stragglers
from disc.tune.read.voices.voices import melody_probability
from disc.tune.settings import NoteWord, TuneSettings, key_name
from disc.tune.write.lengths import beat_quarter
from disc.tune.write.written import with_lengths
from disc.words import counted

# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
# Strikes taken for rolls that are a fast run instead add about a nat each to the score of a grid that fits them.
RUN_NATS = 0.35
RUNNER_UPS = 3  # readings told beside the chosen; by looking at what a person can weigh


@dataclass(frozen=True, slots=True)
class Alternative:
    """A reading that lost. what: "metre" or "key"; why: what spoke most against it."""

    what: str
    value: str
    probability: float
    why: str


@dataclass(frozen=True, slots=True)
class TuneReading:
    """The tune and how sure it is. sigma_s: setting error of a strike; off_s: each strike's distance from its place.

    melody: probability for each strike that it is melody, in the order of the strikes. drift_s, drift_deg: largest
    departure of the setting from a steady tempo, where it drifts; drift_bar: the bar in which that is. score: the
    metre's, to be held against that of the same strikes taken otherwise. metre_share, key_share: of the best reading
    among all by the weights alone, which certainty.py puts straight. off_share: of the strikes, off the
    key's scale. metre_probability, key_probability: None where
    a person gave it.
    """

    tune: Tune
    metre_probability: float | None
    key_probability: float | None
    sigma_s: float
    off_s: tuple[float, ...]
    melody: tuple[float, ...]
    alternatives: tuple[Alternative, ...]
    drift_s: float = 0.0
    drift_deg: float = 0.0
    drift_bar: int | None = None
    score: float = 0.0
    metre_share: float = 1.0
    key_share: float = 1.0
    off_share: float = 0.0


def read_tune(strikes: Sequence[Strike], plate: Plate, settings: TuneSettings = TuneSettings()) -> TuneReading:
    """The tune of one turn. Strikes of unknown pitch are left out (see guess.py for draft pitches).

    Raises BadInput if there are too few strikes to read, or nothing fits what was set by hand.
    """
    model = load_model()
    heard = sorted((s for s in strikes if s.pitch is not None), key=lambda s: (s.onset_s, s.tooth))
    if len(heard) < FEWEST_STRIKES:
        raise BadInput(
            f"only {counted(len(heard), 'strike')} with a known pitch: too few to read a tune from. "
            "Check the pins (disc read) and the comb's pitches (disc comb)."
        )
    struck_s = np.array([s.onset_s for s in heard])
    pitch = np.array([float(s.pitch) for s in heard if s.pitch is not None])
    quarter_s = None if settings.quarter_deg is None else settings.quarter_deg / FULL_TURN_DEG * plate.revolution_s
    said = said_notes(settings.notes, heard)
    figures = find_figures(struck_s, pitch, model, quarter_s, said)
    proper = figures.proper
    if proper.sum() < FEWEST_STRIKES:
        raise BadInput(
            f"too few strikes are left that are no ornaments ({int(proper.sum())}) to read a tune from. "
            "Say of some that they are notes of their own (disc transcribe --note PIN written)."
        )
    pace = STEADY if quarter_s is not None else find_turn_pace(struck_s, pitch, figures, model, settings, said)
    onset_s = pace.straight(struck_s)
    proper_rolls, proper_s, grids = find_turn_grids(onset_s[proper], pitch[proper], quarter_s)
    rolls, anchored_s = _with_graces(proper_rolls, proper_s, figures, len(heard))
    melody = figures.melody
    if not pace.is_steady or not np.array_equal(proper_s, onset_s[proper]):
        melody = melody.copy()
        melody[proper] = melody_probability(proper_s, pitch[proper], model.voices)
        melody = said.voiced(melody)
    is_melody = melody > 0.5
    told = (proper_s, np.round(pitch[proper]), is_melody[proper], model, settings, quarter_s)
    readings = read_metre(grids, *told)
    if not readings and quarter_s is not None:  # the grid that fits best may be none a metre can be written on
        readings = read_metre(grids_of_quarter(np.sort(proper_s), quarter_s), *told)
    if not readings:
        raise BadInput(
            "no beat fits what was set by hand. Leave out --beats, --upbeat, --metre or --quarter-deg and run it again."
        )
    best = readings[0]
    graces = figures.graces
    places = _place_by_voice(anchored_s, is_melody, best, best.metre, graces)
    if quarter_s is not None:
        places = on_written_places(anchored_s, places, *_pace(best), best.grid.sigma_s)
    else:
        low = ~is_melody & ~np.isin(np.arange(len(heard)), list(graces))
        places, rolls = gather_stragglers(places, onset_s, pitch, low, rolls, beat_quarter(best.metre))
    keys = read_key(np.round(pitch), strike_weights(onset_s, is_melody), is_melody, model.key)
    key = settings.key or keys[0].key
    tune = _tune(heard, places, is_melody, rolls, graces, best, best.metre, key, settings.title)
    off_s = anchored_s - tune.start_s - np.array([float(q) for q in places]) * tune.quarter_s
    tune = with_pace(tune, pace, struck_s)
    if said.under(NoteWord.HELD):
        tune = replace(tune, held=tuple(sorted({*tune.held, *(places[index] for index in said.under(NoteWord.HELD))})))
    pitches = len(np.unique(np.round(pitch[proper])))
    metre_told = straightened([one.probability for one in readings], model.certainty_of("metre", pitches))
    off_share = off_scale(np.round(pitch), keys[0].key.fifths)
    key_told = straightened([one.probability for one in keys], model.certainty_of("key", pitches), off_share)
    return TuneReading(
        tune,
        None if settings.metre else metre_told[0],
        None if settings.key else key_told[0],
        best.grid.sigma_s,
        tuple(float(value) for value in off_s),
        tuple(float(value) for value in melody),
        (*_metre_alternatives(readings, metre_told), *([] if settings.key else _key_alternatives(keys, key_told))),
        drift_s=pace.drift_s,
        drift_deg=pace.drift_s / plate.revolution_s * FULL_TURN_DEG,
        drift_bar=int(bar_at(tune, pace.drift_at_s)) if pace.drift_s else None,
        score=best.score,
        metre_share=best.probability,
        key_share=keys[0].probability,
        off_share=off_share,
    )


def _with_graces(rolls: Rolls, proper_s: FloatArray, figures: Figures, count: int) -> tuple[Rolls, FloatArray]:
    """Rolls and gathered onsets of the strikes proper as those of all; a grace note stands with its note."""
    of = np.full(count, -1, dtype=np.int64)
    anchored_s = np.empty(count)
    of[figures.proper], anchored_s[figures.proper] = rolls.of, proper_s
    for grace, note in figures.graces.items():
        anchored_s[grace] = anchored_s[note]
    return Rolls(of), anchored_s


def with_pace(tune: Tune, pace: TimeMap, struck_s: FloatArray) -> Tune:
    """The tune with its tempo as the disc turns, where that is not steady: knots at what begins and at bent places."""
    if pace.is_steady:
        return tune
    steady_s = np.array([tune.onset_s(note.onset_quarter) for note in tune.notes])
    inside = pace.straight_s[(pace.straight_s > steady_s.min()) & (pace.straight_s < steady_s.max())]
    at_s = np.unique(np.r_[steady_s.min(), inside, steady_s.max()])
    quarters = (at_s - tune.start_s) / tune.quarter_s
    knots = tuple((float(q), float(t)) for q, t in zip(quarters, pace.real(at_s), strict=True))
    bent = replace(tune, pace=knots, start_s=float(pace.real(np.array(tune.start_s))))
    held = tuple(q for hold in pace.holds if not hold.by_hand and (q := _struck_at(tune, hold.from_s)) is not None)
    slowing = None if pace.slowing_s is None else _struck_at(tune, pace.slowing_s)
    bent = replace(bent, held=held, slowing_quarter=slowing)
    return bent if slowing is None else replace(bent, pace=_by_strikes(bent, slowing))


def _by_strikes(tune: Tune, begin: Fraction) -> tuple[tuple[float, float], ...]:
    """The pace with, from begin on, the strikes themselves as knots: no curve follows a slowing end so closely."""
    knots = [knot for knot in tune.pace if knot[0] < begin]
    for quarter in sorted({n.onset_quarter for n in tune.notes if n.onset_quarter >= begin and not n.grace}):
        struck = [n.onset_s for n in tune.notes if n.onset_quarter == quarter and n.onset_s is not None and not n.grace]
        if struck and (not knots or np.mean(struck) > knots[-1][1]):
            knots.append((float(quarter), float(np.mean(struck))))
    return tuple(knots)


def _struck_at(tune: Tune, at_s: float) -> Fraction | None:
    """The quarter of the strike nearest to a moment of the turn."""
    near = [(abs(note.onset_s - at_s), note.onset_quarter) for note in tune.notes if note.onset_s is not None]
    return min(near)[1] if near else None


def bar_at(tune: Tune, at_s: float) -> int:
    """The bar that is played at a moment of the turn; the first full bar is 1."""
    quarter = _struck_at(tune, at_s) or Fraction(0)
    return int(quarter // tune.metre.bar_quarter) + 1


def find_turn_grids(
    onset_s: FloatArray, pitch: FloatArray, quarter_s: float | None = None
) -> tuple[Rolls, FloatArray, tuple[StepGrid, ...]]:
    """(rolls, onsets with rolls gathered, grids). Rolls are gathered at their last or their first strike, whichever
    makes the steadier grid; or are none, if the strikes stand on a fine grid as they are. quarter_s: if it is known.
    """
    rolls = find_rolls(onset_s, pitch)
    others = onset_s[rolls.of < 0]
    if quarter_s is not None and (rolls.of >= 0).any() and len(others) >= FEWEST_STRIKES:
        known = grids_of_quarter(others, quarter_s)[0]
        rolls = rolls.without_written(onset_s, quarter_s, known.start_s, known.sigma_s)
    if not (rolls.of >= 0).any():
        return rolls, onset_s, find_grids(onset_s)
    tried = []
    for last in (True, False):
        single = rolls.single(last)
        grids = find_grids(np.sort(onset_s[single]))
        # what the strikes gathered would add if they stood on a grid
        tried.append((grids[0].score + RUN_NATS * float((~single).sum()), last, grids))
    gathered = max(tried, key=lambda item: (item[0], item[1]))
    as_run = find_grids(onset_s)
    if as_run[0].score > gathered[0]:
        return Rolls(np.full(len(onset_s), -1, dtype=np.int64)), onset_s, as_run
    return rolls, rolls.anchored(onset_s, gathered[1]), gathered[2]


def _place_by_voice(
    onset_s: FloatArray,
    is_melody: npt.NDArray[np.bool_],
    reading: MetreReading,
    metre: Metre,
    graces: Mapping[int, int],
) -> list[Fraction]:
    """Places of melody and accompaniment, each for itself: one may go in triplets against the other."""
    places = [Fraction(0)] * len(onset_s)
    is_grace = np.isin(np.arange(len(onset_s)), list(graces))
    for voice in (True, False):
        members = np.flatnonzero((is_melody == voice) & ~is_grace)
        if len(members):
            for index, place in zip(members, place_strikes(onset_s[members], reading, metre), strict=True):
                places[index] = place
    for grace, note in graces.items():
        places[grace] = places[note]
    return places


def _tune(
    strikes: Sequence[Strike],
    places: Sequence[Fraction],
    is_melody: npt.NDArray[np.bool_],
    rolls: Rolls,
    graces: Mapping[int, int],
    reading: MetreReading,
    metre: Metre,
    key: Key,
    title: str,
) -> Tune:
    bar = metre.bar_quarter
    start_s, quarter_s = _pace(reading)
    notes = [
        Note(
            onset_quarter=place,
            duration_quarter=Fraction(0 if index in graces else 1, 4),
            pitch=round(strike.pitch),
            voice=Voice.MELODY if melody else Voice.ACCOMPANIMENT,
            pins=() if strike.pin_id is None else (strike.pin_id,),
            tooth=strike.tooth,
            doubtful=strike.doubtful,
            rolled=bool(roll >= 0),
            grace=index in graces,
            onset_s=strike.onset_s,
            silent=strike.silent,
            swing=strike.swing,
        )
        for index, (strike, place, melody, roll) in enumerate(zip(strikes, places, is_melody, rolls.of, strict=True))
        if strike.pitch is not None  # read_tune leaves those without one out before
    ]
    upbeat = max(Fraction(0), -min(note.onset_quarter for note in notes))
    tune = Tune(
        notes=with_lengths(notes, metre, upbeat % bar),
        metre=metre,
        key=key,
        upbeat_quarter=upbeat % bar,
        quarter_s=quarter_s,
        start_s=start_s,
        title=title,
    )
    return replace(tune, repeats=find_repeats(tune))


def _pace(reading: MetreReading) -> tuple[float, float]:
    """(when bar 1 begins, length of a quarter), s."""
    bar_s = reading.structure.bar * reading.grid.step_s
    start_s = reading.grid.start_s + reading.first_step * reading.grid.step_s
    return start_s, bar_s / float(reading.metre.bar_quarter)


def _metre_alternatives(readings: Sequence[MetreReading], told: Sequence[float]) -> list[Alternative]:
    made = []
    for other, probability in list(zip(readings, told, strict=True))[1 : 1 + RUNNER_UPS]:
        why = reasons(explain(readings[0], other))
        made.append(Alternative("metre", describe(other), probability, why))
    return made


def _key_alternatives(keys: Sequence[KeyReading], told: Sequence[float]) -> list[Alternative]:
    both = list(zip(keys, told, strict=True))[1 : 1 + RUNNER_UPS]
    return [Alternative("key", key_name(key.key), probability, key.why) for key, probability in both]
