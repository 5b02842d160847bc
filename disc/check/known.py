"""What a known tune says: which notes are absent, what it does not have, and how far it may be believed.

A disc's arrangement differs from any print: the accompaniment is the maker's own, so strikes that the print lacks are
no faults, and where the print has notes that the disc lacks, the maker may have left them out. So the reference is
weighed by what it explains on this disc: by register, how large a share of the strikes it has; and how many of its
notes are absent against how many pins a disc loses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.check.evidence import KNOWN, limited, log_odds
from disc.check.grid import beat_lags_s
from disc.check.places import Bench, Place, place_without_hole, witness_teeth
from disc.check.repeats import Heard
from disc.frame import FloatArray
from disc.library.records import Alignment, ReferenceTune
from disc.records import Evidence

REGISTER_SEMITONES = 2.5  # blur of the register over which a reference's share of the strikes is taken
STRIKES_BEFORE = 1.0  # the share is drawn towards one half as if so many strikes had been seen before
# Pins gone, as a share of all, where a disc shows any sign of damage, and where it shows none. No source: the middle of
# what the benchmark's brief names (3 to 12 %), and next to nothing.
USUAL_LOSS = 0.07
NO_SIGN_LOSS = 0.002
LEFT_OUT = 0.01  # share of printed notes that a maker leaves out though there is room; no source
ABSENT_WORDS = "the known tune has a note here that no pin plays"
FULL_CROWD = 0.45  # Place.crowd from which a note may have been left out for want of room


@dataclass(frozen=True, slots=True)
class Known:
    """A reference on this disc. absent_s, absent_sound: shapes (n,), notes that no strike plays, where they would be.

    from_s, to_s: what the reference covers. share: by sound, the share of the disc's strikes that it has.
    """

    title: str
    absent_s: FloatArray
    absent_sound: npt.NDArray[np.int64]
    agreeing: int
    from_s: float
    to_s: float
    share: dict[int, float]


def known_of(heard: Heard, reference: ReferenceTune, alignment: Alignment) -> Known:
    """What the laid-over reference says. A displaced note counts as there: its pin stands, in a wrong place."""
    agree = [pair.strike for pair in (*alignment.agree, *alignment.displaced)]
    has = np.zeros(len(heard.t_s), dtype=bool)
    has[agree] = True
    absent = [j for j in alignment.absent if j in alignment.expected_s]
    return Known(
        reference.title,
        np.array([alignment.expected_s[j] for j in absent]),
        np.array([int(reference.pitch[j] + alignment.transposition) for j in absent], dtype=np.int64),
        len(agree),
        float(heard.t_s[has].min()),
        float(heard.t_s[has].max()),
        _share(heard, has),
    )


def _share(heard: Heard, has: npt.NDArray[np.bool_]) -> dict[int, float]:
    share = {}
    for sound in range(int(heard.sound.min()) - 12, int(heard.sound.max()) + 13):
        weight = np.exp(-0.5 * ((heard.sound - sound) / REGISTER_SEMITONES) ** 2)
        share[sound] = float((weight[has].sum() + 0.5 * STRIKES_BEFORE) / (weight.sum() + STRIKES_BEFORE))
    return share


def absent_places(known: Known, heard: Heard, bench: Bench, sound_of_tooth: dict[int, int]) -> tuple[Place, ...]:
    """Where pins for the absent notes would have stood; notes without a tooth, or without room, are left out."""
    places = []
    for at_s, sound in zip(known.absent_s.tolist(), known.absent_sound.tolist(), strict=True):
        teeth = witness_teeth(heard, heard_lags(heard), at_s, sound)
        place = place_without_hole(at_s, sound, bench, sound_of_tooth, teeth)
        if place is not None and place.crowd < FULL_CROWD:
            places.append(place)
    return tuple(places)


def heard_lags(heard: Heard) -> FloatArray:
    """Whole beats over the turn, both ways."""
    return beat_lags_s(heard.grid, float(np.ptp(heard.t_s)))


def hole_evidence(known: Known, place: Place, tolerance_s: float) -> tuple[Evidence, ...]:
    """What the reference says to an empty hole; nothing outside of what it covers."""
    share = known.share.get(place.sound, 0.5)
    if _is_absent(known, place, tolerance_s):
        by_chance = 0.01 + 2.0 * tolerance_s * len(known.absent_s) / max(known.to_s - known.from_s, 1.0)
        return (Evidence(KNOWN, ABSENT_WORDS, limited(math.log(share / min(by_chance, 0.5)))),)
    if not _covers(known, place):
        return ()
    return (Evidence(KNOWN, _lacks_words(share), limited(math.log(1.0 - share))),)


def gap_evidence(
    known: Known, place: Place, tolerance_s: float, signs: bool, prior_log_odds: float
) -> tuple[Evidence, ...]:
    """What the reference says to a place without a hole. prior_log_odds: of a gap before it spoke."""
    if _is_absent(known, place, tolerance_s):
        loss = USUAL_LOSS if signs else NO_SIGN_LOSS
        absent = len(known.absent_s) / max(len(known.absent_s) + known.agreeing, 1)
        left_out = max(absent - loss, 0.0) + LEFT_OUT
        worth = log_odds(loss / (loss + left_out)) - prior_log_odds
        return (Evidence(KNOWN, ABSENT_WORDS, limited(worth)),)
    if not _covers(known, place):
        return ()
    share = known.share.get(place.sound, 0.5)
    return (Evidence(KNOWN, _lacks_words(share), limited(math.log(1.0 - share))),)


def _is_absent(known: Known, place: Place, tolerance_s: float) -> bool:
    near = np.abs(known.absent_s - place.onset_s) < tolerance_s
    return bool((near & (known.absent_sound == place.sound)).any())


def _covers(known: Known, place: Place) -> bool:
    return known.from_s <= place.onset_s <= known.to_s


def _lacks_words(share: float) -> str:
    return f"the known tune has no such note here; of the strikes in this register it has {100 * share:.0f} %"
