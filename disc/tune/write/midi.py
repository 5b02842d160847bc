"""A tune or a turn of strikes as a Standard MIDI File, through mido.

One tick grid: TICKS_PER_QUARTER ticks to the quarter, the tempo from the tune's quarter_s (itself from revolution_s)
and, where it is not steady, from its pace. Time 0 of the file is the start of the first bar, the upbeat's bar included.
A note that was read from a disc sounds when its pin strikes, to half a tick; one that was not, where it is written; one
whose tooth gives no tone is left out.
Program: "Music Box" of General MIDI level 1.
"""

from __future__ import annotations

import io
from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import sqrt
from typing import Any

from disc.records import Key, Note, Tune, Voice

# 2^7 * 3 * 5: sixteenths, triplets and quintuplets fall on whole ticks, and a tick of a slow quarter is half a ms.
# Chosen.
TICKS_PER_QUARTER = 1920
# General MIDI level 1 sound set (MIDI Manufacturers Association, 1991): instrument 11, counted from 1, is Music Box.
MUSIC_BOX_PROGRAM = 11 - 1
# Key velocities, the tune before its accompaniment; chosen by ear.
LOUDNESS = {Voice.MELODY: 96, Voice.ACCOMPANIMENT: 76}
GRACE_TICKS = TICKS_PER_QUARTER // 12  # how long before its note, where no strike says; common practice


@dataclass(frozen=True, slots=True)
class Clock:
    """The file's tempo marks: at each tick (rising) the turn's seconds and microseconds of a quarter from there on."""

    tick: tuple[int, ...]
    at_s: tuple[float, ...]
    tempo: tuple[int, ...]

    def tick_of(self, onset_s: float) -> int:
        """The tick at which the file is as far as the turn at onset_s."""
        mark = max(0, bisect_right(self.at_s, onset_s) - 1)
        return self.tick[mark] + round((onset_s - self.at_s[mark]) * 1e6 / self.tempo[mark] * TICKS_PER_QUARTER)


def clock_of(tune: Tune) -> Clock:
    """One mark for a steady tune, one for each knot of its pace; times follow the whole microseconds of each mark."""
    before = first_tick_quarter(tune)
    knots = [(-float(before), tune.onset_s(-before)), *(knot for knot in tune.pace if knot[0] > -before)]
    ticks = [round((quarter + float(before)) * TICKS_PER_QUARTER) for quarter, _ in knots]
    tick, at_s, tempo = [0], [knots[0][1]], list[int]()
    for number in range(1, len(knots)):
        if ticks[number] - tick[-1] < TICKS_PER_QUARTER // 8:
            continue
        length = ticks[number] - tick[-1]
        tempo.append(max(1, round((knots[number][1] - at_s[-1]) * 1e6 * TICKS_PER_QUARTER / length)))
        tick.append(ticks[number])
        at_s.append(at_s[-1] + length * tempo[-1] / 1e6 / TICKS_PER_QUARTER)
    tempo.append(round(tune.quarter_s * 1e6))
    return Clock(tuple(tick), tuple(at_s), tuple(tempo))


def midi_bytes(tune: Tune) -> bytes:
    """The tune as a MIDI file of type 1: tempo, metre and key in the first track, a track for each voice."""
    import mido

    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_QUARTER)
    file.tracks.append(_conductor(tune))
    for channel, voice in enumerate(Voice):
        notes = [note for note in tune.notes if note.voice is voice]
        if notes:
            file.tracks.append(_voice_track(voice, channel, notes, tune))
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def _conductor(tune: Tune) -> Any:
    import mido

    track = mido.MidiTrack()
    if tune.title:
        track.append(mido.MetaMessage("track_name", name=tune.title.encode("latin-1", "replace").decode("latin-1")))
    clock = clock_of(tune)
    first = first_tick_quarter(tune)
    marks: list[tuple[int, int, Any]] = [
        (tick, 0, mido.MetaMessage("set_tempo", tempo=tempo))
        for tick, tempo in zip(clock.tick, clock.tempo, strict=True)
    ]
    for part in tune.parts:
        tick = 0 if part.bar == 1 else round((part.line_quarter + first) * TICKS_PER_QUARTER)
        metre = mido.MetaMessage("time_signature", numerator=part.metre.beats, denominator=part.metre.unit)
        marks += [(tick, 1, metre), (tick, 2, mido.MetaMessage("key_signature", key=_signature_name(part.key)))]
    now = 0
    for tick, _, mark in sorted(marks, key=lambda item: item[:2]):
        track.append(mark.copy(time=tick - now))
        now = tick
    return track


