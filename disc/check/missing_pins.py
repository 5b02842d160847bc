"""Where a pin is wanted: empty holes one by one, and places without a hole that music or a known tune ask for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from disc.check.evidence import combine, probability_of
from disc.check.kinds import Kind
from disc.check.music.gaps import candidate_places
from disc.check.music.known_tune import Known, absent_evidence, absent_places, gap_evidence, hole_evidence, is_absent
from disc.check.music.music_places import MusicSite, PlayingPins, place_of_hole
from disc.check.music.music_words import music_evidence
from disc.check.music.repeats import StrikesHeard
from disc.check.photo.holes import from_behind, hole_finding, is_empty_hole
from disc.check.photo.photo_findings import alike_beside, judge_stub
from disc.check.weights import load_weights
from disc.comb.other_face import holes_through, tails
from disc.records import Condition, Evidence, Finding, Pin

# A place without a hole is named from here on: a person will look there for a plugged or filled hole, in vain if the
# music misled. Chosen on two draws of the training half of the benchmark's tunes, by music alone: P .85 R .40 (from
# 0.5: .83 and .43; from 0.7: .89 and .31).
REPORT_FROM = 0.55
# The same where holes were looked for on photographs: of nine such places between the two, on discs with their faults
# drawn anew (tests/bench/measure/calibration.py, seeds 9 and 10), none was one.
REPORT_IN_PHOTOGRAPHS_FROM = 0.7
# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
# The same where a known tune was laid over the disc and does not have it: what remains is the maker's accompaniment.
REPORT_BESIDE_KNOWN_FROM = 0.85
REPORT_KNOWN_FROM = 0.5  # where a known tune asks for it
# On a disc that shows no trace of damage, whatever asks: an untouched disc should not send anyone looking. Chosen on
# the training half.
REPORT_NO_SIGN_FROM = 0.95
STUB_FROM = 0.5  # likelier than not
SAME_PLACE_S = 0.1  # two places of one sound nearer than this are one, whatever the setting error


@dataclass(frozen=True, slots=True)
class Ear:
    """What there is to judge places by. heard, known: None where the music was not read, the tune is not known.

    signs: whether the disc shows any damage; without_trace: what that says of pins lost without a hole, log-odds;
    in_photographs: whether holes were looked for on photographs.
    """

    bench: PlayingPins
    sound_of_tooth: dict[int, int]
    signs: bool
    without_trace: float
    in_photographs: bool
    heard: StrikesHeard | None = None
    known: Known | None = None


def judge_holes(pins: Sequence[Pin], ear: Ear) -> tuple[Finding, ...]:
    """A finding for every empty hole: missing, abandoned or in doubt."""
    through = holes_through(pins)
    empty = [pin for pin in pins if is_empty_hole(pin)]
    places = {
        pin.id: place for pin in empty if (place := place_of_hole(pin, ear.bench, ear.sound_of_tooth)) is not None
    }
    told = dict(zip(places, _heard_of(list(places.values()), ear, "hole"), strict=True))
    if ear.known is not None and ear.heard is not None:
        for number, place in places.items():
            told[number] = (*told[number], *hole_evidence(ear.known, place, ear.heard.tolerance_s))
    return tuple(
        from_behind(pin, through[pin.id])
        if pin.id in through
        else hole_finding(pin, places.get(pin.id), ear.bench.spread, told.get(pin.id, ()))
        for pin in empty
    )


def judge_stubs(pins: Sequence[Pin], ear: Ear) -> tuple[Finding, ...]:
    """A finding for every pin that is broken off, by the reading, the other face and the music together."""
    stubs = [pin for pin in pins if pin.condition is Condition.STUB]
    through = tails(pins)
    places = {p.id: place for p in stubs if (place := place_of_hole(p, ear.bench, ear.sound_of_tooth)) is not None}
    told = dict(zip(places, _heard_of(list(places.values()), ear, "hole"), strict=True))
    found = (judge_stub(pin, through.get(pin.id), told.get(pin.id, ()), alike_beside(pin, stubs)) for pin in stubs)
    return tuple(finding for finding in found if finding is not None and finding.probability >= STUB_FROM)


def judge_gaps(pins: Sequence[Pin], ear: Ear) -> tuple[Finding, ...]:
    """Missing pins without a hole: places where the music, or the known tune, wants a strike."""
    if ear.heard is None:
        return ()
    places = _unexplained(candidate_places(ear.heard, ear.bench, ear.sound_of_tooth), pins, ear)
    told = _heard_of(places, ear, "gap")
    prior = load_weights("gap").prior_log_odds + ear.without_trace
    findings = []
    for place, evidence in zip(places, told, strict=True):
        if ear.known is None:
            findings.append(_gap_finding(place, prior, evidence))
        elif not is_absent(ear.known, place, ear.heard.tolerance_s):
            findings.append(_gap_finding(place, prior, (*evidence, *gap_evidence(ear.known, place))))
    alone = REPORT_IN_PHOTOGRAPHS_FROM if ear.in_photographs else REPORT_FROM
    least = _told_from(ear, alone if ear.known is None else REPORT_BESIDE_KNOWN_FROM)
    heard = [finding for finding in findings if finding.probability >= least]
    least = _told_from(ear, REPORT_KNOWN_FROM)
    asked = [finding for finding in _asked_by_known(pins, ear) if finding.probability >= least]
    return (*heard, *asked)


def _told_from(ear: Ear, usual: float) -> float:
    """The probability from which a missing pin without a hole is told."""
    return usual if ear.signs else max(usual, REPORT_NO_SIGN_FROM)


def _asked_by_known(pins: Sequence[Pin], ear: Ear) -> list[Finding]:
    """Notes of the known tune that no pin plays; the music is asked as of a hole: lost, or never there."""
    if ear.known is None or ear.heard is None:
        return []
    places = _unexplained(absent_places(ear.known, ear.bench, ear.sound_of_tooth), pins, ear)
    known = absent_evidence(ear.known, ear.signs)
    told = _heard_of(places, ear, "hole")
    return [_gap_finding(place, 0.0, (known, *evidence)) for place, evidence in zip(places, told, strict=True)]


def _gap_finding(place: MusicSite, prior_log_odds: float, evidence: tuple[Evidence, ...]) -> Finding:
    probability = combine(probability_of(prior_log_odds), evidence)
    where = place.side, place.r_mm, place.theta_deg
    return Finding(Kind.MISSING.value, *where, probability, evidence, tooth=place.tooth)


def _heard_of(places: Sequence[MusicSite], ear: Ear, table: str) -> list[tuple[Evidence, ...]]:
    if ear.heard is None:
        return [() for _ in places]
    return music_evidence(ear.heard, places, load_weights(table))


def _unexplained(places: Sequence[MusicSite], pins: Sequence[Pin], ear: Ear) -> list[MusicSite]:
    """Places that no empty hole or stub accounts for already."""
    taken = [place_of_hole(pin, ear.bench, ear.sound_of_tooth) for pin in pins if not pin.plays]
    standing = [place for place in taken if place is not None]
    return [place for place in places if not _any_near(place, standing)]


def _any_near(place: MusicSite, others: Sequence[MusicSite]) -> bool:
    return any(o.sound == place.sound and abs(o.onset_s - place.onset_s) < SAME_PLACE_S for o in others)
