"""What stands in for facts that nobody gave, said as doubts with the command that settles each."""

from __future__ import annotations

from collections.abc import Sequence

from disc.records import About, Comb, Doubt, Plate, Strike, Turns
from disc.turn.order import tooth_words

SAY = {
    "turns": (
        About.DIRECTION,
        "which way the disc turns was never said; {value} is assumed.",
        "Both ways are possible: see on which side of the pins the teeth wear them, then disc set JOB --turns WAY.",
    ),
    "revolution_s": (
        About.ASSUMED,
        "the time of one turn was never said; {value:g} s is assumed, and every tempo rests on it.",
        "Time one turn, or record it: disc set JOB --revolution-s S.",
    ),
    "rest_arc_deg": (
        About.ASSUMED,
        "the rest arc was never said; {value:g} degrees are assumed.",
        "Read the widest gap without pins off the photographs: disc set JOB --rest-arc-deg D.",
    ),
}


def assumed_doubts(plate: Plate, comb: Comb | None = None) -> list[Doubt]:
    """One doubt for each value of the plate that is assumed, in the table's order; and for a comb that is a draft."""
    made = []
    for name, (about, say, advice) in SAY.items():
        if name in plate.assumed:
            value = getattr(plate, name)
            made.append(Doubt(about, say.format(value=getattr(value, "value", value)), advice))
    if comb is not None and comb.draft:
        made.append(
            Doubt(
                About.COMB,
                "the comb is a draft made from the pins alone: one tooth a track, no pitch and no tip measured.",
                "Give its table (disc comb JOB --table FILE) or a recording (--plucked RECORDING).",
            )
        )
    return made


def silent_doubts(strikes: Sequence[Strike]) -> list[Doubt]:
    """What a dead, broken or missing tooth costs the tune: one doubt, or none where no pin strikes such a tooth."""
    lost = [strike.tooth for strike in strikes if strike.silent]
    if not lost:
        return []
    teeth = sorted(set(lost))
    one = len(teeth) == 1
    say = (
        f"{tooth_words(teeth)} {'gives' if one else 'give'} no tone as {'it is' if one else 'they are'}; "
        f"{'its' if one else 'their'} notes ({len(lost)}) are written small, with a cross, and not played."
    )
    return [Doubt(About.ASSUMED, say, "The disc plays rests there until the comb is mended: no new pin helps.")]


def ways_along(plate: Plate, ahead: str, behind: str) -> tuple[str, str]:
    """What to call the way a pin moves, and the other way: `ahead` and `behind`, once the direction was said.

    Before that, by the clock: a pin bent "against the turning" of an assumed direction would be bent the wrong way.
    """
    if "turns" not in plate.assumed:
        return ahead, behind
    clock = "clockwise as seen on the upper face", "counter-clockwise as seen on the upper face"
    return clock if plate.turns is Turns.CLOCKWISE else clock[::-1]
