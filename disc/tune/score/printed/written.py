"""A score as it is written, bar by bar, and how it becomes the tune that is played: repeats out, ties joined."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from disc.records import Key, Metre
from disc.tune.score.dynamics import UNSAID, Loudness
from disc.tune.score.files.safety import LONGEST_TITLE, MOST_BARS, check_counts, check_length
from disc.tune.score.printed.play_order import BarSigns, RepeatsDoNotFit, playing_order
from disc.tune.score.records import OrnamentSigned, ScoreBar, ScoreIn, ScoreNote, ScorePart
from disc.words import counted

# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
# 120 quarters a minute until a tempo is set, as Standard MIDI Files 1.0 has it; else only to judge a score's length.
DEFAULT_QUARTER_S = 0.5
Span = tuple[Fraction, Fraction]  # quarters at which a bar begins and ends


@dataclass(slots=True)
class WrittenNote:
    """One written note before repeats and ties: onset from the score's start, in quarters."""

    onset: Fraction
    duration: Fraction
    pitch: int
    part: int
    tied_on: bool  # continues the note of the same pitch before it
    tied_over: bool  # is continued by the note of the same pitch after it
    graces: tuple[int, ...] = ()  # pitches of small notes before it
    sign: str = ""  # of an ornament, as records.OrnamentSigned has it
    loudness: Loudness = UNSAID


@dataclass(frozen=True, slots=True)
class WrittenScore:
    """A score as written. spans, signs, printed: of each bar, its place, its signs and its number.

    quarter_s: by the first tempo mark; None: there is none.
    """

    notes: list[WrittenNote]
    spans: list[Span]
    signs: list[BarSigns]
    printed: list[str]
    metre: Metre
    key: Key | None
    quarter_s: float | None
    title: str
    composer: str
    parts: tuple[ScorePart, ...]
    remarks: tuple[str, ...]


def remarks_of(unpitched: bool, graces: int, changing: bool, symbols: int) -> tuple[str, ...]:
    """What a reader has left out. symbols: chord symbols."""
    remarks = ["percussion left out"] if unpitched else []
    if graces:
        remarks.append(f"{counted(graces, 'grace note')} left out")
    if changing:
        remarks.append("the tempo changes; the first one is kept")
    if symbols:
        remarks.append(f"{symbols} chord symbols left out: no accompaniment is made of them")
    return tuple(remarks)


def as_played(path: Path, written: WrittenScore, fallback_title: str) -> ScoreIn:
    """The tune that is played. Raises BadInput where it is overfull or too long. path: for words only."""
    check_counts(path, len(written.notes), 0)
    remarks = list(written.remarks)
    try:
        order = playing_order(written.signs, MOST_BARS)
    except RepeatsDoNotFit as error:
        order = list(range(len(written.spans)))
        remarks.append(f"the repeats are read straight through ({error})")
    notes, bars, ornaments = _play_out(written, order)
    check_counts(path, len(notes), len(bars))
    check_length(path, float(bars[-1].end_quarter) * (written.quarter_s or DEFAULT_QUARTER_S))
    title = " ".join(written.title.split())[:LONGEST_TITLE]
    return ScoreIn(
        notes, bars, written.metre, written.key, written.quarter_s, title or fallback_title, tuple(remarks),
        written.parts, composer=" ".join(written.composer.split())[:LONGEST_TITLE], ornaments=ornaments,
    )  # fmt: skip


def part_codas(signs: Sequence[BarSigns]) -> None:
    """The coda sign is printed twice: where one leaves for the coda, and where the coda begins."""
    marked = [bar for bar in signs if bar.coda]
    for bar in marked[:-1]:
        bar.coda, bar.to_coda = False, True


def _play_out(
    written: WrittenScore, order: Sequence[int]
) -> tuple[tuple[ScoreNote, ...], tuple[ScoreBar, ...], tuple[OrnamentSigned, ...]]:
    """Notes, bars and ornaments as they are played, counted from the first full bar line; tied notes joined."""
    spans = written.spans
    by_bar: list[list[WrittenNote]] = [[] for _ in spans]
    at = 0
    for note in sorted(written.notes, key=lambda n: (n.onset, n.pitch)):
        while at + 1 < len(spans) and note.onset >= spans[at][1]:
            at += 1
        by_bar[at].append(note)
    first = spans[order[0]]
    full = written.metre.bar_quarter
    upbeat = first[1] - first[0] if len(order) > 1 and first[1] - first[0] < full else Fraction(0)
    now, bars = -upbeat, list[ScoreBar]()
    notes: list[ScoreNote] = []
    ornaments: list[OrnamentSigned] = []
    ringing: dict[tuple[int, int], tuple[int, bool]] = {}  # (part, pitch) -> its last note, whether tied over
    for count, i in enumerate(order):
        start, end = spans[i]
        for note in by_bar[i]:
            onset = now + note.onset - start
            _sound(notes, ringing, note, onset)
            if note.graces or note.sign:
                ornaments.append(OrnamentSigned(onset, note.pitch, note.part, note.graces, note.sign))
        bars.append(ScoreBar(count + (0 if upbeat else 1), now, end - start, written.printed[i]))
        now += end - start
    return tuple(notes), tuple(bars), tuple(ornaments)


def _sound(
    notes: list[ScoreNote], ringing: dict[tuple[int, int], tuple[int, bool]], note: WrittenNote, onset: Fraction
) -> None:
    """Add a note, or lengthen the one it is tied to: either end of a tie will do, a second ending often lacks one."""
    key = (note.part, note.pitch)
    last, tied_over = ringing.get(key, (None, False))
    if last is not None and (note.tied_on or tied_over) and notes[last].end_quarter == onset:
        notes[last] = replace(notes[last], duration_quarter=notes[last].duration_quarter + note.duration)
    else:
        last = len(notes)
        notes.append(ScoreNote(onset, note.duration, note.pitch, part=note.part, loudness=note.loudness))
    ringing[key] = (last, note.tied_over)
