"""Which part of a score carries the tune: by name and words first, then by register, motion, density of onsets, order.

What is counted is moments at which a part begins something, never lengths added up: a left hand of three-note chords
sounds longer than any melody. The weights are choices of the order that a copyist's eye gives them (no source), set on
the "looked at" half of tests/bench/truth/music_pieces.py and scored on the other by tests/bench/measure/music.py.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from disc.errors import BadInput
from disc.tune.score.records import ScoreNote, ScorePart

# Words by which scores name a leading part, an accompanying one and a bass, in the languages of printed music.
VIOLIN = r"(?:violin[oe]?|violon|viool)"
LEADING = (
    r"voice|vocal|soprano?|canto|gesang|singstimme|chant|melod(?:y|ie|ia)|solo|treble|desc?ant|discant|tune|fiddle|flute|"
    rf"flauto|flöte|oboe|clarinet|right|rechte|droite|destra|r\.?h|{VIOLIN} (?:i|1|primo)|(?:1st|first) {VIOLIN}"
)
FOLLOWING = (
    r"viola|bratsche|alto?|tenore?|accomp|begleitung|chords|piano|klavier|guitar|harp|second[oa]?|ii|iii|2|3|2nd|"
    rf"{VIOLIN} (?:ii|2|secondo)"
)
BASS = (
    r"bass clarinet|basso?|cello|violoncell[oe]|contrabass|continuo|left|linke|gauche|sinistra|l\.?h|pedal|bassoon|"
    r"fagott|tuba"
)
# Weights of a part's signs of being the tune, in no unit: chosen by hand on scores of the corpus; not fitted.
NAMED, SECONDED, LOWEST = 3.0, -1.5, -3.0  # named as the tune, as one that follows, as a bass
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
WORDS_SUNG = 3.0  # a part with words under it is sung
HEIGHT = 2.0  # for an octave above the mean of the parts
ALONE = 1.0  # one note at a time, against chords
STEPS = 2.0  # moves by steps, against leaps and repeated notes
REPEATED = -1.5  # the same note over and over
ORDER = -0.15  # for each place further down the page
# A part that begins something at fewer than this share of the busiest part's moments only throws in a word.
SPARSE, SPARSE_COST = 0.3, 8.0
MOST_STEP = 2  # semitones of what counts as a step; theory of music


@dataclass(frozen=True, slots=True)
class _PartLook:
    """What a part's notes show: mean height of its tops, share of moments with one note, of steps, of repetitions."""

    moments: int
    height: float
    alone: float
    steps: float
    repeated: float


def leading_part(notes: Sequence[ScoreNote], parts: Mapping[int, ScorePart]) -> int:
    """The number of the part that carries the tune; of equals the earlier. parts: what is known of each by number."""
    looks = {p: _look([note for note in notes if note.part == p]) for p in sorted({note.part for note in notes})}
    mean = sum(look.height for look in looks.values()) / len(looks)
    busiest = max(look.moments for look in looks.values())

    def score(number: int) -> float:
        look, part = looks[number], parts.get(number, ScorePart())
        sparse = max(0.0, SPARSE - look.moments / busiest)
        return (
            name_score(part.name)
            + WORDS_SUNG * part.sung
            + HEIGHT * (look.height - mean) / 12.0
            + ALONE * look.alone
            + STEPS * look.steps
            + REPEATED * look.repeated
            + ORDER * number
            - SPARSE_COST * sparse
        )

    return max(looks, key=lambda number: (score(number), -number))


def _look(notes: Sequence[ScoreNote]) -> _PartLook:
    struck: dict[object, list[int]] = {}
    for note in sorted(notes, key=lambda n: n.onset_quarter):
        struck.setdefault(note.onset_quarter, []).append(note.pitch)
    tops = [max(pitches) for pitches in struck.values()]
    moves = [abs(b - a) for a, b in pairwise(tops)]
    count = max(1, len(moves))
    return _PartLook(
        len(tops),
        sum(tops) / len(tops),
        sum(len(pitches) == 1 for pitches in struck.values()) / len(struck),
        sum(0 < move <= MOST_STEP for move in moves) / count,
        sum(move == 0 for move in moves) / count,
    )


def name_score(name: str) -> float:
    """What a part's name says for its carrying the tune; the longest word that is known decides."""
    words = " ".join(re.findall(r"[^\W_]+(?:\.[a-z])?", name.lower()))
    found = [
        (len(match[0]), value)
        for pattern, value in ((LEADING, NAMED), (FOLLOWING, SECONDED), (BASS, LOWEST))
        for match in re.finditer(rf"\b(?:{pattern})(?=\s|$)", words)
    ]
    return max(found, key=lambda pair: (pair[0], -pair[1]))[1] if found else 0.0


def part_named(wanted: str, parts: Mapping[int, ScorePart], title: str) -> int:
    """The part a person means by its number (from 1) or a piece of its name. Raises BadInput naming the parts."""
    text = wanted.strip().lower()
    numbers = sorted(parts)
    if text.isdigit() and int(text) - 1 in parts:
        return int(text) - 1
    exact = [number for number in numbers if parts[number].name.lower() == text]
    found = exact or [number for number in numbers if text and text in parts[number].name.lower()]
    if not found and re.fullmatch(r"(right|upper)( hand)?|r\.?h\.?", text):
        found = numbers[:1]
    if not found and re.fullmatch(r"(left|lower)( hand)?|l\.?h\.?", text):
        found = numbers[-1:]
    if len(found) == 1:
        return found[0]
    named = ", ".join(
        f"{number + 1} {parts[number].name!r}" if parts[number].name else f"{number + 1}" for number in numbers
    )
    which = "several parts are" if found else "no part is"
    raise BadInput(f"{title}: {which} called {wanted!r}; its parts are {named}. Give a number or name with --melody.")
