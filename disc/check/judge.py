"""The whole check of one disc: pins in, findings out. Pure; check_job.py ties it to a job folder.

spread of the sound pins -> what is seen -> what there is no room for -> what the music wants, in holes and without
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from disc.check.beats import off_beat_findings
from disc.check.evidence import combine, limited, probability_of
from disc.check.gaps import candidate_places
from disc.check.grid import Grid, grid_of
from disc.check.holes import hole_finding, is_empty_hole
from disc.check.kinds import Kind
from disc.check.losses import has_signs, shift_of_share
from disc.check.mechanical import mechanical_findings
from disc.check.music import music_evidence
from disc.check.places import Bench, Place, bench_of, place_of_hole
from disc.check.repeats import Heard, hear, sounds_of_teeth
from disc.check.seen import seen_findings
from disc.check.spread import Spread, adopt_strays, measure_spread
from disc.check.weights import load_weights
from disc.comb.assign import assign_teeth
from disc.comb.strikes import strikes_from_pins
from disc.frame import onset_s, turn_deg
from disc.records import Comb, Evidence, Finding, Pin, Plate, Strike, Tune

REPORT_FROM = 0.5
FEWEST_STRIKES = 12  # fewer say nothing about each other


@dataclass(frozen=True, slots=True)
class Disc:
    """What is known of a disc when it is checked. pins: as read, with or without teeth; tune: None if not read."""

    pins: tuple[Pin, ...]
    comb: Comb
    plate: Plate
    tune: Tune | None = None
    fixed_teeth: dict[int, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Judgement:
    """Findings, in the order in which a hand goes round the disc, and what they rest on."""

    findings: tuple[Finding, ...]
    spread: Spread
    grid: Grid | None = None


def judge(disc: Disc) -> Judgement:
    """Findings about one disc."""
    assignment = assign_teeth(disc.pins, disc.comb, disc.fixed_teeth)
    spread = measure_spread(assignment, disc.comb)
    pins = adopt_strays(assignment.pins, disc.comb, spread)
    strikes = strikes_from_pins(pins, disc.comb, disc.plate)
    seen = seen_findings(pins, disc.plate, spread)
    mechanical = mechanical_findings(pins, disc.comb, disc.plate, spread, strikes)
    heard = _heard(disc, strikes)
    holes = judge_holes(disc, pins, spread, heard)
    gaps = judge_gaps(disc, pins, spread, heard, seen)
    late = off_beat_findings(pins, disc.tune, strikes) if disc.tune is not None else ()
    grid = heard.grid if heard else None
    findings = [_in_music(f, disc, grid) for f in (*holes, *gaps, *seen, *mechanical, *late)]
    return Judgement(in_order(findings), spread, grid)


def judge_holes(disc: Disc, pins: Sequence[Pin], spread: Spread, heard: Heard | None) -> tuple[Finding, ...]:
    """A finding for every empty hole: missing, abandoned or in doubt."""
    sounds = sounds_of_teeth(disc.comb)
    bench = bench_of(pins, disc.comb, disc.plate, spread)
    empty = [pin for pin in pins if is_empty_hole(pin)]
    places = {pin.id: place for pin in empty if (place := place_of_hole(pin, bench, sounds)) is not None}
    wanted = _wanted(heard, list(places.values()), "hole")
    told = dict(zip(places, wanted, strict=True))
    return tuple(hole_finding(pin, places.get(pin.id), spread, told.get(pin.id, ())) for pin in empty)


def judge_gaps(
    disc: Disc, pins: Sequence[Pin], spread: Spread, heard: Heard | None, seen: Sequence[Finding]
) -> tuple[Finding, ...]:
    """Missing pins without a hole: places where the music alone wants a strike."""
    if heard is None:
        return ()
    bench = bench_of(pins, disc.comb, disc.plate, spread)
    places = _without_holes(candidate_places(heard, bench, sounds_of_teeth(disc.comb)), pins, bench)
    wanted = _wanted(heard, places, "gap")
    prior = load_weights("gap").prior_log_odds
    bent = {f.pin_id for f in seen if f.kind == Kind.BENT and f.pin_id is not None}
    worth = [sum(limited(e.weight) for e in evidence) for evidence in wanted]
    prior += shift_of_share(worth, prior, has_signs(pins, bent))
    findings = []
    for place, evidence in zip(places, wanted, strict=True):
        probability = combine(probability_of(prior), evidence)
        if probability >= REPORT_FROM:
            findings.append(_gap_finding(place, probability, evidence))
    return tuple(findings)


def _gap_finding(place: Place, probability: float, evidence: tuple[Evidence, ...]) -> Finding:
    return Finding(
        Kind.MISSING.value, place.side, place.r_mm, place.theta_deg, probability, evidence, tooth=place.tooth
    )


def _without_holes(places: Sequence[Place], pins: Sequence[Pin], bench: Bench) -> list[Place]:
    """Candidates that no empty hole or stub accounts for already."""
    sounds = sounds_of_teeth(bench.comb)
    taken = []
    for pin in pins:
        if not pin.plays and (place := place_of_hole(pin, bench, sounds)) is not None:
            taken.append((place.sound, place.onset_s))
    near_s = 0.1  # a hole this near is the same place, whatever the setting error
    return [p for p in places if not any(s == p.sound and abs(t - p.onset_s) < near_s for s, t in taken)]


def _wanted(heard: Heard | None, places: Sequence[Place], table: str) -> list[tuple[Evidence, ...]]:
    if heard is None:
        return [() for _ in places]
    return music_evidence(heard, places, load_weights(table))


def _heard(disc: Disc, strikes: Sequence[Strike]) -> Heard | None:
    """The strikes on the tune's grid; None without a tune or with too few strikes to say anything."""
    if disc.tune is None or len(strikes) < FEWEST_STRIKES:
        return None
    return hear(strikes, grid_of(disc.tune, strikes), sounds_of_teeth(disc.comb))


def _in_music(finding: Finding, disc: Disc, grid: Grid | None) -> Finding:
    """The finding with its bar and beat."""
    if grid is None or finding.tooth is None:
        return finding
    tip = disc.comb.tooth(finding.tooth).tip_theta_deg or 0.0
    turned = turn_deg(finding.theta_deg, tip, disc.plate.turns)
    bar, beat = grid.bar_and_beat(float(onset_s(turned, disc.plate.revolution_s)))
    return replace(finding, bar=bar, beat=beat)


def in_order(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Sorted by face, angle and radius: the order in which a hand goes round the disc."""
    return tuple(sorted(findings, key=lambda f: (f.side.value != "upper", f.theta_deg, f.r_mm, f.kind)))
