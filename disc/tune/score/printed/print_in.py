"""Printed music to exact quarters: MusicXML by musicxml_in.py, kern through music21."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Sequence
from contextlib import redirect_stderr
from dataclasses import replace
from fractions import Fraction
from typing import Any

from disc.errors import BadInput
from disc.records import Key, Metre
from disc.tune.score.files.safety import ScoreFile, ScoreKind
from disc.tune.score.printed.budget import time_budget
from disc.tune.score.printed.musicxml_in import read_musicxml
from disc.tune.score.printed.play_order import BarSigns
from disc.tune.score.printed.written import WrittenNote, WrittenScore, as_played, part_codas, remarks_of
from disc.tune.score.records import ScoreIn, ScorePart
from disc.tune.settings import MODE_STEPS, MODE_WORDS

# Humdrum's **kern, ornaments: T and t, M and m, W and w, S, each in half and whole steps.
SIGNS = {"Trill": "trill", "Mordent": "mordent", "InvertedMordent": "inverted mordent", "Turn": "turn"}


def read_print(file: ScoreFile, fallback_title: str) -> list[ScoreIn]:
    """The tune of a file (several where music21 finds several), notes not yet ranked.

    Raises BadInput in one line whatever the reader stumbles over, and if a tune is silent or only percussion. Nothing
    of music21's own is kept, so that a collection of thousands takes no more memory than its longest tune.
    """
    complaints = io.StringIO()
    with warnings.catch_warnings(), redirect_stderr(complaints), time_budget(file.path):
        warnings.simplefilter("ignore")
        try:
            if file.kind is ScoreKind.MUSICXML:
                return [as_played(file.path, read_musicxml(file.path, file.text), fallback_title)]
            found = [as_played(file.path, _read(file, one), fallback_title) for one in _parse_kern(file.text)]
            return [replace(score, remarks=(*score.remarks, *_guesses(complaints.getvalue()))) for score in found]
        except BadInput:
            raise
        except RecursionError as error:
            raise BadInput(f"{file.path}: nested too deep for a score. Export the tune once more.") from error
        except Exception as error:  # music21 raises what it stumbles over, of any class
            words = " ".join(str(error).split())[:120] or type(error).__name__
            raise BadInput(f"{file.path}: the {file.kind.value} cannot be read ({words}). Mend it there.") from error


def _guesses(complaints: str) -> list[str]:
    """What music21 prints while it guesses its way past damage, as one remark."""
    lines = [line.strip() for line in complaints.splitlines() if "WARNING" in line]
    if not lines:
        return []
    first = re.sub(r"^.*WARNING:\s*", "", lines[0])[:80]
    return [f"damaged in {len(lines)} place{'s' if len(lines) > 1 else ''}, read as well as could be ({first})"]


# ---- parsing


def _parse_kern(text: str) -> list[Any]:
    from music21.humdrum.spineParser import HumdrumDataCollection

    data = HumdrumDataCollection(text)
    data.parse()
    return _scores_of(data.stream)


def _scores_of(stream: Any) -> list[Any]:
    from music21.stream import Opus

    return list(stream.scores) if isinstance(stream, Opus) else [stream]


# ---- reading


def _read(file: ScoreFile, score: Any) -> WrittenScore:
    parts = list(score.parts) or [score]
    raw, unpitched, graces = _raw_notes(parts)
    if not raw:
        what = "only percussion" if unpitched else "no notes"
        raise BadInput(f"{file.path}: there is {what} in it. A comb needs a tune with pitches.")
    quarter_s, changing = _tempo(score)
    symbols = sum("ChordSymbol" in e.classes for part in parts for e in part.flatten().notes)
    spans, signs, printed = _bars_of(parts, raw)
    return WrittenScore(
        raw, spans, signs, printed, _metre(parts[0]), _key(parts[0]), quarter_s, *_names(score), _parts(parts),
        remarks_of(unpitched, graces, changing, symbols),
    )  # fmt: skip


def _raw_notes(parts: Sequence[Any]) -> tuple[list[WrittenNote], bool, int]:
    """(notes, each with the small notes before it and its sign, whether anything unpitched was met, grace notes)."""
    raw: list[WrittenNote] = []
    unpitched, graces = False, 0
    for number, part in enumerate(parts):
        small: list[tuple[Fraction, int]] = []  # small notes that still wait for theirs, with their place
        for element in part.flatten().notes:
            pitches = getattr(element, "pitches", ())
            if "ChordSymbol" in element.classes:
                continue
            if "PercussionChord" in element.classes or not pitches:
                unpitched = True
                continue
            if element.duration.isGrace or element.quarterLength <= 0:
                graces += 1
                small.append((Fraction(element.offset), round(max(pitch.ps for pitch in pitches))))
                continue
            onset, duration = Fraction(element.offset), Fraction(element.quarterLength)
            members = element.notes if element.isChord else (element,)
            before = tuple(pitch for place, pitch in small if place == onset)
            small = [one for one in small if one[0] != onset]
            top = max(members, key=lambda member: float(member.pitch.ps))
            for member in members:
                tie = member.tie or element.tie
                kind = tie.type if tie is not None else ""
                on, over = kind in ("stop", "continue"), kind in ("start", "continue")
                own = (before, _sign(element)) if member is top and not on else ((), "")
                raw.append(WrittenNote(onset, duration, round(member.pitch.ps), number, on, over, *own))
    inside = [note for note in raw if 0 <= note.pitch <= 127]
    return inside, unpitched, graces


def _sign(element: Any) -> str:
    """The sign of an ornament over a note, as records.OrnamentSigned has it; "" for none."""
    names = [name for expression in element.expressions for name in expression.classes]
    return next((SIGNS[name] for name in names if name in SIGNS), "")


def _parts(parts: Sequence[Any]) -> tuple[ScorePart, ...]:
    """Each part's name, and whether there are words under its notes."""
    found = []
    for part in parts:
        name = " ".join(str(getattr(part, "partName", "") or "").split())
        sung = any(getattr(element, "lyrics", None) for element in part.flatten().notes)
        found.append(ScorePart(name[:60], sung))
    return tuple(found)


