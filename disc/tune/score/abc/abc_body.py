"""The body of an ABC tune: one voice's notes between bar lines, in ticks, as they are written.

Source: The ABC Music Standard 2.1 (abcnotation.com/wiki/abc:standard:v2.1), chapters 3 (fields), 4 (the tune body).
Only what may strike a tooth is read: no words; grace notes and ornaments' signs are kept beside the notes.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from disc.pitch_names import LETTER_SEMITONES
from disc.tune.score.abc.abc_key import ACCIDENTAL, key_accidentals
from disc.tune.score.abc.abc_repeats import Segment, SegmentNote
from disc.tune.score.dynamics import ACCENTS, DEGREES, UNSAID, Loudness, degree_after
from disc.tune.score.records import TICKS_PER_QUARTER

WHOLE = 4 * TICKS_PER_QUARTER  # ticks of a whole note, by definition

TOKEN = re.compile(
    r"""
    (?P<text>"[^"]*"|\{[^}]*\}|!(?=[^!\s]{0,24}!)[^!]*!)            # chord symbols, grace notes, decorations
  | (?P<inline>\[[A-Za-z]:[^\]]*\])
  | (?P<bar>(?:\[\||:*\|[|\]:]*|::+|:(?=\d))(?:\s*\[?\d[\d,\-.]*)?|\[\d[\d,\-.]*)
  | (?P<tuplet>\(\d(?::\d*)?(?::\d*)?)
  | (?P<chord>\[(?:[^\]|:]*[A-Ga-g][^\]|:]*)\])(?P<cnum>\d*)(?P<cslash>/*)(?P<cden>\d*)
  | (?P<acc>\^\^|\^|__|_|=)?(?P<note>[A-Ga-g])(?P<octave>[,']*)(?P<num>\d*)(?P<slash>/*)(?P<den>\d*)
  | (?P<rest>[zx])(?P<rnum>\d*)(?P<rslash>/*)(?P<rden>\d*)
  | (?P<barrest>[ZX])(?P<bars>\d*)
  | (?P<broken>>+|<+)
  | (?P<tie>-)
  | (?P<overlay>&)
  | (?P<sign>[~TMP])
    """,
    re.VERBOSE,
)
TEXT = re.compile(r'"[^"]*"|\[[A-Za-z]:[^\]]*\]')
FOREIGN = re.compile(r"[^\x00-\x7f]+")
CHORD_NOTE = re.compile(r"(\^\^|\^|__|_|=)?([A-Ga-g])([,']*)(\d*)(/*)(\d*)")
FIELD = re.compile(r"^([A-Za-z]):(.*)$")
# Signs of ornaments: the letters of the standard 2.1, 4.14, and the names of its decorations. "~" is a roll, played as
# a turn.
SIGNS = {
    "~": "turn", "T": "trill", "M": "mordent", "P": "inverted mordent", "trill": "trill", "turn": "turn",
    "roll": "turn", "mordent": "mordent", "lowermordent": "mordent", "uppermordent": "inverted mordent",
    "pralltriller": "inverted mordent",
}  # fmt: skip
# Notes a tuplet (p fits into the time of: standard 2.1, section 4.13; None: 3 in compound metres, else 2.
MOST_BARS_REST = 100
TUPLET_TIME = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3, 5: None, 7: None, 9: None}


@dataclass(slots=True)
class _Sound:
    """What is struck together, while it is being read. tied: it goes on in the next sound's notes of its pitches.

    pitches: (pitch, letter with octave) each; none: a rest. on: pitches that go on from before, without a new strike.
    """

    at: int
    duration: int
    pitches: tuple[tuple[int, str], ...]
    tied: bool = False
    on: frozenset[int] = frozenset()
    loudness: Loudness = UNSAID


@dataclass(frozen=True, slots=True)
class VoiceRead:
    """A voice as written. marks: part letter -> its first segment. graces: grace notes left out.

    damaged: signs passed over that no ABC has among its notes.
    """

    segments: list[Segment]
    marks: dict[str, int]
    graces: int
    damaged: int


@dataclass(slots=True)
class _Reader:
    """The state while a tune's body is read."""

    unit: int
    metre: tuple[int, int] | None
    key: dict[str, int]
    segments: list[Segment] = field(default_factory=list)
    marks: dict[str, int] = field(default_factory=dict)
    sounds: list[_Sound] = field(default_factory=list)
    now: int = 0
    accidentals: dict[str, int] = field(default_factory=dict)
    broken: tuple[int, int] | None = None
    tuplet: tuple[int, int, int] = (1, 1, 0)
    repeat_opens: bool = False
    ending: frozenset[int] = frozenset()
    thick: bool = False
    skipping: bool = False  # a second voice in the same bar, after &
    voice: str | None = None
    silent: bool = False  # a line of another voice
    graces: int = 0
    damaged: int = 0
    symbols: list[tuple[int, str]] = field(default_factory=list)
    ornaments: list[tuple[int, tuple[int, ...], str]] = field(default_factory=list)
    degree: str = ""
    accent: bool = False  # of the next note

    def bar_ticks(self) -> int | None:
        return None if self.metre is None else WHOLE * self.metre[0] // self.metre[1]


def metre_of(text: str) -> tuple[int, int] | None:
    """A metre field: (6, 8), (4, 4) for C, (2, 2) for C|; None where there is none or it is free."""
    found = re.search(r"(\d+(?:\+\d+)*)\)?\s*/\s*(\d+)", text)
    if found:
        beats = sum(int(part) for part in found[1].split("+"))
        return (beats, int(found[2])) if beats and int(found[2]) else None
    word = text.strip()
    return {"C": (4, 4), "C|": (2, 2)}.get(word[:2].strip()) if word else None


def unit_of(text: str | None, metre: tuple[int, int] | None) -> int:
    """The unit note length in ticks; without L: a 16th where the metre is under 3/4, else an 8th (standard, 3.1.7)."""
    found = re.search(r"(\d+)\s*/\s*(\d+)", text or "")
    if found and int(found[2]):
        return WHOLE * int(found[1]) // int(found[2])
    if metre is not None and metre[0] / metre[1] < 0.75:
        return WHOLE // 16
    return WHOLE // 8


def read_voice(lines: list[str], unit: int, metre: tuple[int, int] | None, key: str, voice: str | None) -> VoiceRead:
    """One voice of a tune's body: the named one, or the first where none is named. key: the heading's K: field."""
    reader = _Reader(unit, metre, key_accidentals(key), voice=voice)
    for line in lines:
        _read_line(reader, line)
    _close_segment(reader, "", last=True)
    return VoiceRead(reader.segments, reader.marks, reader.graces, reader.damaged)


def voices_named(lines: list[str]) -> list[str]:
    """The names of the voices in the order in which their notes first stand; empty: there is but one, unnamed."""
    names: list[str] = []
    for line in lines:
        for found in re.finditer(r"(?:^|\[)V:\s*([^\s\]]+)", line):
            if found[1] not in names:
                names.append(found[1])
    return names


# ---- the body


def _read_line(reader: _Reader, line: str) -> None:
    found = FIELD.match(line)
    if found:
        _change_field(reader, found[1], found[2].strip())
        return
    if reader.silent and "[V:" not in line:
        return
    reader.damaged += len(FOREIGN.findall(TEXT.sub("", line)))
    for token in TOKEN.finditer(line):
        if token["inline"]:
            _change_field(reader, token["inline"][1], token["inline"][3:-1].strip())
        elif reader.silent or token["text"]:
            if not reader.silent:
                _note_text(reader, token["text"])
        elif token["bar"]:
            _close_segment(reader, token["bar"])
        elif reader.skipping:
            continue
        elif token["note"]:
            _add_note(reader, token)
        elif token["sign"]:
            reader.ornaments.append((reader.now, (), SIGNS[token["sign"]]))
        elif token["tuplet"]:
            _open_tuplet(reader, token["tuplet"])
        elif token["chord"]:
            _add_chord(reader, token)
        elif token["rest"]:
            _add_sound(reader, _length(reader, token["rnum"], token["rslash"], token["rden"]), ())
        elif token["broken"]:
            _break_rhythm(reader, token["broken"])
        elif token["tie"]:
            if reader.sounds and reader.sounds[-1].pitches:
                reader.sounds[-1].tied = True
        elif token["overlay"]:
            reader.skipping = True
        elif token["barrest"]:
            bar = reader.bar_ticks() or WHOLE
            _add_sound(reader, bar * min(int(token["bars"] or 1), MOST_BARS_REST), ())


def _note_text(reader: _Reader, text: str) -> None:
    """Grace notes are counted and kept beside the note that follows, as is an ornament's sign; a quoted text that
    begins with a note's letter is a chord symbol (standard, 4.18).
    """
    if text.startswith("{"):
        reader.graces += len(re.findall("[A-Ga-g]", text))
        if not reader.skipping:
            graces = tuple(_grace_pitch(reader, found) for found in CHORD_NOTE.finditer(text))
            reader.ornaments.append((reader.now, graces, ""))
    elif text.strip("!") in SIGNS and not reader.skipping:
        reader.ornaments.append((reader.now, (), SIGNS[text.strip("!")]))
    elif (sign := text.strip("!")) in DEGREES or sign in ACCENTS:
        if not reader.skipping:
            reader.degree, reader.accent = degree_after(sign, reader.degree), sign in ACCENTS
    elif re.match(r'"[A-G]', text) and not reader.skipping:
        reader.symbols.append((reader.now, text.strip('"')))


def _change_field(reader: _Reader, letter: str, value: str) -> None:
    if letter == "V":
        name = value.split()[0] if value else ""
        reader.voice = reader.voice if reader.voice is not None else name
        reader.silent = name != reader.voice
    elif reader.silent:
        return
    elif letter == "K":
        reader.key = key_accidentals(value)
    elif letter == "L":
        reader.unit = unit_of(value, reader.metre)
    elif letter == "M":
        reader.metre = metre_of(value)
    elif letter == "P" and len(value) >= 1:
        _close_segment(reader, "")
        # A word such as "Verse" is a heading; only single letters can be called from the heading's order of parts.
        if re.fullmatch(r"[A-Z]\.?", value):
            reader.marks.setdefault(value[0], len(reader.segments))


def _length(reader: _Reader, num: str, slash: str, den: str) -> int:
    over = int(num) if num else 1
    under = int(den) if den else 2 ** len(slash)
    return reader.unit * over // under if under else reader.unit * over


def _add_note(reader: _Reader, token: re.Match[str]) -> None:
    note = _pitch(reader, token["acc"], token["note"], token["octave"])
    _add_sound(reader, _length(reader, token["num"], token["slash"], token["den"]), (note,))


def _add_chord(reader: _Reader, token: re.Match[str]) -> None:
    """All notes of a chord at once; its length is its first note's (standard 2.1, 4.17)."""
    found = list(CHORD_NOTE.finditer(token["chord"]))
    notes = {(pitch, name) for pitch, name in (_pitch(reader, m[1], m[2], m[3]) for m in found)}
    inner = _length(reader, found[0][4], found[0][5], found[0][6])
    outer = _length(reader, token["cnum"], token["cslash"], token["cden"])
    _add_sound(reader, inner * outer // reader.unit, tuple(sorted(notes)))
    if "-" in token["chord"]:
        reader.sounds[-1].tied = True


def _grace_pitch(reader: _Reader, found: re.Match[str]) -> int:
    """A grace note's pitch; its own accidental does not hold for the notes after it."""
    before = dict(reader.accidentals)
    pitch, _ = _pitch(reader, found[1], found[2], found[3])
    reader.accidentals = before
    return pitch


def _pitch(reader: _Reader, accidental: str | None, note: str, octave: str) -> tuple[int, str]:
    letter = note.upper()
    base = 60 + LETTER_SEMITONES[letter] + (12 if note.islower() else 0) + 12 * (octave.count("'") - octave.count(","))
    name = f"{letter}{base // 12}"
    if accidental:
        reader.accidentals[letter] = ACCIDENTAL[accidental]
    elif reader.sounds and reader.sounds[-1].tied:
        for pitch, letter_before in reader.sounds[-1].pitches:
            if letter_before == name:
                return pitch, name  # a tie carries its accidental over the bar line
    # An accidental holds for its letter in every octave till the bar's end (standard 2.1, 4.2 with 11.3: "pitch").
    return base + reader.accidentals.get(letter, reader.key.get(letter, 0)), name


def _add_sound(reader: _Reader, duration: int, pitches: tuple[tuple[int, str], ...]) -> None:
    p, q, left = reader.tuplet
    if left:
        duration = duration * q // p
        reader.tuplet = (p, q, left - 1)
    if reader.broken is not None:
        duration = duration * reader.broken[0] // reader.broken[1]
        reader.broken = None
    previous = reader.sounds[-1] if reader.sounds else None
    before = {pitch for pitch, _ in previous.pitches} if previous is not None and previous.tied else set[int]()
    on = frozenset(pitch for pitch, _ in pitches if pitch in before)
    reader.sounds.append(_Sound(reader.now, duration, pitches, on=on, loudness=Loudness(reader.degree, reader.accent)))
    reader.now += duration
    # what follows "fp" is soft, the note itself has the accent
    reader.accent = reader.accent and not pitches


def _break_rhythm(reader: _Reader, signs: str) -> None:
    """a>b: the first note takes half of the second, and so on for >> and >>> (standard, 4.4)."""
    if not reader.sounds:
        return
    over, under = 2 ** (len(signs) + 1) - 1, 2 ** len(signs)
    first, second = ((over, under), (1, under)) if signs[0] == ">" else ((1, under), (over, under))
    last = reader.sounds[-1]
    changed = last.duration * first[0] // first[1]
    reader.now += changed - last.duration
    last.duration = changed
    reader.broken = second


def _open_tuplet(reader: _Reader, text: str) -> None:
    parts = text[1:].split(":")
    p = int(parts[0])
    compound = reader.metre is not None and reader.metre[1] == 8 and reader.metre[0] in (6, 9, 12)
    q = int(parts[1]) if len(parts) > 1 and parts[1] else TUPLET_TIME.get(p) or (3 if compound else 2)
    r = int(parts[2]) if len(parts) > 2 and parts[2] else p
    if p > 1 and q > 0:
        reader.tuplet = (p, q, r)


# ---- bars


def _close_segment(reader: _Reader, sign: str, last: bool = False) -> None:
    """Put what was read since the last bar line into a segment; the sign says what happens around it."""
    digits = re.search(r"\d[\d,\-.]*$", sign)
    bare = sign[: digits.start()] if digits else sign
    closes = bare.startswith(":") and bare.strip() != ""
    opens = bare.rstrip("[ ").endswith(":")
    if reader.now:
        notes = [
            SegmentNote(sound.at, sound.duration, pitch, pitch in sound.on, sound.tied, sound.loudness)
            for sound in reader.sounds
            for pitch, _ in (sound.pitches if sound.duration else ())
        ]
        reader.segments.append(
            Segment(
                notes,
                reader.now,
                reader.bar_ticks(),
                reader.repeat_opens,
                closes,
                reader.ending,
                reader.thick,
                reader.symbols,
                reader.ornaments,
            )
        )
        reader.symbols, reader.ornaments = [], []
        reader.repeat_opens = False
        reader.thick = False
        reader.ending = frozenset() if closes or "||" in bare or "]" in bare else reader.ending
    elif closes and reader.segments:
        reader.segments[-1].closes = True
        reader.ending = frozenset()
    reader.repeat_opens = reader.repeat_opens or opens
    reader.thick = reader.thick or closes or opens or "||" in bare or "]" in bare
    if digits:
        reader.ending = _passes(digits[0])
    elif opens:
        reader.ending = frozenset()
    carried = reader.sounds[-1] if reader.sounds and reader.sounds[-1].tied else None
    reader.sounds, reader.now, reader.skipping = [], 0, False
    if sign.strip() and not last:
        reader.accidentals = {}
    if carried is not None:  # a tie over the bar line: remembered as a silent sound of no length
        reader.sounds.append(_Sound(0, 0, carried.pitches, tied=True))


def _passes(text: str) -> frozenset[int]:
    passes: set[int] = set()
    for part in re.split(r"[,.]", text):
        ends = [int(d) for d in part.split("-") if d]
        if ends:
            passes.update(range(ends[0], min(ends[-1], ends[0] + 20) + 1))
    return frozenset(passes)
