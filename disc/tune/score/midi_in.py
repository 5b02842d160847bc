"""A MIDI file to exact quarters. Percussion (channel 10) is left out; each track and channel is a part.

Onsets are tick / ticks-per-quarter as fractions. Where the division cannot hold a triplet or a small value exactly, an
onset within one tick of a simple fraction of a quarter is that fraction, so that 33 of 100 ticks reads as one third.
"""

from __future__ import annotations

import io
import re
import struct
from collections import defaultdict
from fractions import Fraction

from disc.errors import BadInput
from disc.records import Key, Metre
from disc.tune.score.files.safety import MOST_NOTES, ScoreFile, check_counts, check_length
from disc.tune.score.printed.written import DEFAULT_QUARTER_S
from disc.tune.score.records import ScoreBar, ScoreIn, ScoreNote, ScorePart

PERCUSSION_CHANNEL = 9  # counted from 0: channel 10, General MIDI level 1
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
# Parts of a quarter that print as ordinary values, halves to 64ths and their triplets.
SIMPLE_PARTS = (1, 2, 3, 4, 6, 8, 12, 16, 24)
SHORTEST_QUARTER = Fraction(1, 24)  # a note let go within its own tick still sounds


def read_midi(file: ScoreFile) -> ScoreIn:
    """The tune of a MIDI file, notes not yet ranked. Raises BadInput if it is damaged, silent or only percussion."""
    midi = _parse(file)
    if midi.ticks_per_beat <= 0:
        raise BadInput(f"{file.path}: its time is in film frames, not in beats. Export it with beats.")
    scan = _Scan(midi.ticks_per_beat)
    for track_number, track in enumerate(midi.tracks):
        scan.walk(track_number, track)
        check_counts(file.path, len(scan.notes), 0)
    check_length(file.path, scan.seconds())
    if not scan.notes:
        what = "only percussion" if scan.percussion else "no notes"
        raise BadInput(f"{file.path}: there is {what} in it. A comb needs a tune with pitches.")
    remarks = ["percussion left out"] if scan.percussion else []
    if len(scan.tempi) > 1:
        remarks.append("the tempo changes; the first one is kept")
    return ScoreIn(
        notes=_notes(scan),
        bars=_bars(file, scan),
        metre=scan.first_metre(),
        key=scan.key,
        quarter_s=scan.first_quarter_s(),
        title=scan.title or file.path.stem,
        remarks=tuple(remarks),
        parts=tuple(ScorePart(scan.track_names.get(track, "")) for track, _ in _part_order(scan)),
    )


def _parse(file: ScoreFile):  # type: ignore[no-untyped-def]  # mido ships no types
    import mido

    data = file.data
    if data[:4] == b"RIFF":  # RMID wrapping: the file proper stands in its data chunk
        start = data.find(b"MThd")
        if start < 0:
            raise BadInput(f"{file.path}: there is no MIDI in this RIFF file. Give a .mid file.")
        data = data[start:]
    if data.count(b"MTrk") > 256:
        raise BadInput(f"{file.path}: more than 256 tracks. Save only the tune you need.")
    try:
        try:
            return mido.MidiFile(file=io.BytesIO(data), clip=True)
        except mido.KeySignatureError:  # 127 sharps must not cost the tune: read it as if no key were given
            return mido.MidiFile(file=io.BytesIO(_without_odd_keys(data)), clip=True)
    except (
        OSError, EOFError, ValueError, KeyError, IndexError, TypeError, struct.error, LookupError,
        mido.KeySignatureError,
    ) as error:  # fmt: skip
        words = " ".join(str(error).split())[:80] or "it ends too soon"
        raise BadInput(f"{file.path}: the MIDI file is damaged ({words}). Export it once more.") from error


def _without_odd_keys(data: bytes) -> bytes:
    """Key signatures that name no key made into blank texts as long (Standard MIDI Files 1.0: FF 59, FF 01)."""
    return re.sub(
        rb"\xff\x59\x02(..)",
        lambda found: found[0] if _is_key(found[1]) else b"\xff\x01\x02  ",
        data,
        flags=re.DOTALL,
    )


def _is_key(sharps_and_mode: bytes) -> bool:
    sharps = int.from_bytes(sharps_and_mode[:1], "big", signed=True)
    return -7 <= sharps <= 7 and sharps_and_mode[1] in (0, 1)


