"""What to do with each pin and each empty place, and why: the judgement of the bench put down in one place.

In: pins, and the findings with what a person said to them. Out: the tasks for each place, with the probability
that it is wanted. The rule behind every choice: prefer what can be undone, so that whatever nobody asked for is left
as it is and only spoken about. A finding that leads to more than straightening or filling an empty hole is acted on
only where a person accepted it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.check.decisions import SettledFinding, Verdict
from disc.check.kinds import Kind
from disc.frame import along_motion_mm, to_xy_mm
from disc.job.corrections import REACH_MM
from disc.records import Condition, Finding, Pin, Plate
from disc.repin.records import SURE, SURE_NOT, Operation, StationTask
from disc.turn.assumed import ways_along
from disc.words import likely

# Unless said otherwise: chosen by hand, not measured.
# An empty hole that was never checked: as likely wanted as not.
UNCHECKED = 0.5
# Tips are brought over no farther than this share of their height (about 11 degrees); beyond it the pin is set anew.
# Common practice, no source: hard wire springs back below some 10 degrees and cracks when bent much more.
BRING_OVER_SHARE = 0.2
# A pin leaning more than this may break when it is straightened. Common practice, no source.
BREAKS_FROM_DEG = 30.0
# Differences smaller than this are not worth a file stroke; common practice, no source.
LEAST_SHORTEN_MM = 0.03
# Part of a lean that is worth naming in words.
NAMED_LEAN_MM = 0.02

NOT_CHECKED = "run disc check to learn whether a pin belongs here"


@dataclass(frozen=True, slots=True)
class Verdicts:
    """All that the findings say about one pin or place, by kind."""

    by_kind: dict[Kind, SettledFinding]

    def chance(self, kind: Kind) -> float | None:
        """Probability that it is so; 0 where a person rejected it, None where nothing was found."""
        settled = self.by_kind.get(kind)
        return None if settled is None else settled.finding.probability

    def is_accepted(self, kind: Kind) -> bool:
        """Whether a person said that it is so."""
        settled = self.by_kind.get(kind)
        return settled is not None and settled.verdict is Verdict.ACCEPTED

    @property
    def any_accepted(self) -> bool:
        """Whether a person accepted any finding here."""
        return any(settled.verdict is Verdict.ACCEPTED for settled in self.by_kind.values())

    def words(self, kind: Kind) -> str:
        """The weightiest evidence, or the person's reason, in words."""
        settled = self.by_kind.get(kind)
        if settled is None:
            return ""
        if settled.decision is not None and settled.decision.reason:
            return settled.decision.reason
        strongest = sorted(settled.finding.evidence, key=lambda e: -abs(e.weight))[:2]
        return "; ".join(e.words for e in strongest)

    @property
    def finding(self) -> Finding | None:
        """Any of the findings, for bar and beat."""
        return next((s.finding for s in self.by_kind.values() if s.finding.bar is not None), None)


@dataclass(frozen=True, slots=True)
class PlaceWork:
    """Tasks at one place. wanted: the probability. anew: the pin belongs at its nominal place, not where it stands.

    may_break: it may break under the work. look: nothing is done, but a person should see it.
    """

    tasks: tuple[StationTask, ...]
    wanted: float = 1.0
    notes: tuple[str, ...] = ()
    anew: bool = False
    may_break: bool = False
    look: bool = False


def verdicts_of(pin: Pin, settled: Sequence[SettledFinding]) -> Verdicts:
    """The findings about one pin: by its number, and where a finding has none, by its place."""
    mine = [s for s in settled if s.finding.pin_id == pin.id]
    return Verdicts({Kind(s.finding.kind): s for s in sorted(mine, key=lambda s: s.finding.probability)})


