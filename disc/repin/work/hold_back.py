"""What is held back: work that cannot be undone, wherever the place, the disc or its unseen face leaves doubt.

In: the work at one place, and what is in doubt of the disc as a whole. Out: the work as it is ordered, and what follows
only if a look says so.

Which doubt holds back what:
- Something was likely given wrongly (faces, comb, diameter, slot): no place is certain.
- The other face is not seen at a place (not photographed, covered, blurred): a pin of that face may go through the
  plate, its foot looks like a stub, and pulling it would draw a sound pin. So a pull waits however sure the reading is
  of the mark; a hole may not be drilled where a pin of the other face may stand.
- The way of turning was never said, or the music speaks against it: a stub is where it is, whichever way the disc
  goes, and may be pulled by the photographs' word. But what the music or a known tune adds to that word was read in a
  direction nobody vouches for, and does not count; and where a new hole comes to lie rests on that direction alone, so
  that it is not drilled, accepted or not, before the direction is said.
- The tune that was given does not lie on the disc: what music and tune add does not count either.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

from disc.check.evidence import without_music
from disc.doubts import blurred_faces, misfits
from disc.photo.seen.seen_map import SeenMap, is_seen
from disc.records import About, Doubt, Finding, Side
from disc.repin.records import CERTAIN, IRREVERSIBLE, SURE_NOT, Operation, StationTask
from disc.repin.work.what_to_do import PlaceWork, Verdicts
from disc.words import likely

# What a loupe must show before each operation that cannot be undone, and what it means if it does not.
QUESTIONS = {
    Operation.PULL: "is there a disc of cut steel of the wire's size in the hole? If so:",
    Operation.DRILL: "is there a filled or plugged hole, or bare metal where a pin is wanted? If a pin belongs here:",
    Operation.PLUG: "is the pin really at the wrong place? If so:",
    Operation.SHORTEN: "does it stand higher than its neighbours, seen from the side? If so:",
}
IF_NOT = "if not, nothing is done here"
WHICH_WAY = "settle first which way the disc turns: where this pin belongs rests on it"


class First(StrEnum):
    """What comes before the work, in the words of the work list."""

    LOOK = "look with a loupe first"
    SETTLE = "settle first what was likely given wrongly, then look with a loupe"
    TURN_OVER = "turn the disc over first, a pin of the other face may end here, then look with a loupe"
    WHICH_WAY = "settle first which way the disc turns, then look with a loupe"


@dataclass(frozen=True, slots=True)
class DiscDoubt:
    """What is in doubt of the disc as a whole.

    misfit: something was likely given wrongly. blurred: faces whose photograph is not sharp. unturned: the way of
    turning was never said, or is likely wrong. unheard: what the music and a known tune add does not count. seen: by
    face, what its photographs show; one without a map counts as seen. one_face: both photographs show the same one.
    """

    misfit: bool = False
    blurred: frozenset[Side] = frozenset()
    unturned: bool = False
    unheard: bool = False
    seen: Mapping[Side, SeenMap] = field(default_factory=dict)
    one_face: bool = False

    def hides_other_face(self, side: Side, r_mm: float, theta_deg: float) -> bool:
        """Whether nothing can be told of the same place on the other face."""
        other = Side.LOWER if side is Side.UPPER else Side.UPPER
        return self.one_face or other in self.blurred or not is_seen(self.seen, other, r_mm, theta_deg)


NO_DOUBT = DiscDoubt()


def disc_doubt(doubts: Sequence[Doubt], seen: Mapping[Side, SeenMap]) -> DiscDoubt:
    """What these doubts and maps of the faces leave in doubt of the whole disc."""
    about = {doubt.about for doubt in doubts}
    unturned = About.DIRECTION in about
    return DiscDoubt(
        misfit=bool(misfits(doubts)),
        blurred=blurred_faces(doubts),
        unturned=unturned,
        unheard=unturned or About.TUNE in about,
        seen=seen,
        one_face=any(doubt.about is About.FACE and doubt.side is None for doubt in doubts),
    )


def look_first(
    work: PlaceWork, said: Verdicts, at: tuple[Side, float, float], doubt: DiscDoubt = NO_DOUBT
) -> tuple[PlaceWork, tuple[StationTask, ...]]:
    """The work as it is ordered, and what follows only if a look says so: nothing irreversible is done on doubt.

    said: the findings here; what a person accepted is certain enough, but where a hole comes to lie is the program's
    word. at: face, r_mm and theta_deg.
    """
    final = [task.operation for task in work.tasks if task.operation in IRREVERSIBLE]
    if not final or work.wanted <= SURE_NOT:
        return work, ()
    first = _first(work, said, at, doubt)
    if first is None:
        return work, ()
    what = " and ".join(task.operation.value for task in work.tasks)
    words = f"{first.value} ({likely(work.wanted)}): {QUESTIONS[final[0]]} {what}; {IF_NOT}"
    return replace(work, tasks=(StationTask(Operation.LOOK, words),), look=True), work.tasks


def _first(work: PlaceWork, said: Verdicts, at: tuple[Side, float, float], doubt: DiscDoubt) -> First | None:
    """What must come before; None: the work may go ahead."""
    if doubt.unturned and any(task.operation is Operation.DRILL for task in work.tasks):
        return First.WHICH_WAY
    if said.any_accepted:
        return None
    if doubt.misfit:
        return First.SETTLE
    if doubt.hides_other_face(*at):
        return First.TURN_OVER
    sure = min(work.wanted, _unheard(said)) if doubt.unheard else work.wanted
    return First.LOOK if sure < CERTAIN or at[0] in doubt.blurred else None


def _unheard(said: Verdicts) -> float:
    """How sure the findings here are without what music or tune add; 1 where there are none."""
    found: list[Finding] = [settled.finding for settled in said.by_kind.values()]
    return min((without_music(one.probability, one.evidence) for one in found), default=1.0)
