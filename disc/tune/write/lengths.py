"""How a copyist writes a length at a place in the bar: as one value where that is usual, else split at the beats.

All lengths are exact fractions of a quarter. Rules: no value crosses a beat unless it begins on a beat of at least its
own size, or is a usual syncopation (begins half a beat early, lasts a beat). Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from disc.records import Metre

# Values with a sign of their own, longest first: powers of two, dotted, and the same in triplets; by definition.
PLAIN = tuple(Fraction(8, 2**k) for k in range(9))
DOTTED = tuple(value * Fraction(3, 2) for value in PLAIN)  # a dot adds half, by definition
TRIPLET = tuple(value * Fraction(2, 3) for value in PLAIN)  # three in the time of two, by definition
VALUES = frozenset(PLAIN) | frozenset(DOTTED) | frozenset(TRIPLET)


def is_compound(metre: Metre) -> bool:
    """Whether the beats of the metre are dotted (6/8, 9/8, 12/8, 6/4)."""
    return metre.beats in (6, 9, 12) and metre.unit >= 4


def beat_quarter(metre: Metre) -> Fraction:
    """Length of a beat: the lower figure of the metre, three of them in a compound metre."""
    unit = Fraction(4, metre.unit)
    return unit * 3 if is_compound(metre) else unit


def written_pieces(onset: Fraction, length: Fraction, metre: Metre) -> list[Fraction]:
    """The lengths, tied together, that write a note at onset (from the bar's start); they add up to length."""
    return _pieces(onset, length, metre, note=True)


def rest_pieces(onset: Fraction, length: Fraction, metre: Metre) -> list[Fraction]:
    """The rests that fill a gap: each inside a beat, or whole beats from a beat."""
    return _pieces(onset, length, metre, note=False)


def best_single_value(onset: Fraction, length: Fraction, metre: Metre) -> Fraction:
    """The longest single value not above length that sits well at onset: for notes that ring on by themselves."""
    return next(_fitting(onset, length, metre, note=True), length)


def _pieces(onset: Fraction, length: Fraction, metre: Metre, note: bool) -> list[Fraction]:
    pieces = []
    while length > 0:
        piece = next(_fitting(onset, length, metre, note), None) or min(length, _to_next_beat(onset, metre))
        pieces.append(piece)
        onset += piece
        length -= piece
    return pieces


_SIZES = sorted(VALUES, reverse=True)


def _fitting(onset: Fraction, length: Fraction, metre: Metre, note: bool) -> Iterator[Fraction]:
    """Values up to length that can be read at onset, the longest first; triplets only where one begins or ends."""
    in_thirds = _is_third(onset) or _is_third(onset + length)
    part = beat_quarter(metre) / (3 if is_compound(metre) else 2)
    ends_in_thirds = _is_third(onset + length) and onset % beat_quarter(metre) + length < beat_quarter(metre)
    return (
        value
        for value in _SIZES
        if value <= length
        and (in_thirds or not _is_third(value))
        and _sits_well(onset, value, metre, note)
        # up to a third of a beat's part: from that part on, not with a dot beyond its beginning
        and not (ends_in_thirds and not _is_third(onset + value) and (onset + value) % part)
    )


def _is_third(place: Fraction) -> bool:
    return place.denominator % 3 == 0


def _to_next_beat(onset: Fraction, metre: Metre) -> Fraction:
    beat = beat_quarter(metre)
    return beat - onset % beat


def _sits_well(onset: Fraction, value: Fraction, metre: Metre, note: bool) -> bool:
    """Whether a value of this length can be read at this place."""
    beat = beat_quarter(metre)
    inside = onset % beat
    if value.denominator % 3 == 0 or onset.denominator % 3 == 0:
        return _triplet_sits(inside, value, beat)
    if inside + value <= beat:
        return _inside_beat(inside, value, beat, note)
    if inside == 0:
        return _whole_beats(onset, value, beat, metre, note)
    # a syncopation: half a beat, a beat, half a beat; or a beat and a half from the half beat
    return note and not is_compound(metre) and inside * 2 == beat and value in (beat, beat * Fraction(3, 2))


def _inside_beat(inside: Fraction, value: Fraction, beat: Fraction, note: bool) -> bool:
    if inside == 0 and value == beat:
        return value in VALUES
    if value in DOTTED and not note:
        return inside == 0 and beat in DOTTED
    if value not in VALUES:
        return False
    grid = value if value in PLAIN else value / 3
    return inside % grid == 0 or (note and inside % (grid / 2) == 0)


def _triplet_sits(inside: Fraction, value: Fraction, beat: Fraction) -> bool:
    """Triplet values stay inside the beat, or the half beat, that they divide by three."""
    if value not in VALUES or inside + value > beat:
        return False
    if _is_third(value) and inside % (value / 2):  # it begins on its own thirds, or amid one
        return False
    return not (value.denominator % 3 and inside.denominator % 3 == 0)


def _whole_beats(onset: Fraction, value: Fraction, beat: Fraction, metre: Metre, note: bool) -> bool:
    """Values of several beats from a beat: a half bar from a half bar, or what is left of the bar, for notes."""
    if value % beat and not (note and not is_compound(metre) and value == beat * Fraction(3, 2)):
        return False
    if note:
        return True
    count = value / beat
    return (onset / beat) % count == 0 if count in (2, 4) else False
