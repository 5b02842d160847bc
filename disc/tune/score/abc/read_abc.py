"""ABC notation: the tunes of a file as scores, repeats played out, ties joined. The program's one reader of ABC.

Source: The ABC Music Standard 2.1 (abcnotation.com/wiki/abc:standard:v2.1), chapters 2 to 4, 7 (voices). Why not a
library: see DEVELOPERS (music21 loses accidentals and notes, verovio and symusic give no played-out bars, none is quick
enough); tests/tune holds the comparison with music21, tests/library that with abc2midi.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction

from disc.records import Key, Metre
from disc.tune.score.abc.abc_body import VoiceRead, metre_of, read_voice, unit_of, voices_named
from disc.tune.score.abc.abc_key import key_fifths, key_mode
from disc.tune.score.abc.abc_repeats import Segment, number_bars, play_order
from disc.tune.score.files.safety import LONGEST_TITLE
from disc.tune.score.records import (
    TICKS_PER_QUARTER,
    ChordSymbol,
    OrnamentSigned,
    ScoreBar,
    ScoreIn,
    ScoreNote,
    ScorePart,
)
from disc.tune.settings import MODE_STEPS
from disc.words import counted

FIELD = re.compile(r"^([A-Za-z]):(.*)$")
MOST_VOICES = 16  # read of a tune, the rest is left out (chosen)


@dataclass(frozen=True, slots=True)
class AbcTune:
    """One tune of a file. number: its X: field; a tune without one takes its place in the file."""

    number: int
    score: ScoreIn


def read_abc(text: str) -> list[AbcTune]:
    """All tunes of a text in their order; tunes without notes are left out. Notes are not yet ranked."""
    read = (read_abc_tune(section, place) for place, section in enumerate(split_abc(text), start=1))
    return [tune for tune in read if tune is not None]


def split_abc(text: str) -> list[str]:
    """The tunes of an ABC file, each from its X: line on.

    Metre, unit length and tempo given before the first X: hold for every tune that does not give its own (ABC 2.1,
    section 2.2.2, the file header).
    """
    pieces = re.split(r"^(?=X:)", text, flags=re.MULTILINE)
    if len(pieces) == 1:
        return pieces
    general = "".join(f"{line}\n" for line in pieces[0].splitlines() if re.match(r"[MLQ]:", line))
    tunes = [piece for piece in pieces[1:] if re.search(r"^K:", piece, re.MULTILINE)]
    return [re.sub(r"\n", lambda _: "\n" + general, tune, count=1) for tune in tunes]


def music_of(text: str) -> str:
    """The lines of notes, without information lines and comments."""
    return "\n".join(line for line in text.splitlines() if not re.match(r"[A-Za-z]:|%", line))


def read_abc_tune(text: str, place: int) -> AbcTune | None:
    """The tune of one section; None where it has no notes. place: its number where it gives none."""
    head, body = _parted(text.splitlines())
    metre, key = metre_of(head.get("M", "")), head.get("K", "")
    unit = unit_of(head.get("L"), metre)
    names = voices_named(body)[:MOST_VOICES]
    wanted: list[str | None] = [*names] or [None]
    voices = [read_voice(body, unit, metre, key, name) for name in wanted]
    lead = next((voice for voice in voices if any(s.notes for s in voice.segments)), None)
    if lead is None:
        return None
    number = re.search(r"\d{1,9}", head.get("X", ""))
    score = _score(voices, lead, names, head, metre)
    if score is None:
        return None
    composer = " ".join(head.get("C", "").split())[:LONGEST_TITLE]
    return AbcTune(int(number[0]) if number else place, replace(score, composer=composer))


def _parted(lines: list[str]) -> tuple[dict[str, str], list[str]]:
    """(the head's fields, of each the last that is no general one but the first title; the body's lines)."""
    head: dict[str, str] = {}
    body: list[str] = []
    for raw in lines:
        line = raw.split("%", 1)[0].rstrip()
        found = FIELD.match(line) if "K" not in head else None
        if found and (found[1] not in head or found[1] in "MLQ"):
            head[found[1]] = found[2].strip()
        elif "K" in head and line:
            body.append(line)
    return head, body


def _score(
    voices: list[VoiceRead], lead: VoiceRead, names: list[str], head: dict[str, str], metre: tuple[int, int] | None
) -> ScoreIn | None:
    numbers = number_bars(lead.segments)
    order = play_order(lead.segments, lead.marks, head.get("P", ""))
    if not any(lead.segments[index].notes for index in order):
        return None  # nothing of what is written is ever played
    bars = _bars(lead.segments, numbers, order)
    start = bars[0].start_quarter
    notes: list[ScoreNote] = []
    ornaments: list[OrnamentSigned] = []
    remarks = [f"{counted(lead.graces, 'grace note')} left out"] if lead.graces else []
    if lead.damaged:
        places = f"{lead.damaged} place{'s' if lead.damaged > 1 else ''}"
        remarks.append(f"damaged in {places}, read as well as could be")
    for number, voice in enumerate(voices):
        if len(voice.segments) == len(lead.segments):
            notes += _played(voice.segments, lead.segments, order, start, number)
            ornaments += _ornaments(voice.segments, lead.segments, order, start, number)
        elif any(segment.notes for segment in voice.segments):
            remarks.append(f"voice {names[number]} left out: its bars are not those of the first")
    notes.sort(key=lambda note: (note.onset_quarter, note.pitch))
    title = " ".join(head.get("T", "").split())[:LONGEST_TITLE]
    parts = tuple(ScorePart(name) for name in names) if len(names) > 1 else ()
    quarter_s, key = tempo_of(head.get("Q", ""), head, metre), _key(head.get("K", ""))
    return ScoreIn(
        tuple(notes),
        bars,
        Metre(*(metre or (4, 4))),
        key,
        quarter_s,
        title,
        tuple(remarks),
        parts,
        symbols=_symbols(lead.segments, order, start),
        ornaments=tuple(ornaments),
    )


def _bars(segments: list[Segment], numbers: list[int], order: list[int]) -> tuple[ScoreBar, ...]:
    """Bars as played; a bar that a repeat sign parts is one bar where it is played through."""
    upbeat = numbers[order[0]] == 0 and len(order) > 1
    now = Fraction(-segments[order[0]].length, TICKS_PER_QUARTER) if upbeat else Fraction(0)
    bars: list[ScoreBar] = []
    count, before = (0 if upbeat else 1), -2
    for index in order:
        length = Fraction(segments[index].length, TICKS_PER_QUARTER)
        if bars and index == before + 1 and numbers[index] == numbers[before]:
            last = bars.pop()
            bars.append(ScoreBar(last.number, last.start_quarter, last.length_quarter + length, last.printed))
        else:
            bars.append(ScoreBar(count, now, length, str(numbers[index])))
            count += 1
        now, before = now + length, index
    return tuple(bars)


def _played(
    segments: list[Segment], lead: list[Segment], order: list[int], start: Fraction, part: int
) -> list[ScoreNote]:
    """The notes of one voice as they are played, tied notes joined where they follow each other.

    Either end of a tie will do: a second ending often lacks one.
    """
    now, notes = round(start * TICKS_PER_QUARTER), list[ScoreNote]()
    ringing: dict[int, tuple[int, bool]] = {}  # pitch -> its last note, whether it is tied over
    for index in order:
        for note in segments[index].notes:
            onset = Fraction(now + note.at, TICKS_PER_QUARTER)
            duration = Fraction(note.duration, TICKS_PER_QUARTER)
            last, over = ringing.get(note.pitch, (len(notes), False))
            if (note.on or over) and last < len(notes) and notes[last].end_quarter == onset:
                held = notes[last]
                notes[last] = replace(held, duration_quarter=held.duration_quarter + duration)
            elif 0 <= note.pitch <= 127:
                last = len(notes)
                notes.append(ScoreNote(onset, duration, note.pitch, part=part, loudness=note.loudness))
            ringing[note.pitch] = (last, note.over)
        now += lead[index].length
    return notes


def _symbols(lead: list[Segment], order: list[int], start: Fraction) -> tuple[ChordSymbol, ...]:
    """The leading voice's chord symbols as they are played."""
    now, found = start, list[ChordSymbol]()
    for index in order:
        found += [ChordSymbol(now + Fraction(at, TICKS_PER_QUARTER), text) for at, text in lead[index].symbols]
        now += Fraction(lead[index].length, TICKS_PER_QUARTER)
    return tuple(found)


