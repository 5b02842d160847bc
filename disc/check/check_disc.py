"""The whole check of one disc: pins in, findings out. Pure; check_job.py ties it to a job folder.

spread of the sound pins -> what is seen -> what there is no room for -> what music and known tune want and lack
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from disc.check.kinds import Kind
from disc.check.mechanics.mechanical import mechanical_findings
from disc.check.missing_pins import Ear, judge_gaps, judge_holes, judge_stubs
from disc.check.music.beats import off_beat_findings
from disc.check.music.known_tune import Known, displaced_findings, known_of
from disc.check.music.losses import LIKELY_LEAN, signs_share, without_trace_log_odds
from disc.check.music.music_places import bench_of
from disc.check.music.repeats import StrikesHeard, hear, sounds_of_teeth
from disc.check.music.which_tune import best_of
from disc.check.photo.photo_findings import seen_findings
from disc.check.recorded import join_recorded
from disc.comb.pin_spread import Spread
from disc.library.records import ReferenceTune
from disc.records import Finding, Side
from disc.turn.bars import BarGrid
from disc.turn.one_turn import OneTurn

# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
FEWEST_STRIKES = 12  # fewer say nothing about each other


@dataclass(frozen=True, slots=True)
class Judgement:
    """Findings, in the order in which a hand goes round the disc, and what they rest on.

    grid: None if there was no tune to go by. known, reference: None if none was given, or none lies on the disc.
    """

    findings: tuple[Finding, ...]
    spread: Spread
    grid: BarGrid | None = None
    known: Known | None = None
    reference: ReferenceTune | None = None


def judge(turn: OneTurn, references: Sequence[ReferenceTune] = (), recorded: Sequence[Finding] = ()) -> Judgement:
    """Findings about one disc.

    references: tunes that the disc is known to play (of one file, the one that lies best is taken). recorded: findings
    of a recorded turn.
    """
    pins, strikes, spread = turn.pins, turn.strikes, turn.spread
    seen = seen_findings(pins, turn.plate, spread)
    mechanical = mechanical_findings(pins, turn.comb, turn.plate, spread, strikes)
    heard = _heard(turn)
    late = off_beat_findings(pins, turn.beat_tune, strikes, heard) if turn.beat_tune and heard else ()
    laid = best_of(heard, turn.comb, references) if heard is not None and turn.pitched else None
    known = None if heard is None or laid is None else known_of(heard, *laid, [strike.pin_id for strike in strikes])
    bent = {f.pin_id for f in seen if f.kind == Kind.BENT and f.pin_id is not None and f.probability >= LIKELY_LEAN}
    bench = bench_of(pins, turn.comb, turn.plate, spread)
    signs = signs_share(pins, bent)
    photographed = bool(turn.seen)
    without_trace = without_trace_log_odds(signs, photographed)
    ear = Ear(bench, sounds_of_teeth(turn.comb), bool(signs), without_trace, photographed, heard, known)
    gaps = tuple(f for f in judge_gaps(pins, ear) if turn.is_seen(f.side, f.r_mm, f.theta_deg))
    holes, stubs = judge_holes(pins, ear), judge_stubs(pins, ear)
    moved = displaced_findings(pins, known) if known is not None else ()
    found = join_recorded((*holes, *gaps, *stubs, *seen, *mechanical, *late, *moved), recorded, pins)
    findings = [_in_music(finding, turn) for finding in found]
    grid = heard.grid if heard else None
    return Judgement(in_order(findings), spread, grid, known, None if laid is None else laid[0])


def _heard(turn: OneTurn) -> StrikesHeard | None:
    """The strikes on the tune's grid; None without a beat or with too few strikes to say anything."""
    if turn.grid is None or len(turn.strikes) < FEWEST_STRIKES:
        return None
    return hear(turn.strikes, turn.grid, sounds_of_teeth(turn.comb))


def _in_music(finding: Finding, turn: OneTurn) -> Finding:
    """The finding with its bar and beat."""
    place = turn.place_of(finding.theta_deg, finding.tooth, finding.pin_id)
    return finding if place is None else replace(finding, bar=place.bar, beat=place.beat)


def in_order(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Sorted by face, angle and radius: the order in which a hand goes round the disc."""
    return tuple(sorted(findings, key=lambda f: (f.side is not Side.UPPER, f.theta_deg, f.r_mm, f.kind)))
