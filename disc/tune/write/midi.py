"""A tune or a turn of strikes as a Standard MIDI File, through mido.

One tick grid: TICKS_PER_QUARTER ticks to the quarter, tempo from the tune's quarter_s (itself from revolution_s). Time
0 of the file is the start of the first bar, the upbeat's bar included. Program: "Music Box" of General MIDI level 1.
"""

from __future__ import annotations

import io
from fractions import Fraction
from typing import Any

from disc.records import Note, Tune, Voice

# 2^5 * 3 * 5: sixteenths, triplets and quintuplets fall on whole ticks.
TICKS_PER_QUARTER = 480
# General MIDI level 1 sound set (MIDI Manufacturers Association, 1991): instrument 11, counted from 1, is Music Box.
MUSIC_BOX_PROGRAM = 11 - 1
LOUDNESS = {Voice.MELODY: 96, Voice.ACCOMPANIMENT: 76}
GRACE_TICKS = 40  # a grace note sounds this long before its note: a twelfth of a quarter, common practice


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
    track.append(mido.MetaMessage("set_tempo", tempo=round(tune.quarter_s * 1_000_000)))
    track.append(mido.MetaMessage("time_signature", numerator=tune.metre.beats, denominator=tune.metre.unit))
    track.append(mido.MetaMessage("key_signature", key=_signature_name(tune)))
    return track


def _signature_name(tune: Tune) -> str:
    """The signature in MIDI's terms: only major and minor exist, so a mode takes the major key of its signature."""
    minor = tune.key.mode == "minor"
    index = tune.key.fifths + (3 if minor else 0) + 1
    letter = "FCGDAEB"[index % 7]
    return letter + {-1: "b", 0: "", 1: "#"}[index // 7] + ("m" if minor else "")


def first_tick_quarter(tune: Tune) -> Fraction:
    """Quarters from bar 1 back to time 0 of the file: one whole bar if anything sounds before bar 1, else 0."""
    early = any(note.onset_quarter < 0 for note in tune.notes)
    return tune.metre.bar_quarter if early or tune.upbeat_quarter > 0 else Fraction(0)


def _voice_track(voice: Voice, channel: int, notes: list[Note], tune: Tune) -> Any:
    import mido

    track = mido.MidiTrack()
    track.append(mido.MetaMessage("track_name", name=voice.value))
    track.append(mido.Message("program_change", channel=channel, program=MUSIC_BOX_PROGRAM))
    now = 0
    for tick, kind, pitch in _events(notes, first_tick_quarter(tune)):
        velocity = LOUDNESS[voice] if kind == "note_on" else 0
        track.append(mido.Message(kind, channel=channel, note=pitch, velocity=velocity, time=tick - now))
        now = tick
    return track


def _events(notes: list[Note], before: Fraction) -> list[tuple[int, str, int]]:
    """(tick, "note_on" or "note_off", pitch) in order; a tooth struck again is first let go."""
    starts: dict[int, list[tuple[int, int]]] = {}
    for note in notes:
        start, end = note_ticks(note, before)
        starts.setdefault(note.pitch, []).append((start, end))
    events = []
    for pitch, spans in starts.items():
        spans.sort()
        for index, (start, end) in enumerate(spans):
            following = spans[index + 1][0] if index + 1 < len(spans) else end
            if following == start and index + 1 < len(spans):
                continue  # the same tooth twice at once is one sound
            events.append((start, 1, pitch))
            events.append((max(start + 1, min(end, following)), 0, pitch))
    return [(tick, "note_on" if on else "note_off", pitch) for tick, on, pitch in sorted(events)]


def note_ticks(note: Note, before: Fraction) -> tuple[int, int]:
    """First and last tick of a note in the file."""
    start = round((note.onset_quarter + before) * TICKS_PER_QUARTER)
    if note.grace:
        return max(0, start - GRACE_TICKS), max(1, start)
    return start, start + max(1, round(note.duration_quarter * TICKS_PER_QUARTER))
