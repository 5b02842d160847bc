"""The planned disc as music: the tune it plays (records.Tune), and the tune asked for with every change named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from itertools import accumulate

from disc.design.arrange.arrange import Loss, PlacedNote
from disc.design.plan import Design
from disc.frame import onset_s
from disc.records import Key, Metre, Note, Section, Tune, Voice
from disc.tune.read.sections.parted import join_tunes
from disc.tune.score.records import Rank, ScoreIn, ScoreNote
from disc.tune.settings import key_name, key_of

MOST_MOVED = 4  # one line in so many moved at most: else the metre is not what the file says; chosen


class NoteChange(StrEnum):
    """What became of a note of the tune."""

    AS_WRITTEN = "as written"
    HIGHER = "an octave or two higher"
    LOWER = "an octave or two lower"
    NEAREST = "the nearest pitch"
    LEFT_OUT = "left out"


@dataclass(frozen=True, slots=True)
class NoteFate:
    """One note of the tune asked for. pitch: as transposed; played: as the disc plays it, None if left out."""

    note: ScoreNote
    pitch: int
    played: int | None
    change: NoteChange
    octaves: int
    why: Loss | None


def fates(design: Design) -> tuple[NoteFate, ...]:
    """What became of each note, in the order of the score."""
    placed = {p.note: p for p in design.arrangement.placed}
    lost = dict(design.arrangement.lost)
    result = []
    for i, note in enumerate(design.score.notes):
        pitch = note.pitch + design.transposition
        if i in lost:
            result.append(NoteFate(note, pitch, None, NoteChange.LEFT_OUT, 0, lost[i]))
        elif i in placed:
            result.append(_fate_of_placed(design, note, pitch, placed[i]))
        else:  # an old pin plays it
            result.append(NoteFate(note, pitch, pitch, NoteChange.AS_WRITTEN, 0, None))
    return tuple(result)


def _fate_of_placed(design: Design, note: ScoreNote, pitch: int, placed: PlacedNote) -> NoteFate:
    played = design.playing.teeth[placed.column].nominal
    if placed.semitones:
        change = NoteChange.NEAREST
    elif placed.octaves:
        change = NoteChange.HIGHER if placed.octaves > 0 else NoteChange.LOWER
    else:
        change = NoteChange.AS_WRITTEN
    return NoteFate(note, pitch, played, change, placed.octaves, None)


def arranged_tune(design: Design) -> Tune:
    """The tune as the disc plays it, each note with its pin."""
    struck = {strike.pin_id: strike for strike in design.strikes}
    notes = []
    for i, fate in enumerate(fates(design)):
        if fate.played is not None:
            pin = design.pin_of_note[i]
            note = _note(fate.note, fate.played, (pin,), _struck_s(design, fate.note))
            strike = struck.get(pin)
            notes.append(note if strike is None else replace(note, tooth=strike.tooth, swing=strike.swing))
    return _tune(design, tuple(notes))


def asked_tune(design: Design, first: int = 1) -> Tune:
    """The tune as asked for, transposed; each note's one "pin" is its number in the score, counted from `first`."""
    asked = enumerate(fates(design), start=first)
    return _tune(design, tuple(_note(f.note, f.pitch, (i,), _struck_s(design, f.note)) for i, f in asked))


def whole_tune(parts: Sequence[Design]) -> Tune:
    """All that a disc plays, of one tune or of two that follow each other."""
    return _joined([arranged_tune(part) for part in parts])


def whole_asked(parts: Sequence[Design]) -> Tune:
    """All that a disc was to play, as asked_tune has it, the numbers going on from tune to tune."""
    firsts = accumulate((len(part.score.notes) for part in parts[:-1]), initial=1)
    return _joined([asked_tune(part, first) for part, first in zip(parts, firsts, strict=True)])


def _joined(tunes: Sequence[Tune]) -> Tune:
    return tunes[0] if len(tunes) == 1 else join_tunes(tunes)


def _note(note: ScoreNote, pitch: int, pins: tuple[int, ...], struck_s: float) -> Note:
    if note.rank is Rank.ORNAMENT:
        return Note(note.onset_quarter, Fraction(0), pitch, Voice.MELODY, pins, grace=True, onset_s=struck_s)
    voice = Voice.MELODY if note.rank is Rank.MELODY else Voice.ACCOMPANIMENT
    return Note(note.onset_quarter, note.duration_quarter, pitch, voice, pins)