def _ornaments(
    segments: list[Segment], lead: list[Segment], order: list[int], start: Fraction, part: int
) -> list[OrnamentSigned]:
    """The ornaments of one voice as they are played, each with the highest note struck at its place."""
    now, found = start, list[OrnamentSigned]()
    for index in order:
        for at, graces, sign in segments[index].ornaments:
            struck = [note.pitch for note in segments[index].notes if note.at == at and not note.on]
            if struck:
                onset = now + Fraction(at, TICKS_PER_QUARTER)
                found.append(OrnamentSigned(onset, max(struck), part, graces, sign))
        now += Fraction(lead[index].length, TICKS_PER_QUARTER)
    return found


def _key(text: str) -> Key | None:
    """The heading's key; None where it names none. A mode moves the tonic, not the signature."""
    mode = key_mode(text)
    if mode is None:
        return None
    fifths = key_fifths(text)
    return Key((7 * fifths + MODE_STEPS[mode]) % 12, mode, fifths)


def tempo_of(text: str, head: dict[str, str], metre: tuple[int, int] | None) -> float | None:
    """Seconds of a quarter by a Q: field (standard 2.1, 3.1.8), None where it gives no number.

    "1/4=120", "3/8=100", several lengths added up; or, as in older files, a number alone: units of length a minute.
    """
    bare = re.sub(r'"[^"]*"', " ", text)
    found = re.search(r"((?:\d{1,4}\s*/\s*\d{1,4}\s*)+)=\s*(\d{1,4}(?:\.\d{1,4})?)", bare)
    if found:
        beats = [(int(a), int(b)) for a, b in re.findall(r"(\d+)\s*/\s*(\d+)", found[1])]
        beat = sum(Fraction(a, b) for a, b in beats) if all(b for _, b in beats) else Fraction(0)
        rate = float(found[2])
    else:
        alone = re.fullmatch(r"\s*(\d{1,4})\s*", bare)
        if not alone:
            return None
        beat, rate = Fraction(unit_of(head.get("L"), metre), 4 * TICKS_PER_QUARTER), float(alone[1])
    quarters = float(4 * beat)
    if not 5 <= rate * quarters <= 1000:  # quarters a minute; beyond, no musician's (as in print_in.py)
        return None
    return 60.0 / (rate * quarters)