class _Scan:
    """Notes, metres and tempi gathered from the tracks; times in ticks until asked for."""

    def __init__(self, per_quarter: int) -> None:
        self.per_quarter = per_quarter
        self.notes: list[tuple[tuple[int, int], int, int, int]] = []  # (track, channel), on, off, pitch
        self.metres: dict[int, Metre] = {}
        self.tempi: dict[int, int] = {}
        self.key: Key | None = None
        self.title = ""
        self.track_names: dict[int, str] = {}
        self.percussion = False

    def walk(self, track_number: int, track) -> None:  # type: ignore[no-untyped-def]
        """One track: pairs note-on with the next note-off of its channel and pitch."""
        now = 0
        open_since: dict[tuple[int, int], list[int]] = defaultdict(list)
        for message in track:
            now += message.time
            if message.type in ("note_on", "note_off"):
                self._note(track_number, message, now, open_since)
            elif message.is_meta:
                self._meta(message, now, track_number)
            if len(self.notes) > MOST_NOTES:
                return
        for (channel, pitch), since in open_since.items():  # never let go: held to the end of the track
            self.notes += [((track_number, channel), on, max(now, on + 1), pitch) for on in since]

    def _note(self, track_number: int, message, now: int, open_since) -> None:  # type: ignore[no-untyped-def]
        if message.channel == PERCUSSION_CHANNEL:
            self.percussion = True
            return
        key = (message.channel, message.note)
        if message.type == "note_on" and message.velocity > 0:
            open_since[key].append(now)
        elif open_since[key]:
            on = open_since[key].pop(0)
            self.notes.append(((track_number, message.channel), on, max(now, on + 1), message.note))

    def _meta(self, message, now: int, track_number: int) -> None:  # type: ignore[no-untyped-def]
        if message.type == "set_tempo" and message.tempo > 0:  # 0 would be a piece without duration
            self.tempi.setdefault(now, message.tempo)
        elif message.type == "time_signature" and message.numerator > 0:
            self.metres.setdefault(now, Metre(message.numerator, message.denominator))
        elif message.type == "key_signature" and self.key is None:
            self.key = key_from_name(message.key)
        elif message.type == "track_name":
            name = " ".join(message.name.replace("\0", " ").split())[:120]
            self.track_names.setdefault(track_number, name[:60])
            self.title = self.title or name

    def first_metre(self) -> Metre:
        """The metre at the first note; 4/4 if none is given (Standard MIDI Files 1.0)."""
        return self.metres[min(self.metres)] if self.metres else Metre(4, 4)

    def first_quarter_s(self) -> float:
        """Seconds of a quarter at the first tempo mark."""
        return self.tempi[min(self.tempi)] / 1e6 if self.tempi else DEFAULT_QUARTER_S

    def seconds(self) -> float:
        """Length of the whole file at the first tempo; a lower bound where a later tempo is slower."""
        last = max((off for _, _, off, _ in self.notes), default=0)
        return last / self.per_quarter * self.first_quarter_s()

    def quarter(self, tick: int) -> Fraction:
        """A tick as an exact quarter, or as the simple fraction within one tick of it."""
        for part in SIMPLE_PARTS:
            nearest = Fraction(round(Fraction(tick * part, self.per_quarter)), part)
            if abs(nearest * self.per_quarter - tick) < 1:
                return nearest
        return Fraction(tick, self.per_quarter)


def key_from_name(name: str) -> Key:
    """A key as MIDI files name it ("Bb", "F#m")."""
    minor = name.endswith("m")
    letter, marks = name[0], name[1 : len(name) - minor]
    fifths = "FCGDAEB".index(letter) - 1 + 7 * (marks.count("#") - marks.count("b"))
    tonic = (7 * fifths) % 12
    return Key(tonic, "minor", fifths - 3) if minor else Key(tonic, "major", fifths)


def _part_order(scan: _Scan) -> list[tuple[int, int]]:
    """(track, channel) of each part by number."""
    return sorted({part for part, *_ in scan.notes})


def _notes(scan: _Scan) -> tuple[ScoreNote, ...]:
    parts = {part: number for number, part in enumerate(_part_order(scan))}
    notes = []
    for part, on, off, pitch in scan.notes:
        onset = scan.quarter(on)
        duration = max(scan.quarter(off) - onset, SHORTEST_QUARTER)
        notes.append(ScoreNote(onset, duration, pitch, part=parts[part]))
    return tuple(notes)


def _bars(file: ScoreFile, scan: _Scan) -> tuple[ScoreBar, ...]:
    """Bars from the metre marks to the last note; MIDI knows no upbeat, so bar 1 begins the file."""
    changes = [(scan.quarter(tick), scan.metres[tick]) for tick in sorted(scan.metres)]
    end = scan.quarter(max(on for _, on, _, _ in scan.notes))
    start, metre, bars = Fraction(0), scan.first_metre(), list[ScoreBar]()
    while start <= end:
        while changes and changes[0][0] <= start:
            metre = changes.pop(0)[1]
        bars.append(ScoreBar(len(bars) + 1, start, metre.bar_quarter, str(len(bars) + 1)))
        check_counts(file.path, 0, len(bars))
        start += metre.bar_quarter
    return tuple(bars)