def work_at_pin(pin: Pin, said: Verdicts, plate: Plate, height_mm: float | None) -> PlaceWork:
    """What to do with a pin, stub or hole. height_mm: the usual height on its track."""
    if pin.condition is Condition.UNSEEN:
        return PlaceWork(
            (StationTask(Operation.LOOK, "no photograph shows this place: what stands here is not known"),), look=True
        )
    if pin.condition is Condition.MISSING or (pin.condition is Condition.EXTRA and not pin.height_mm):
        return _empty_hole(pin, said)
    if pull := _unwanted(said):
        return pull
    if said.chance(Kind.STUB):
        return _stub(pin, said)
    if pin.condition is Condition.STUB:
        return _unlikely_stub(pin)
    if pin.condition is Condition.BENT or said.chance(Kind.BENT):
        return _leaning(pin, said, plate)
    for kind in (Kind.DISPLACED, Kind.OFF_TRACK, Kind.OFF_BEAT):
        if said.is_accepted(kind):
            return PlaceWork((), notes=(said.words(kind),), anew=True)
    if said.is_accepted(Kind.UNEVEN_HEIGHT) and height_mm and pin.height_mm:
        return _uneven(pin, said, height_mm)
    return _left_alone(pin, said)


def work_without_hole(settled: SettledFinding) -> PlaceWork:
    """A pin that music or reference wants where no hole is seen: drill and set."""
    said = Verdicts({Kind(settled.finding.kind): settled})
    chance = settled.finding.probability
    reason = said.words(Kind(settled.finding.kind)) or "a pin is wanted here"
    if chance <= SURE_NOT:
        return PlaceWork((_leave(f"not likely enough that a pin belongs here: {reason}"),))
    notes = ("no hole is seen here: look with a glass before drilling, it may be filled or plugged",)
    tasks = (StationTask(Operation.DRILL, f"no hole is seen: {reason}"), StationTask(Operation.SET, reason))
    return PlaceWork(tasks, chance, notes)


def tip_over(shift_x_mm: float, shift_y_mm: float, theta_deg: float, plate: Plate, reason: str) -> StationTask:
    """Bring a tip over by this much, disc axes; which way is said in words too."""
    toward = _direction(shift_x_mm, shift_y_mm, theta_deg, plate)
    return StationTask(Operation.STRAIGHTEN, reason, math.hypot(shift_x_mm, shift_y_mm), toward, shift_x_mm, shift_y_mm)


def is_near(finding: Finding, pin: Pin) -> bool:
    """Whether a finding speaks of a place that this pin holds."""
    if finding.side is not pin.side:
        return False
    ax, ay = to_xy_mm(finding.r_mm, finding.theta_deg)
    bx, by = to_xy_mm(pin.r_mm, pin.theta_deg)
    return float(np.hypot(ax - bx, ay - by)) <= REACH_MM


# ---- one rule for each state


def _empty_hole(pin: Pin, said: Verdicts) -> PlaceWork:
    missing, doubt, abandoned = (said.chance(k) for k in (Kind.MISSING, Kind.IN_DOUBT, Kind.ABANDONED))
    if missing is not None:
        return _fill(missing, said.words(Kind.MISSING) or "a pin belongs here and is gone")
    if doubt is not None:
        return _fill(doubt, said.words(Kind.IN_DOUBT) or "an empty hole")
    if abandoned is not None:
        return _fill(1.0 - abandoned, said.words(Kind.ABANDONED) or "neither music nor reference wants a pin here")
    if pin.condition is Condition.EXTRA:
        return PlaceWork((_leave("an empty hole that no track explains"),), 1.0, look=True)
    return _fill(UNCHECKED, "an empty hole", (NOT_CHECKED,))


def _fill(chance: float, reason: str, notes: tuple[str, ...] = ()) -> PlaceWork:
    if chance <= SURE_NOT:
        return PlaceWork((_leave(f"abandoned hole: {reason}"),), look=True)
    in_doubt = f" ({likely(chance)} that a pin belongs here)" if chance < SURE else ""
    task = StationTask(Operation.SET, f"{reason}{in_doubt}")
    return PlaceWork((task,), chance, ("clear the hole and gauge it with a drill's shank first", *notes))


def _unwanted(said: Verdicts) -> PlaceWork | None:
    for kind, why in ((Kind.EXTRA, "a pin too many"), (Kind.IN_REST_ARC, "it stands in the rest arc")):
        if said.is_accepted(kind):
            return PlaceWork((StationTask(Operation.PULL, f"{why}: {said.words(kind)}".rstrip(": ")),))
    return None