def _bars_of(
    parts: Sequence[Any], raw: Sequence[WrittenNote]
) -> tuple[list[tuple[Fraction, Fraction]], list[BarSigns], list[str]]:
    """Each printed bar's (start, end), its signs and its number, from the part with most bars."""
    measures = max((list(part.getElementsByClass("Measure")) for part in parts), key=len)
    end = max(note.onset + note.duration for note in raw)
    if not measures:
        length = _metre(parts[0]).bar_quarter
        count = -(-end // length)
        spans = [(i * length, (i + 1) * length) for i in range(int(count))]
        return spans, [BarSigns() for _ in spans], [str(i + 1) for i in range(len(spans))]
    starts = [Fraction(measure.offset) for measure in measures]
    last = max(end, starts[-1] + Fraction(measures[-1].highestTime))
    ends = [*starts[1:], max(last, starts[-1] + Fraction(1, 24))]
    signs = [_signs(measure) for measure in measures]
    _add_endings(parts, measures, signs)
    part_codas(signs)
    kept = [i for i in range(len(starts)) if ends[i] > starts[i]]
    return (
        [(starts[i], ends[i]) for i in kept],
        [signs[i] for i in kept],
        [measures[i].measureNumberWithSuffix() for i in kept],
    )


def _signs(measure: Any) -> BarSigns:
    signs = BarSigns()
    for bar_line in (measure.leftBarline, measure.rightBarline):
        if bar_line is None or "Repeat" not in bar_line.classes:
            continue
        if bar_line.direction == "start":
            signs.opens = True
        else:
            signs.times = max(2, int(bar_line.times or 2))
    names = {type(mark).__name__ for mark in measure.getElementsByClass("RepeatMark")}
    signs.segno = "Segno" in names
    signs.fine = "Fine" in names
    signs.da_capo = any(name.startswith("DaCapo") for name in names)
    signs.dal_segno = any(name.startswith("DalSegno") for name in names)
    signs.coda = "Coda" in names
    return signs


def _add_endings(parts: Sequence[Any], measures: Sequence[Any], signs: Sequence[BarSigns]) -> None:
    place = {id(measure): i for i, measure in enumerate(measures)}
    for part in parts:
        for bracket in part.recurse().getElementsByClass("RepeatBracket"):
            numbers = frozenset(int(n) for n in bracket.numberRange)
            for measure in bracket.getSpannedElements():
                if id(measure) in place:
                    signs[place[id(measure)]].endings = numbers


# ---- headings


def _metre(part: Any) -> Metre:
    for signature in part.recurse().getElementsByClass("TimeSignature"):
        if signature.numerator and signature.denominator:
            return Metre(int(signature.numerator), int(signature.denominator))
    return Metre(4, 4)


def _key(part: Any) -> Key | None:
    """The first key of a part. A signature without a mode is taken as major. A mode moves the tonic, not the sharps."""
    for signature in part.recurse().getElementsByClass("KeySignature"):
        word = str(getattr(signature, "mode", None) or "major")
        mode = MODE_WORDS.get(word, word) if MODE_WORDS.get(word, word) in MODE_STEPS else "major"
        fifths = int(signature.sharps or 0)
        return Key((7 * fifths + MODE_STEPS[mode]) % 12, mode, fifths)
    return None


def _tempo(score: Any) -> tuple[float | None, bool]:
    """(seconds of a quarter by the first tempo mark or None, whether later marks differ)."""
    speeds = []
    for mark in score.recurse().getElementsByClass("MetronomeMark"):
        quarters = mark.getQuarterBPM()
        if quarters and 5 <= quarters <= 1000:
            speeds.append(60.0 / float(quarters))
    return (speeds[0] if speeds else None), any(abs(speed - speeds[0]) > 1e-6 for speed in speeds)


def _names(score: Any) -> tuple[str, str]:
    """(title, composer)."""
    metadata = score.metadata
    if metadata is None:
        return "", ""
    return str(metadata.title or metadata.movementName or ""), str(metadata.composer or "")
