"""An accompaniment from chord symbols: a bass with after-beats, or broken chords, as dance books of 1780 to 1840 print.

From memory of such books and of thorough-bass manuals, no source: the bass strikes the chord's root (or the note after
the stroke of "D/F#") on the bar's strong beats, the hand above it two notes on the weak ones, the root left out, of a
seventh the fifth; each pair lies as near the one before as it can, below the tune.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from disc.errors import BadInput
from disc.pitch_names import LETTER_SEMITONES, SIGN_SEMITONES
from disc.tune.score.records import Rank, ScoreBar, ScoreIn, ScoreNote
from disc.tune.write.lengths import beat_quarter, is_compound

SYMBOL = re.compile(r"([A-G])([#b♯♭]?)([^/]*)(?:/([A-G])([#b♯♭]?))?")
# Unless said otherwise: chosen by hand, not measured.
BELOW_TUNE = 3  # semitones from the tune's lowest note down to the middle of the chords
BASS_BELOW = 12  # and from there to the middle of the bass
# A tune in whose moments more often than this something else sounds has an accompaniment of its own.
ALONE = 0.1


class Chords(StrEnum):
    """What becomes of chord symbols."""

    AFTER_BEATS = "after-beats"
    BROKEN = "broken"
    NONE = "none"


def chords_from(word: str | None) -> Chords | None:
    """The choice a word stands for; None: after-beats where the tune has no accompaniment. Raises BadInput."""
    if word is None:
        return None
    try:
        return Chords(word.strip().lower())
    except ValueError:
        raise BadInput(f"chord symbols as {word!r}? Give --chords {', '.join(Chords)}.") from None


@dataclass(frozen=True, slots=True)
class PlayedChord:
    """bass: pitch class of the lowest note; upper: pitch classes of the two notes above."""

    bass: int
    upper: tuple[int, int]


def read_chord(text: str) -> PlayedChord | None:
    """ "Am7", "D/F#", "Bbdim" as a chord; None where the text is none."""
    found = SYMBOL.match(text.strip())
    if not found:
        return None
    root, kind = LETTER_SEMITONES[found[1]] + SIGN_SEMITONES[found[2]], found[3].strip().lower()
    minor = bool(re.match(r"(m(?!aj)|min|-|dim|°|o)", kind))
    third = 5 if "sus" in kind else 3 if minor else 4
    fifth = 6 if re.match(r"(dim|°|o|m7b5)", kind) else 8 if re.match(r"(aug|\+)", kind) else 7
    seventh = 9 if "dim7" in kind else 11 if "maj7" in kind else 10
    second = seventh if re.search(r"[79]", kind.replace("b5", "")) else 9 if "6" in kind else fifth
    bass = LETTER_SEMITONES[found[4]] + SIGN_SEMITONES[found[5]] if found[4] else root
    return PlayedChord(bass % 12, ((root + third) % 12, (root + second) % 12))


def accompanied(score: ScoreIn, wanted: Chords | None) -> ScoreIn:
    """The score with an accompaniment from its chord symbols, and a remark on what became of them."""
    chords = [(s.onset_quarter, chord) for s in score.symbols if (chord := read_chord(s.text)) is not None]
    if not chords:
        return score
    said = f"{len(score.symbols)} chord symbols"
    if wanted is Chords.NONE or (wanted is None and not _is_alone(score)):
        why = "" if wanted else ": the tune has an accompaniment; --chords after-beats plays them too"
        return replace(score, symbols=(), remarks=(*score.remarks, f"{said} left out{why}"))
    style = wanted or Chords.AFTER_BEATS
    remark = f"{said} played as {'broken chords' if style is Chords.BROKEN else 'a bass with after-beats'}"
    hint = "--chords broken or none: otherwise" if wanted is None else "--chords none leaves them out"
    made = _not_doubled(score, _notes(score, chords, style))
    notes = tuple(sorted((*score.notes, *made), key=lambda n: (n.onset_quarter, n.pitch)))
    return replace(score, notes=notes, symbols=(), remarks=(*score.remarks, f"{remark} ({hint})"))


def _is_alone(score: ScoreIn) -> bool:
    moments = {note.onset_quarter for note in score.notes}
    return len(score.notes) - len(moments) <= ALONE * len(moments)


def _not_doubled(score: ScoreIn, made: list[ScoreNote]) -> list[ScoreNote]:
    """Notes that the tune does not strike itself at the same moment."""
    struck = {(note.onset_quarter, note.pitch) for note in score.notes}
    return [note for note in made if (note.onset_quarter, note.pitch) not in struck]


@dataclass(frozen=True, slots=True)
class _Stroke:
    """What the accompaniment does at one moment: the bass, or one or both of the notes above (0 the lower)."""

    at: Fraction
    length: Fraction
    bass: bool
    upper: tuple[int, ...] = ()


def _notes(score: ScoreIn, chords: list[tuple[Fraction, PlayedChord]], style: Chords) -> list[ScoreNote]:
    lowest = min(note.pitch for note in score.melody())
    part = 1 + max(note.part for note in score.notes)
    last = score.last_onset_quarter
    middle = float(lowest - BELOW_TUNE)
    made: list[ScoreNote] = []
    for stroke in _strokes(score, [at for at, _ in chords], style):
        known = [chord for at, chord in chords if at <= stroke.at]
        if not known or stroke.at > last:
            continue
        bass = _nearest(known[-1].bass, lowest - BELOW_TUNE - BASS_BELOW)
        upper = sorted(_nearest(pc, min(middle, lowest - BELOW_TUNE)) for pc in known[-1].upper)
        middle = (sum(upper) / 2 + lowest - BELOW_TUNE) / 2  # it may wander, but comes back below the tune
        pitches = [(bass, Rank.BASS)] if stroke.bass else []
        pitches += [(upper[i], Rank.INNER) for i in stroke.upper]
        made += [ScoreNote(stroke.at, stroke.length, pitch, rank, part) for pitch, rank in pitches]
    return made


def _nearest(pitch_class: int, middle: float) -> int:
    """The pitch of a class that lies nearest to a height."""
    low = round(middle) - 6
    return low + (pitch_class - low) % 12


def _strokes(score: ScoreIn, changes: list[Fraction], style: Chords) -> Iterator[_Stroke]:
    """Every stroke of the accompaniment in order; the last bar has but one chord."""
    bars = [bar for bar in score.bars if bar.number >= 1 and bar.start_quarter <= score.last_onset_quarter]
    for bar in bars:
        if bar is bars[-1]:
            yield _Stroke(bar.start_quarter, bar.length_quarter, True, (0, 1))
            continue
        yield from _broken(score, bar, changes) if style is Chords.BROKEN else _after_beats(score, bar, changes)


def _after_beats(score: ScoreIn, bar: ScoreBar, changes: list[Fraction]) -> Iterator[_Stroke]:
    """Bass on the first of two or three beats and the third of four, and where the chord changes; chords on the others.

    Beats of threes have their bass on the beat and the chord on its last third.
    """
    beat = _pulse(score)
    for number in range(int(bar.length_quarter // beat)):
        at = bar.start_quarter + number * beat
        if is_compound(score.metre):
            yield _Stroke(at, 2 * beat / 3, True)
            yield _Stroke(at + 2 * beat / 3, beat / 3, False, (0, 1))
        else:
            strong = number == 0 or (number == 2 and bar.length_quarter == 4 * beat) or at in changes
            yield _Stroke(at, beat, strong, () if strong else (0, 1))


def _broken(score: ScoreIn, bar: ScoreBar, changes: list[Fraction]) -> Iterator[_Stroke]:
    """One note after the other, two a beat, or three where it has thirds: the bass, then the notes above in turn."""
    beat = _pulse(score)
    step = beat / (3 if is_compound(score.metre) else 2)
    since = 0
    for number in range(int(bar.length_quarter // step)):
        at = bar.start_quarter + number * step
        long = 3 if is_compound(score.metre) else 6 if bar.length_quarter == 3 * beat else 4
        since = 0 if at in changes or since == long else since
        yield _Stroke(at, step, since == 0, () if since == 0 else ((since - 1) % 2,))
        since += 1


def _pulse(score: ScoreIn) -> Fraction:
    """What counts as a beat here: of two halves in a bar their quarters."""
    beat = beat_quarter(score.metre)
    return Fraction(1) if beat == 2 else beat