def _struck_s(design: Design, note: ScoreNote) -> float:
    """Seconds after the disc starts at which a note is struck."""
    timing = design.timing
    first_s = float(onset_s(timing.start_deg, timing.revolution_s))
    return first_s + float(note.onset_quarter - _first_quarter(design)) * timing.quarter_s - note.lead_s


def _tune(design: Design, notes: tuple[Note, ...]) -> Tune:
    timing = design.timing
    first_s = float(onset_s(timing.start_deg, timing.revolution_s))
    first_quarter = _first_quarter(design)
    return Tune(
        notes=tuple(sorted(notes, key=lambda n: (n.onset_quarter, not n.grace, n.onset_s or 0.0, n.pitch))),
        metre=design.score.metre,
        key=moved_key(design.score.key, design.transposition),
        upbeat_quarter=_upbeat(design.score, design.score.metre),
        quarter_s=timing.quarter_s,
        start_s=first_s - float(first_quarter) * timing.quarter_s,
        title=design.score.title,
        sections=_lines_anew(design),
    )


def _lines_anew(design: Design) -> tuple[Section, ...]:
    """Where a bar of another length moves the lines after it: each whole bar that begins off the lines before it."""
    score, metre = design.score, design.score.metre
    whole, line, number = metre.bar_quarter, Fraction(0), 1
    key = moved_key(score.key, design.transposition)
    found: list[Section] = []
    for bar in score.bars:
        after = bar.start_quarter - line
        if after <= 0 or bar.length_quarter != whole or not after % whole:
            continue
        number += -int(-after // whole)
        line = bar.start_quarter
        found.append(Section(line, number, metre, key, design.timing.quarter_s))
    return tuple(found) if MOST_MOVED * len(found) <= len(score.bars) else ()


def _first_quarter(design: Design) -> Fraction:
    """The quarter at which the timing's first strike falls: of the tune, or of what an old disc lacked."""
    if design.kept is None:
        return design.score.start_quarter
    lacking = [i for i in range(len(design.score.notes)) if i not in design.kept.pin_of_note]
    return min(design.score.notes[i].onset_quarter for i in lacking or range(len(design.score.notes)))


def _upbeat(score: ScoreIn, metre: Metre) -> Fraction:
    """The upbeat's length, less than a bar as records.Tune asks."""
    return score.upbeat_quarter if score.upbeat_quarter < metre.bar_quarter else Fraction(0)


def moved_key(key: Key | None, semitones: int) -> Key:
    """The key of the disc, of two spellings the one with fewer signs; C major if the file gives none."""
    if key is None:
        return key_of(semitones % 12, "major")
    return key if semitones % 12 == 0 else key_of((key.tonic + semitones) % 12, key.mode)


# Intervals by semitones, as a musician calls them.
INTERVALS = (
    "", "a semitone", "a tone", "a minor third", "a major third", "a fourth", "an augmented fourth", "a fifth",
    "a minor sixth", "a major sixth", "a minor seventh", "a major seventh",
)  # fmt: skip
OCTAVES = ("", "an octave", "two octaves", "three octaves", "four octaves", "five octaves")


def moved_words(key: Key | None, semitones: int) -> str:
    """Where a transposition leads: "A major, up a tone"."""
    octaves, rest = divmod(abs(semitones), 12)
    size = " and ".join(piece for piece in (OCTAVES[min(octaves, 5)], INTERVALS[rest]) if piece)
    way = f"{'up' if semitones > 0 else 'down'} {size}" if semitones else "as written"
    named = "a key the file does not name" if key is None else key_name(moved_key(key, semitones))
    return f"{named}, {way}"


def written_key(key: Key) -> str:
    """A key as settings.parse_key reads it: "Bb major", "F# dorian"."""
    place = (
        key.fifths
        + 1
        + {"lydian": -1, "mixolydian": 1, "dorian": 2, "minor": 3, "phrygian": 4, "locrian": 5}.get(key.mode, 0)
    )
    signs = place // 7
    return f"{'FCGDAEB'[place % 7]}{'#' * max(signs, 0)}{'b' * max(-signs, 0)} {key.mode}"
