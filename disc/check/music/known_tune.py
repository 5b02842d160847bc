"""What a known tune says: which notes are absent, what it does not have, and how far it may be believed.

A disc's arrangement differs from any print: the accompaniment is the maker's own, so strikes that the print lacks are
no faults, and where the print has notes that the disc lacks, the maker may have left them out. So the reference is
weighed by what it explains on this disc: by register, how large a share of the strikes it has; and how many of its
notes are absent against how many pins a disc loses.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from disc.check.evidence import KNOWN, combine, limited
from disc.check.kinds import Kind
from disc.check.music.beats import LEAST_LATE_S, LEAST_SIGMAS
from disc.check.music.music_observations import stands_alone
from disc.check.music.music_places import MusicSite, PlayingPins, place_without_hole
from disc.check.music.repeats import StrikesHeard
from disc.check.photo.photo_findings import finding_at
from disc.frame import FloatArray
from disc.library.records import Alignment, ReferenceTune
from disc.records import Evidence, Finding, Pin

# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
REGISTER_SEMITONES = 2.5  # blur of the register over which a reference's share of the strikes is taken
STRIKES_BEFORE = 1.0  # the share is drawn towards one half as if so many strikes had been seen before
# Pins gone, as a share of all, where a disc shows any sign of damage, and where it shows none. No source: the middle of
# what the benchmark's brief names (3 to 12 %), and next to nothing.
USUAL_LOSS = 0.07
NO_SIGN_LOSS = 0.00003  # next to nothing, as said above
LEFT_OUT = 0.01  # share of printed notes that a maker leaves out though there is room; no source
MOST_LOSS = 0.15  # where a larger share of the notes is absent, it is another version of the tune
# Of what the upper line has and the print has not, so much shows again as notes of the print left out. No source.
OTHER_VERSION = 0.3
# A strike of the right tooth off the beat grid beside an absent note: hardly ever chance where the print is this tune.
PRIOR_DISPLACED = 0.02
LEAST_BY_CHANCE = 0.01  # that an empty hole lies by chance where the print has an absent note; chosen by hand
DISPLACED_WORTH = 6.0  # log-odds; chosen by hand
ABSENT_WORDS = "the known tune has a note here that no pin plays"
FULL_CROWD = 0.25  # Place.crowd from which a note may have been left out for want of room


@dataclass(frozen=True, slots=True)
class Known:
    """A reference on this disc. absent_s, absent_sound: shapes (n,), notes that no strike plays, where they would be.

    from_s, to_s: what the reference covers. share: by sound, the share of the disc's strikes that it has; upper_share:
    the same of the disc's upper line, where any print should have all of them. moved: (pin id, seconds late) of notes
    that are there, but off their place and off the beat.
    """

    title: str
    absent_s: FloatArray
    absent_sound: npt.NDArray[np.int64]
    agreeing: int
    upper_share: float
    from_s: float
    to_s: float
    share: dict[int, float]
    moved: tuple[tuple[int | None, float], ...] = ()


def known_of(
    heard: StrikesHeard, reference: ReferenceTune, alignment: Alignment, pin_ids: Sequence[int | None] = ()
) -> Known:
    """What the laid-over reference says. pin_ids: of the strikes, in their order, for naming displaced pins.

    A strike an octave off its note, or beside it in time but on a beat of its own, plays something else: the note is
    absent then (and left out again where the comb has no tooth for it). A strike beside its note and off the beat grid
    is that note, displaced; one that lies beside it by no more than the setting error explains is that note, set so.
    """
    shift = round(alignment.transposition)
    octave_off = [pair for pair in alignment.agree if pair.octaves]
    alone = stands_alone(heard)
    least_s = max(LEAST_LATE_S, LEAST_SIGMAS * heard.grid.sigma_s)
    near = [pair for pair in alignment.displaced if abs(pair.late_s) < least_s]
    moved = [pair for pair in alignment.displaced if pair not in near and alone[pair.strike]]
    away = [pair for pair in alignment.displaced if pair not in near and pair not in moved]
    has = np.zeros(len(heard.t_s), dtype=bool)
    has[[pair.strike for pair in (*alignment.agree, *near, *moved)]] = True
    absent = [*alignment.absent, *(pair.note for pair in (*octave_off, *away))]
    absent = sorted(note for note in absent if note in alignment.expected_s)
    return Known(
        title=reference.title,
        absent_s=np.array([alignment.expected_s[note] for note in absent]),
        absent_sound=np.array([int(reference.pitch[note]) + shift for note in absent], dtype=np.int64),
        agreeing=len(alignment.agree) + len(near) - len(octave_off),
        upper_share=_upper_share(heard, has),
        from_s=float(heard.t_s[has].min()),
        to_s=float(heard.t_s[has].max()),
        share=_share(heard, has),
        moved=tuple((pin_ids[pair.strike], pair.late_s) for pair in moved if pair.strike < len(pin_ids)),
    )


def displaced_findings(pins: Sequence[Pin], known: Known) -> tuple[Finding, ...]:
    """Pins that strike beside their note of the known tune, off the beat grid."""
    late_by_pin = dict(known.moved)
    findings = []
    for pin in pins:
        late_s = late_by_pin.get(pin.id)
        if late_s is not None:
            words = f"the known tune has this note {1000 * abs(late_s):.0f} ms {'before' if late_s > 0 else 'after'} it"
            evidence = Evidence(KNOWN, words, DISPLACED_WORTH * known.upper_share)
            findings.append(finding_at(pin, Kind.DISPLACED, combine(PRIOR_DISPLACED, [evidence]), evidence))
    return tuple(findings)


def _share(heard: StrikesHeard, has: npt.NDArray[np.bool_]) -> dict[int, float]:
    share = {}
    for sound in range(int(heard.sound.min()) - 12, int(heard.sound.max()) + 13):
        weight = np.exp(-0.5 * ((heard.sound - sound) / REGISTER_SEMITONES) ** 2)
        share[sound] = float((weight[has].sum() + 0.5 * STRIKES_BEFORE) / (weight.sum() + STRIKES_BEFORE))
    return share


def _upper_share(heard: StrikesHeard, has: npt.NDArray[np.bool_]) -> float:
    """Share of the strikes with nothing higher within half a beat that the reference has."""
    near = np.abs(heard.t_s[:, None] - heard.t_s[None, :]) < 0.5 * heard.grid.beat_s
    upper = ~(near & (heard.sound[None, :] > heard.sound[:, None])).any(axis=1)
    inside = (heard.t_s >= heard.t_s[has].min()) & (heard.t_s <= heard.t_s[has].max())
    return float(has[upper & inside].mean()) if (upper & inside).any() else 0.0


def absent_places(known: Known, bench: PlayingPins, sound_of_tooth: dict[int, int]) -> tuple[MusicSite, ...]:
    """Where pins for the absent notes would have stood; notes without a tooth, or without room, are left out."""
    places = []
    for at_s, sound in zip(known.absent_s.tolist(), known.absent_sound.tolist(), strict=True):
        place = place_without_hole(at_s, sound, bench, sound_of_tooth)
        if place is not None and place.crowd < FULL_CROWD:
            places.append(place)
    return tuple(places)


def hole_evidence(known: Known, place: MusicSite, tolerance_s: float) -> tuple[Evidence, ...]:
    """What the reference says to an empty hole; nothing outside of what it covers."""
    share = known.share.get(place.sound, 0.5)
    if is_absent(known, place, tolerance_s):
        by_chance = LEAST_BY_CHANCE + 2.0 * tolerance_s * len(known.absent_s) / max(known.to_s - known.from_s, 1.0)
        return (Evidence(KNOWN, ABSENT_WORDS, limited(math.log(share / min(by_chance, 0.5)))),)
    if not _covers(known, place):
        return ()
    return (Evidence(KNOWN, _lacks_words(share), limited(math.log(1.0 - share))),)


def gap_evidence(known: Known, place: MusicSite) -> tuple[Evidence, ...]:
    """What the reference says to a place without a hole that the music asks for, where the reference does not."""
    if not _covers(known, place):
        return ()
    share = known.share.get(place.sound, 0.5)
    return (Evidence(KNOWN, _lacks_words(share), limited(math.log(1.0 - share))),)


def absent_evidence(known: Known, signs: bool) -> Evidence:
    """What an absent note is worth: a pin gone against a note left out by the maker. The prior is one half."""
    loss = USUAL_LOSS if signs else NO_SIGN_LOSS
    absent = len(known.absent_s) / max(len(known.absent_s) + known.agreeing, 1)
    left_out = max(LEFT_OUT, absent - MOST_LOSS) + OTHER_VERSION * (1.0 - known.upper_share)
    return Evidence(KNOWN, ABSENT_WORDS, limited(math.log(loss / left_out)))


def is_absent(known: Known, place: MusicSite, tolerance_s: float) -> bool:
    """Whether the reference has a note at this place that no pin plays."""
    near = np.abs(known.absent_s - place.onset_s) < tolerance_s
    return bool((near & (known.absent_sound == place.sound)).any())


def _covers(known: Known, place: MusicSite) -> bool:
    return known.from_s <= place.onset_s <= known.to_s


def _lacks_words(share: float) -> str:
    return f"the known tune has no such note here; of the strikes in this register it has {100 * share:.0f} %"