def _signature_name(key: Key) -> str:
    """The signature in MIDI's terms: only major and minor exist, so a mode takes the major key of its signature."""
    minor = key.mode == "minor"
    index = key.fifths + (3 if minor else 0) + 1
    letter = "FCGDAEB"[index % 7]
    return letter + {-1: "b", 0: "", 1: "#"}[index // 7] + ("m" if minor else "")


def first_tick_quarter(tune: Tune) -> Fraction:
    """Quarters from bar 1 back to time 0 of the file: one whole bar if anything sounds before bar 1, else 0."""
    line_s = tune.onset_s(0)
    early = any(n.onset_quarter < 0 or (n.onset_s is not None and n.onset_s < line_s) for n in tune.notes)
    return tune.metre.bar_quarter if early or tune.upbeat_quarter > 0 else Fraction(0)


def _voice_track(voice: Voice, channel: int, notes: list[Note], tune: Tune) -> Any:
    import mido

    track = mido.MidiTrack()
    track.append(mido.MetaMessage("track_name", name=voice.value))
    track.append(mido.Message("program_change", channel=channel, program=MUSIC_BOX_PROGRAM))
    now = 0
    for tick, kind, pitch, velocity in _events(notes, first_tick_quarter(tune), clock_of(tune)):
        track.append(mido.Message(kind, channel=channel, note=pitch, velocity=velocity, time=tick - now))
        now = tick
    return track


def velocity_of(note: Note) -> int:
    """Key velocity: by how far the tooth swings, where that is known, else by the voice."""
    if note.swing is None:
        return LOUDNESS[note.voice]
    # loudness goes with the square of the velocity: DLS level 1, 40 log10 (velocity / 127) dB, from memory
    return max(1, min(127, round(LOUDNESS[Voice.MELODY] * sqrt(note.swing))))


def _events(notes: list[Note], before: Fraction, clock: Clock) -> list[tuple[int, str, int, int]]:
    """(tick, "note_on" or "note_off", pitch, velocity) in order; a pitch struck again is first let go."""
    spans: dict[int, dict[tuple[int, int | None], tuple[int, int]]] = {}
    for note in notes:
        if note.silent or note.swing == 0:
            continue
        start, end = note_ticks(note, before, clock)
        # the same tooth twice at once is one sound, two teeth of a pitch are two
        spans.setdefault(note.pitch, {})[start, note.tooth] = (end, velocity_of(note))
    events = []
    for pitch, struck in spans.items():
        starts = sorted({start for start, _ in struck})
        following = dict(pairwise(starts))
        for (start, _), (end, velocity) in struck.items():
            events.append((start, 1, pitch, velocity))
            events.append((max(start + 1, min(end, following.get(start, end))), 0, pitch, 0))
    return [(tick, "note_on" if on else "note_off", pitch, velocity) for tick, on, pitch, velocity in sorted(events)]


def note_ticks(note: Note, before: Fraction, clock: Clock) -> tuple[int, int]:
    """First and last tick of a note in the file."""
    place = round((note.onset_quarter + before) * TICKS_PER_QUARTER)
    length = max(1, round(note.duration_quarter * TICKS_PER_QUARTER))
    if note.onset_s is not None:
        start = max(0, clock.tick_of(note.onset_s))
        return start, max(start + 1, place) if note.grace else start + length
    if note.grace:
        return max(0, place - GRACE_TICKS), max(1, place)
    return place, place + length
