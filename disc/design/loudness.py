"""Loudness: how far a pin overlaps its tooth's tip, where the maker's range of overlap is known.

A pin that overlaps the tip by more lifts it further before it lets go, and the tooth sounds louder. The pins of the
melody stand as the disc's pins do and overlap by the most; those of accents (the accompaniment at a bar line, and
ornaments) by the middle of the range, all others by the least; they stand lower by what they overlap less. Where the
score has p and f, each note has its share of that, from none at ppp to all at fff; an accent adds a quarter of the
range. What is assumed and said: that a tip swings as far as it was lifted (a bar bent by a force at its end, which
holds for small bends), and that all tips stand at one height over the plate.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from math import log10
from pathlib import Path
from typing import Any

from disc.design.settings import DesignSettings
from disc.errors import BadInput
from disc.measures.length import length_mm
from disc.records import Pin
from disc.tune.score.dynamics import DEGREES
from disc.tune.score.records import Rank, ScoreIn, ScoreNote
from disc.turn.swing import Overlap
from disc.words import counted

OPTION = "--overlap-mm"
# Decibels of a tenfold swing: by definition, 20 log10.
DECIBEL = 20.0
UNWRITTEN = "mf"  # before the first sign of a tune that has any; common practice, no source
ACCENT = 0.25  # of the range, more than the notes about it; chosen
WITHOUT_SIGNS = frozenset({".mid", ".midi", ".krn"})  # files whose signs no reader here takes


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
    share = 1.0 if note.rank is Rank.MELODY else 0.5 if accent else 0.0
    if any(one.loudness.degree for one in score.notes):
        share *= DEGREES.index(note.loudness.degree or UNWRITTEN) / (len(DEGREES) - 1)
    if note.loudness.accent:
        share = min(1.0, share + ACCENT)
    return round(settings.pin_height_mm - (1.0 - share) * (most - least), 4)


def with_signs_counted(score: ScoreIn, path: Path, settings: DesignSettings) -> ScoreIn:
    """The score with a remark on signs of loudness that no pin can follow."""
    signs = sum(note.loudness.is_said for note in score.notes)
    if settings.overlap_mm is None:
        said = f"p, f and accents left out, of {counted(signs, 'note')}: no range of overlap is known ({OPTION})"
        return replace(score, remarks=(*score.remarks, said)) if signs else score
    if path.suffix.lower() not in WITHOUT_SIGNS:
        return score
    return replace(score, remarks=(*score.remarks, "p, f and accents of kern and MIDI files are not read"))


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
