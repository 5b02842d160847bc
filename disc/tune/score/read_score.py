"""A tune from a file: MIDI, MusicXML (plain or .mxl), ABC or kern, read safely to exact quarters.

Open read_score first. score_safety.py decides what the file is and refuses bombs; score_midi.py and score_print.py
read; score_ranks.py says which notes are melody, bass or inner parts. Nothing is fetched, nothing is run from the file.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from disc.errors import BadInput
from disc.tune.score.lead import leading_part, part_named
from disc.tune.score.midi_in import read_midi
from disc.tune.score.print_in import read_section, sections
from disc.tune.score.ranks import rank_notes
from disc.tune.score.records import Part, ScoreIn
from disc.tune.score.safety import ScoreKind, open_score

MOST_TUNES = 2000  # a printed collection; larger ones are split by their own index


def read_score(path: Path, melody: str | None = None) -> tuple[ScoreIn, ...]:
    """Every tune in the file, in its order; one for all kinds but ABC and kern collections.

    melody: the part that carries the tune, by its number from 1 or its name; None: it is found.
    A tune of a collection that is silent or damaged is left out as long as one can be read. Raises BadInput with one
    line if the file is absent, no score, damaged, a bomb, silent, only percussion, or longer than half an hour.
    """
    file = open_score(path)
    if file.kind is ScoreKind.MIDI:
        return (_ranked(read_midi(file), melody),)
    texts = sections(file)
    if len(texts) > MOST_TUNES:
        raise BadInput(f"{path}: {len(texts)} tunes in one file; at most {MOST_TUNES} are read. Split the file.")
    tunes: list[ScoreIn] = []
    first_fault: BadInput | None = None
    for number, text in enumerate(texts, start=1):
        name = path.stem if len(texts) == 1 else f"{path.stem} {number}"
        try:
            tunes += [_ranked(score, melody) for score in read_section(file, text, name)]
        except BadInput as fault:
            first_fault = first_fault or fault
    if not tunes:
        raise first_fault or BadInput(f"{path}: there are no notes in it. A comb needs a tune with pitches.")
    return tuple(tunes)


def _ranked(score: ScoreIn, melody: str | None) -> ScoreIn:
    """The score with its notes ranked, and which part was taken for the tune."""
    known = dict(enumerate(score.parts))
    sounding = {number: known.get(number, Part()) for number in sorted({note.part for note in score.notes})}
    if len(sounding) < 2 and melody is None:
        return replace(score, notes=rank_notes(score.notes))
    lead = leading_part(score.notes, sounding) if melody is None else part_named(melody, sounding, score.title)
    return replace(score, notes=rank_notes(score.notes, lead), melody_part=lead)
