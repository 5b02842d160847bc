"""The disc's tune as it is printed, laid over the turn: to be heard beside the disc as it plays and as it should play.

Which tune that is, a person has said (accepted a match of the library, or checked against a score). Its notes stand
where the print has them at the disc's own pace, each on the tooth that has its pitch; a note that a pin plays carries
that pin, so that score, turn and disc follow the print as they follow the disc.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from disc.check.music.known_file import load_known
from disc.desk.open_job.session import Session
from disc.errors import BadInput, DiscError, MissingPart
from disc.frame import turn_for_onset_deg
from disc.job import Job
from disc.library.accepted import accepted_tune
from disc.library.records import Alignment, ReferenceTune
from disc.records import Comb, Strike

# Unless said otherwise: chosen by hand, not measured.
NEAR_SEMITONES = 0.5  # a tooth within a quarter tone either way plays the printed note


@dataclass(frozen=True, slots=True)
class PrintedTurn:
    """strikes: the printed notes as they would sound, pin None where no pin plays one.

    toothless: notes of the print, within what the disc plays, for which the comb has no tooth.
    """

    title: str
    strikes: tuple[Strike, ...]
    toothless: int


def known_print(job: Job) -> ReferenceTune | None:
    """The tune that a person said is this disc's; None: none, or what was kept of it is damaged."""
    try:
        accepted = accepted_tune(job)
        return load_known(job) if accepted is None else accepted.tune
    except DiscError:
        return None  # told where the disc is checked


def print_title(job: Job) -> str | None:
    """What the print is called; None where there is none."""
    tune = known_print(job)
    return None if tune is None else tune.title or str(tune.key)


def lay_print(tune: ReferenceTune, strikes: tuple[Strike, ...], comb: Comb, revolution_s: float) -> PrintedTurn:
    """The print over these strikes of the disc. Raises BadInput where it does not lie on them."""
    from disc.check.music.which_tune import is_this_tune  # both bring in scipy, which the page must not wait for
    from disc.library.search.places.align import align

    heard = sorted((s for s in strikes if s.pitch is not None), key=lambda s: s.onset_s)
    if len(heard) < 2 or tune.pitch.size < 2:
        raise BadInput("the print cannot be laid over a disc that plays nothing of known pitch.")
    found = align(np.array([s.onset_s for s in heard]), np.array([s.pitch for s in heard]), tune)
    if not is_this_tune(found, min(tune.pitch.size, len(heard))):
        raise BadInput(f"{tune.title or tune.key}: this tune does not lie on the disc as its pins are now.")
    made, toothless = [], 0
    played = {p.note: heard[p.strike] for p in (*found.agree, *found.displaced) if not p.octaves}
    for note, at_s in sorted(found.expected_s.items(), key=lambda pair: pair[1]):
        strike = played.get(note)
        tooth = strike.tooth if strike is not None else _tooth_of(tune, note, found, comb)
        if tooth is None:
            toothless += 1
        elif 0.0 <= at_s < revolution_s:
            pin = None if strike is None else strike.pin_id
            made.append(Strike(float(turn_for_onset_deg(at_s, revolution_s)), at_s, tooth, pin_id=pin))
    return PrintedTurn(tune.title or str(tune.key), tuple(made), toothless)


def _tooth_of(tune: ReferenceTune, note: int, found: Alignment, comb: Comb) -> int | None:
    """The tooth that has a printed note's pitch on this disc; None if none has."""
    pitch = float(tune.pitch[note]) + found.transposition
    off = {tooth.number: abs(tooth.pitch - pitch) for tooth in comb.teeth if tooth.pitch is not None}
    best = min(off, key=off.__getitem__, default=None)
    return best if best is not None and off[best] <= NEAR_SEMITONES else None


def page_print(session: Session) -> dict[str, Any]:
    """The print for the page. Raises MissingPart where no tune is this disc's, BadInput as lay_print does."""
    derived = session.wait_for_thoughts()
    job, comb = session.job, session.comb
    tune = None if job is None else known_print(job)
    if job is None or tune is None or comb is None:
        raise MissingPart("No printed tune was said to be this disc's: check against a score (tab Findings).")
    laid = lay_print(tune, derived.should, comb, job.plate.revolution_s)
    rows = [[round(s.turn_deg, 3), round(s.onset_s, 4), s.tooth, s.pin_id, False] for s in laid.strikes]
    return {"rev": session.derived_rev, "title": laid.title, "strikes": rows, "toothless": laid.toothless}
