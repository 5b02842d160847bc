"""The tune of one turn with its sections: read as one, or in parts where two tunes follow each other.

What a person set of bars and metres is laid over it. The front door of the reader for every room above.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from disc.errors import BadInput
from disc.frame import FULL_TURN_DEG
from disc.records import Metre, Plate, Strike
from disc.tune.read.model import load_model
from disc.tune.read.read_tune import FEWEST_STRIKES, Alternative, TuneReading, read_tune
from disc.tune.read.sections.parted import join_tunes, with_bar_moved, with_metre_at
from disc.tune.read.sections.two_tunes import FEWEST, find_cut
from disc.tune.read.time.step_grid import find_grids
from disc.tune.read.time.straighten import candidate_steps_by_part
from disc.tune.settings import TuneSettings
from disc.tune.write.written import with_lengths_of_parts

TITLES_APART = " / "


def read_turn(strikes: Sequence[Strike], plate: Plate, settings: TuneSettings = TuneSettings()) -> TuneReading:
    """The tune of a turn, in sections where a person said so. Raises BadInput as read_tune does, and for bars that the
    tune has not.
    """
    section_deg = settings.section_deg
    if section_deg is None and settings.quarter_deg is None and settings.beats is None:
        section_deg = find_sections(strikes, plate)
    reading = _read_parts(strikes, plate, settings, section_deg) if section_deg else read_tune(strikes, plate, settings)
    tune = reading.tune
    for bar, said in settings.bars:
        tune = with_metre_at(tune, bar, said) if isinstance(said, Metre) else with_bar_moved(tune, bar, said)
    return reading if tune is reading.tune else replace(reading, tune=with_lengths_of_parts(tune))


def find_sections(strikes: Sequence[Strike], plate: Plate) -> tuple[float, ...]:
    """How far the disc has turned where a second tune begins; empty where the turn holds but one."""
    heard = sorted((s.onset_s, s.pitch) for s in strikes if s.pitch is not None)
    if len(heard) < 2 * FEWEST:
        return ()
    onset_s, pitch = np.array([at for at, _ in heard]), np.array([p for _, p in heard])
    steps = candidate_steps_by_part(onset_s, find_grids(onset_s))
    cut_s = find_cut(onset_s, pitch, steps, load_model().parts)
    return () if cut_s is None else (cut_s / plate.revolution_s * FULL_TURN_DEG,)


def _read_parts(
    strikes: Sequence[Strike], plate: Plate, settings: TuneSettings, section_deg: Sequence[float]
) -> TuneReading:
    """Each part read for itself. What was set of metre, key and upbeat holds for the first; the beats for none."""
    cuts_s = [deg / FULL_TURN_DEG * plate.revolution_s for deg in sorted(section_deg)]
    heard = sorted((s for s in strikes if s.pitch is not None), key=lambda s: (s.onset_s, s.tooth))
    titles = settings.title.split(TITLES_APART)
    readings = []
    for number, (from_s, to_s) in enumerate(zip([-1.0, *cuts_s], [*cuts_s, plate.revolution_s + 1.0], strict=True)):
        inside = [strike for strike in heard if from_s <= strike.onset_s < to_s]
        if len(inside) < FEWEST_STRIKES:
            raise BadInput(
                f"a section of {len(inside)} strikes is too short to be read as a tune of its own. "
                "Give another bar with --section-at, or none."
            )
        title = titles[number] if number < len(titles) else ""
        own = replace(settings, title=title, beats=None)
        if number:
            known = settings.later[number - 1] if number <= len(settings.later) else None
            own = replace(known or TuneSettings(quarter_deg=settings.quarter_deg), title=title, notes=settings.notes)
        readings.append(read_tune(inside, plate, own))
    return join_readings(readings)


def join_readings(readings: Sequence[TuneReading]) -> TuneReading:
    """The readings of parts that follow each other as one; as sure as the least sure of them."""
    first = readings[0]
    tune = join_tunes([reading.tune for reading in readings])
    others = [
        Alternative(other.what, f"{other.value} (tune {number})", other.probability, other.why)
        for number, reading in enumerate(readings, start=1)
        for other in reading.alternatives
    ]
    drifting = max(readings, key=lambda reading: reading.drift_s)
    line = [0, *(part.bar - 1 for part in tune.sections)][readings.index(drifting)]
    return TuneReading(
        tune,
        _least(reading.metre_probability for reading in readings),
        _least(reading.key_probability for reading in readings),
        max(reading.sigma_s for reading in readings),
        tuple(off for reading in readings for off in reading.off_s),
        tuple(share for reading in readings for share in reading.melody),
        tuple(others),
        drift_s=drifting.drift_s,
        drift_deg=drifting.drift_deg,
        drift_bar=None if drifting.drift_bar is None else drifting.drift_bar + line,
        score=sum(reading.score for reading in readings) if len(readings) > 1 else first.score,
    )


def _least(probabilities: Iterable[float | None]) -> float | None:
    """The least sure of those that were read; None if all were given."""
    return min((one for one in probabilities if one is not None), default=None)
