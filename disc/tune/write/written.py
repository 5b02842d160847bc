"""The lengths a copyist writes for notes that ring on by themselves.

A melody note lasts until the next melody note, over a bar line only where it began off the beat or fills its bar; the
last one, where it begins off the beat, is one value. An accompaniment note lasts until the next of its voice, never
over a bar line, as one plain value.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from disc.records import Metre, Note, Tune, Voice
from disc.tune.write.lengths import beat_quarter, best_single_value


def with_lengths_of_parts(tune: Tune) -> Tune:
    """The tune with the lengths to write found anew, each section by its own bars."""
    parts = tune.parts
    starts = [part.line_quarter - part.upbeat_quarter for part in parts]
    made: list[Note] = []
    for number, part in enumerate(parts):
        later = starts[number + 1] if number + 1 < len(parts) else None
        inside = [
            replace(note, onset_quarter=note.onset_quarter - part.line_quarter)
            for note in tune.notes
            if (not number or note.onset_quarter >= starts[number]) and (later is None or note.onset_quarter < later)
        ]
        end = None if later is None else later - part.line_quarter
        written = with_lengths(inside, part.metre, part.upbeat_quarter, end)
        made += [replace(note, onset_quarter=note.onset_quarter + part.line_quarter) for note in written]
    return replace(tune, notes=tuple(made))


def with_lengths(
    notes: Sequence[Note], metre: Metre, upbeat: Fraction, end: Fraction | None = None
) -> tuple[Note, ...]:
    """The notes in order, each with the length to write. upbeat: quarters; the last bar is that much shorter.

    end: where the last note ends at the latest, if not with its bar.
    """
    bar = metre.bar_quarter
    last = max((note.onset_quarter for note in notes), default=Fraction(0))
    if end is None:
        end = (last // bar + 1) * bar - upbeat
        if end <= last:
            end = (last // bar + 1) * bar
    lengths: dict[tuple[Voice, Fraction], Fraction] = {}
    for voice in Voice:
        onsets = sorted({note.onset_quarter for note in notes if note.voice is voice and not note.grace})
        for onset, following in zip(onsets, [*onsets[1:], end], strict=False):
            lengths[voice, onset] = _length(onset, max(following, onset + Fraction(1, 8)), metre, voice)
        if onsets and (onsets[-1] % bar) % beat_quarter(metre):  # no tie only to fill the end: nothing follows
            lengths[voice, onsets[-1]] = best_single_value(onsets[-1] % bar, lengths[voice, onsets[-1]], metre)
    ordered = sorted(notes, key=lambda n: (n.onset_quarter, not n.grace, n.voice is not Voice.MELODY, -n.pitch))
    return tuple(
        note if note.grace else replace(note, duration_quarter=lengths[note.voice, note.onset_quarter])
        for note in ordered
    )


def _length(onset: Fraction, following: Fraction, metre: Metre, voice: Voice) -> Fraction:
    bar = metre.bar_quarter
    inside = onset % bar
    to_line = bar - inside
    gap = following - onset
    if gap <= to_line:
        return best_single_value(inside, gap, metre) if voice is Voice.ACCOMPANIMENT else gap
    if voice is Voice.MELODY and gap <= bar and inside % Fraction(4, metre.unit):
        return gap
    return best_single_value(inside, to_line, metre) if voice is Voice.ACCOMPANIMENT else to_line
