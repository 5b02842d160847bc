"""The whole check of one disc: pins in, findings out. Pure; check_job.py ties it to a job folder.

spread of the sound pins -> what is seen -> what there is no room for -> what music and known tune want and lack
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from disc.check.kinds import Kind
from disc.check.mechanics.mechanical import mechanical_findings
from disc.check.missing_pins import Ear, judge_gaps, judge_holes
from disc.check.music.beats import off_beat_findings
from disc.check.music.known_tune import Known, displaced_findings, known_of
from disc.check.music.losses import LIKELY_LEAN, has_signs
from disc.check.music.music_grid import Grid, grid_of
from disc.check.music.music_places import bench_of
from disc.check.music.reference import best_of
from disc.check.music.repeats import Heard, hear, sounds_of_teeth
from disc.check.photo.photo_findings import seen_findings
from disc.check.photo.pin_spread import Spread, adopt_strays, measure_spread
from disc.check.recorded import join_recorded
from disc.comb.assign import assign_teeth
from disc.comb.strikes import strikes_from_pins
from disc.frame import onset_s, turn_deg
from disc.library.records import Alignment, ReferenceTune
from disc.records import Comb, Finding, Pin, Plate, Side, Strike, Tune

FEWEST_STRIKES = 12  # fewer say nothing about each other


@dataclass(frozen=True, slots=True)
class Disc:
    """What is known of a disc when it is checked.

    pins: as read, with or without teeth. tune: as read from the strikes; None if it was not. references: tunes that
    the disc may play (of one file, the one that lies best is taken). recorded: findings of a recorded turn.
    fixed_teeth: by pin id, set by a person.
    """

    pins: tuple[Pin, ...]
    comb: Comb
    plate: Plate
    tune: Tune | None = None
    references: tuple[ReferenceTune, ...] = ()
    recorded: tuple[Finding, ...] = ()
    fixed_teeth: dict[int, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Judgement:
    """Findings, in the order in which a hand goes round the disc, and what they rest on.

    grid: None if there was no tune to go by. known, reference: None if none was given, or none lies on the disc.
    """

    findings: tuple[Finding, ...]
    spread: Spread
    grid: Grid | None = None
    known: Known | None = None
    reference: ReferenceTune | None = None


def judge(disc: Disc) -> Judgement:
    """Findings about one disc."""
    assignment = assign_teeth(disc.pins, disc.comb, disc.fixed_teeth)
    spread = measure_spread(assignment, disc.comb)
    pins = adopt_strays(assignment.pins, disc.comb, spread)
    strikes = strikes_from_pins(pins, disc.comb, disc.plate)
    seen = seen_findings(pins, disc.plate, spread)
    mechanical = mechanical_findings(pins, disc.comb, disc.plate, spread, strikes)
    heard = _heard(disc, strikes)
    late = off_beat_findings(pins, disc.tune, strikes, heard) if disc.tune and heard else ()
    laid = _laid_over(disc, heard)
    known = None if heard is None or laid is None else known_of(heard, *laid, [strike.pin_id for strike in strikes])
    bent = {f.pin_id for f in seen if f.kind == Kind.BENT and f.pin_id is not None and f.probability >= LIKELY_LEAN}
    bench = bench_of(pins, disc.comb, disc.plate, spread)
    ear = Ear(bench, sounds_of_teeth(disc.comb), has_signs(pins, bent), heard, known)
    holes, gaps = judge_holes(pins, ear), judge_gaps(pins, ear)
    moved = displaced_findings(pins, known) if known is not None else ()
    grid = heard.grid if heard else None
    found = join_recorded((*holes, *gaps, *seen, *mechanical, *late, *moved), disc.recorded, pins)
    findings = [_in_music(finding, disc, grid) for finding in found]
    return Judgement(in_order(findings), spread, grid, known, None if laid is None else laid[0])


def _heard(disc: Disc, strikes: Sequence[Strike]) -> Heard | None:
    """The strikes on the tune's grid; None without a tune or with too few strikes to say anything."""
    if disc.tune is None or len(strikes) < FEWEST_STRIKES:
        return None
    return hear(strikes, grid_of(disc.tune, strikes), sounds_of_teeth(disc.comb))


def _laid_over(disc: Disc, heard: Heard | None) -> tuple[ReferenceTune, Alignment] | None:
    """The reference that lies best on the disc; None where the comb's pitches are not known."""
    if heard is None or any(tooth.pitch is None for tooth in disc.comb.teeth):
        return None
    return best_of(heard, disc.comb, disc.references)


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
    return tuple(sorted(findings, key=lambda f: (f.side is not Side.UPPER, f.theta_deg, f.r_mm, f.kind)))
