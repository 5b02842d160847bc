"""A tune from a file: MIDI, MusicXML (plain or .mxl), ABC or kern, read safely to exact quarters.

Open read_score first. safety.py decides what the file is and refuses bombs; midi_in.py, read_abc.py and
print_in.py read; ranks.py says which notes are melody, bass or inner parts. Nothing is fetched, nothing is run from the
file.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from disc.errors import BadInput
from disc.tune.score.abc.read_abc import music_of, read_abc_tune, split_abc
from disc.tune.score.files.safety import ScoreFile, ScoreKind, check_abc, check_counts, check_length, open_score
from disc.tune.score.lead import leading_part, part_named
from disc.tune.score.midi_in import read_midi
from disc.tune.score.printed.print_in import read_print
from disc.tune.score.printed.written import DEFAULT_QUARTER_S
from disc.tune.score.ranks import rank_notes
from disc.tune.score.records import ScoreIn, ScorePart

MANY_REPEATS = re.compile(r":\|\s*(?:\d{2,}|x)|\|:{3,}")
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
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
    found = _abc_tunes(file) if file.kind is ScoreKind.ABC else read_print(file, path.stem)
    if not found:
        raise BadInput(f"{path}: there are no notes in it. A comb needs a tune with pitches.")
    return tuple(_ranked(score, melody) for score in found)


def _abc_tunes(file: ScoreFile) -> list[ScoreIn]:
    """The tunes of an ABC file, those left out that are overfull as long as one can be read."""
    texts = split_abc(file.text)
    if len(texts) > MOST_TUNES:
        raise BadInput(f"{file.path}: {len(texts)} tunes in one file; at most {MOST_TUNES} are read. Split the file.")
    tunes: list[ScoreIn] = []
    first_fault: BadInput | None = None
    for number, text in enumerate(texts, start=1):
        name = file.path.stem if len(texts) == 1 else f"{file.path.stem} {number}"
        try:
            score = _abc_tune(file, text)
        except BadInput as fault:
            first_fault = first_fault or fault
            continue
        if score is not None:
            tunes.append(replace(score, title=score.title or name))
    if not tunes and first_fault:
        raise first_fault
    return tunes


def _abc_tune(file: ScoreFile, text: str) -> ScoreIn | None:
    check_abc(file.path, text, music_of(text))
    if MANY_REPEATS.search(text):
        raise BadInput(f"{file.path}: a section to be repeated many times. Write it out or mend the sign.")
    tune = read_abc_tune(text, 1)
    if tune is None:
        return None
    score = tune.score
    check_counts(file.path, len(score.notes), len(score.bars))
    check_length(file.path, float(score.bars[-1].end_quarter) * (score.quarter_s or DEFAULT_QUARTER_S))
    return score


def _ranked(score: ScoreIn, melody: str | None) -> ScoreIn:
    """The score with its notes ranked, and which part was taken for the tune."""
    known = dict(enumerate(score.parts))
    sounding = {number: known.get(number, ScorePart()) for number in sorted({note.part for note in score.notes})}
    if len(sounding) < 2 and melody is None:
        return replace(score, notes=rank_notes(score.notes))
    lead = leading_part(score.notes, sounding) if melody is None else part_named(melody, sounding, score.title)
    return replace(score, notes=rank_notes(score.notes, lead), melody_part=lead)
