"""Loudness: how far a pin overlaps its tooth's tip, where the maker's range of overlap is known.

A pin that overlaps the tip by more lifts it further before it lets go, and the tooth sounds louder. The pins of the
melody stand as the disc's pins do and overlap by the most; those of accents (the accompaniment at a bar line, and
ornaments) by the middle of the range, all others by the least; they stand lower by what they overlap less. What is
assumed and said: that a tip swings as far as it was lifted (a bar bent by a force at its end, which holds for small
bends), and that all tips stand at one height over the plate.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from math import log10
from typing import Any

from disc.design.settings import DesignSettings
from disc.errors import BadInput
from disc.measures.length import length_mm
from disc.records import Pin
from disc.tune.score.records import Rank, ScoreIn, ScoreNote
from disc.turn.swing import Overlap

OPTION = "--overlap-mm"
# Decibels of a tenfold swing: by definition, 20 log10.
DECIBEL = 20.0


def parse_overlap(text: str, pin_height_mm: float) -> tuple[float, float]:
    """ "0.06-0.14" as (0.06, 0.14), in mm. Raises BadInput where one figure is missing, or they cannot be right."""
    figures = [figure for figure in re.split(r"\s*(?:-|\bto\b)\s*", text.strip()) if figure]
    if len(figures) != 2:
        raise BadInput(
            f"the overlap {text!r} is no range: loudness needs the maker's least and most overlap of pin and tip, "
            f"such as {OPTION} 0.06-0.14. Without both figures leave it out; all pins then stand alike."
        )
    least, most = (length_mm(figure, OPTION) for figure in figures)
    if not 0.0 < least < most < pin_height_mm:
        raise BadInput(
            f"the overlap {least:g}-{most:g} mm cannot be right: the least is above 0, the most is more than that and "
            f"less than the pins' height of {pin_height_mm:g} mm. Mend {OPTION}."
        )
    return least, most


def overlap_of(settings: DesignSettings) -> Overlap | None:
    """What makes a pin's height a swing; None: not known, and all pins stand alike."""
    return None if settings.overlap_mm is None else Overlap(settings.overlap_mm[1], settings.pin_height_mm)


def standing_mm(note: ScoreNote, score: ScoreIn, settings: DesignSettings) -> float:
    """How far the pin of a note stands out of the plate."""
    if settings.overlap_mm is None:
        return settings.pin_height_mm
    least, most = settings.overlap_mm
    accent = note.rank is Rank.ORNAMENT or any(bar.start_quarter == note.onset_quarter for bar in score.bars)
    overlap = most if note.rank is Rank.MELODY else (least + most) / 2.0 if accent else least
    return round(settings.pin_height_mm - (most - overlap), 4)


def loudness_of(pins: Iterable[Pin], settings: DesignSettings) -> dict[str, Any] | None:
    """For the summary: how many pins stand how far, and decibels from the softest to the loudest; None: all alike."""
    if settings.overlap_mm is None:
        return None
    least, most = settings.overlap_mm
    count = Counter(pin.height_mm for pin in pins if pin.height_mm is not None)
    return {
        "overlap_mm": [least, most],
        "range_db": round(DECIBEL * log10(most / least), 1),
        "pins": [
            {
                "stands_mm": stands,
                "overlap_mm": round(most - (settings.pin_height_mm - stands), 4),
                "count": count[stands],
            }
            for stands in sorted(count, reverse=True)
        ],
    }