def _stub(pin: Pin, said: Verdicts) -> PlaceWork:
    chance = said.chance(Kind.STUB)
    if chance is not None and chance <= SURE_NOT:
        return _left_alone(pin, said)
    rest = f", {pin.height_mm:.2f} mm of it stand" if pin.height_mm else ""
    pull = StationTask(Operation.PULL, f"broken off{rest}; drill the rest out only if it does not draw")
    put = StationTask(Operation.SET, said.words(Kind.STUB) or "a new pin in the old hole")
    return PlaceWork((pull, put), 1.0 if chance is None else chance)


def _unlikely_stub(pin: Pin) -> PlaceWork:
    """What the reading calls a stub and nothing else bears out: dirt, a plug, a punch mark, the other face's pin."""
    where = "on no tooth's track" if pin.tooth is None else "more likely dirt, a plug or a pin of the other face"
    return PlaceWork((_leave(f"a mark that looks like a broken pin, {where}: nothing is done"),), 0.0, look=True)


def _leaning(pin: Pin, said: Verdicts, plate: Plate) -> PlaceWork:
    chance = said.chance(Kind.BENT)
    if chance is not None and chance <= SURE_NOT:
        return _left_alone(pin, said)
    wanted = 1.0 if chance is None else chance
    if pin.lean_x_mm is None or pin.lean_y_mm is None:
        task = StationTask(Operation.STRAIGHTEN, "its tip is off its root; how far was not measured")
        return PlaceWork((task,), wanted)
    lean = math.hypot(pin.lean_x_mm, pin.lean_y_mm)
    angle = math.degrees(math.atan2(lean, pin.height_mm)) if pin.height_mm else None
    leans = _direction(pin.lean_x_mm, pin.lean_y_mm, pin.theta_deg, plate)
    of_upright = f", {angle:.0f}° from upright" if angle is not None else ""
    task = tip_over(-pin.lean_x_mm, -pin.lean_y_mm, pin.theta_deg, plate, f"its tip leans {leans}{of_upright}")
    if angle is not None and angle > BREAKS_FROM_DEG:
        return PlaceWork((task,), wanted, ("it may break when it is bent back: have wire ready",), may_break=True)
    return PlaceWork((task,), wanted)


def _uneven(pin: Pin, said: Verdicts, height_mm: float) -> PlaceWork:
    if pin.height_mm is None:
        return PlaceWork((_leave("its height was not measured"),), look=True)
    over = pin.height_mm - height_mm
    reason = said.words(Kind.UNEVEN_HEIGHT) or f"{over:+.2f} mm against its track"
    if over >= LEAST_SHORTEN_MM:
        return PlaceWork((StationTask(Operation.SHORTEN, reason, over, "off the top"),))
    return PlaceWork((_leave(f"{reason}: it stands low and cannot be made longer"),), look=True)


def _left_alone(pin: Pin, said: Verdicts) -> PlaceWork:
    """A pin that nobody asked to change, with whatever was found about it."""
    open_findings = [k for k, s in said.by_kind.items() if s.finding.probability > SURE_NOT and not s.is_rejected]
    notes = tuple(f"{k.value.replace('-', ' ')}: {said.words(k)}".rstrip(": ") for k in open_findings)
    if pin.condition is Condition.EXTRA:
        sounds = "" if pin.tooth is None else f" It sounds tooth {pin.tooth}."
        reason = f"a pin that stands and that neither track nor tune explains; left until somebody decides.{sounds}"
        return PlaceWork((_leave(reason),), notes=notes, look=True)
    if notes:
        return PlaceWork((_leave("left as its maker set it unless the finding is accepted"),), notes=notes, look=True)
    return PlaceWork((_leave("stands as it should"),))


def _leave(reason: str) -> StationTask:
    return StationTask(Operation.LEAVE, reason)


def _direction(x_mm: float, y_mm: float, theta_deg: float, plate: Plate) -> str:
    """A shift at a place in words: with or against the turning (where that was said), outward or inward."""
    along, outward = along_motion_mm(x_mm, y_mm, theta_deg, plate.turns)
    parts = []
    if abs(along) >= NAMED_LEAN_MM:
        ahead, behind = ways_along(plate, "with the turning", "against the turning")
        parts.append(f"{abs(along):.2f} mm {ahead if along > 0 else behind}")
    if abs(outward) >= NAMED_LEAN_MM:
        parts.append(f"{abs(outward):.2f} mm {'outward' if outward > 0 else 'inward'}")
    return " and ".join(parts) or "a hair"
