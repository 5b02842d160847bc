"""A tune's ornaments as notes that pins can play: small notes before their note, which keeps its place.

Signs are played as short as a comb can: a trill as a short shake from above, a mordent with the note below, an inverted
one with the note above, a turn from above round the note; neighbours are those of the key's scale. From memory of
tutors of 1750 to 1830, no source; there they stand on the beat, here before it, so that the tune keeps its time
whatever the comb has to leave out. Where a tooth would have to come back too soon, the arranger takes its double.
"""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from fractions import Fraction

from disc.design.arrange.timing import written_quarter_s
from disc.errors import BadInput
from disc.records import Key
from disc.tune.score.records import OrnamentSigned, Rank, ScoreIn, ScoreNote
from disc.tune.settings import MODE_STEPS
from disc.words import counted

# Unless said otherwise: chosen by hand, no source.
GRACE_S = 0.07  # from one small note to the next; players' and the reader's (tune/read/voices/ornaments.py) middle
QUICKEST_S = 0.045  # quicker than this they sound as a chord
MOST_OF_GAP = 0.5  # of the time since the part's last note that an ornament may fill
SHORT = Fraction(1, 8)  # quarters that a small note is written to last
SCALE = (0, 2, 4, 5, 7, 9, 11)  # of a major key, semitones; theory of music
# Steps of the scale from the note, before it.
PLAYED = {"trill": (1, 0, 1), "mordent": (0, -1), "inverted mordent": (0, 1), "turn": (1, 0, -1)}


class Ornaments(StrEnum):
    """What becomes of them."""

    PLAYED = "played"
    NONE = "none"


def ornaments_from(word: str) -> Ornaments:
    """The choice a word stands for. Raises BadInput."""
    try:
        return Ornaments(word.strip().lower())
    except ValueError:
        raise BadInput(f"ornaments as {word!r}? Give --ornaments played or none.") from None


def with_ornaments(score: ScoreIn, wanted: Ornaments = Ornaments.PLAYED) -> ScoreIn:
    """The score with the notes of its ornaments, and a remark on what became of them."""
    if not score.ornaments:
        return score
    count = len(score.ornaments)
    if wanted is Ornaments.NONE:
        return replace(score, ornaments=(), remarks=(*_other_remarks(score), f"{counted(count, 'ornament')} left out"))
    made: list[ScoreNote] = []
    quick = 0
    for ornament in score.ornaments:
        notes = _notes(score, ornament)
        made += notes
        quick += not notes
    before = "its note" if count - quick == 1 else "their notes"
    remarks = [f"{counted(count - quick, 'ornament')} played before {before} (--ornaments none leaves them out)"]
    if quick:
        remarks.append(f"{counted(quick, 'ornament')} left out: there is no time for them")
    ordered = sorted((*score.notes, *made), key=lambda n: (n.onset_quarter, n.rank is not Rank.ORNAMENT, n.pitch))
    return replace(
        score, notes=tuple(ordered), ornaments=(), remarks=(*_other_remarks(score), *(remarks if made else remarks[1:]))
    )


def _other_remarks(score: ScoreIn) -> tuple[str, ...]:
    """What the reader left out besides small notes."""
    return tuple(remark for remark in score.remarks if "grace note" not in remark)


def _notes(score: ScoreIn, ornament: OrnamentSigned) -> list[ScoreNote]:
    """An ornament's notes, in order; none where the time since the note before is too short."""
    pitches = _pitches(ornament, score.key)
    before = [
        n.onset_quarter for n in score.notes if n.part == ornament.part and n.onset_quarter < ornament.onset_quarter
    ]
    apart_s = GRACE_S
    if before:
        gap_s = float(ornament.onset_quarter - max(before)) * written_quarter_s(score)
        apart_s = min(GRACE_S, MOST_OF_GAP * gap_s / max(1, len(pitches)))
    if apart_s < QUICKEST_S or not pitches:
        return []
    count = len(pitches)
    return [
        ScoreNote(ornament.onset_quarter, SHORT, pitch, Rank.ORNAMENT, ornament.part, (count - i) * apart_s)
        for i, pitch in enumerate(pitches)
    ]


def _pitches(ornament: OrnamentSigned, key: Key | None) -> tuple[int, ...]:
    """The pitches before the note: those written, or what the sign stands for."""
    if ornament.graces or ornament.sign not in PLAYED:
        return ornament.graces
    return tuple(_step(ornament.pitch, steps, key) for steps in PLAYED[ornament.sign])


def _step(pitch: int, steps: int, key: Key | None) -> int:
    """A neighbour in the key's scale; in C major where the file names no key."""
    if steps == 0:
        return pitch
    major = 0 if key is None else (key.tonic - MODE_STEPS[key.mode]) % 12
    classes = {(major + step) % 12 for step in SCALE}
    return next(p for p in (pitch + steps, pitch + 2 * steps, pitch + 3 * steps) if p % 12 in classes)
