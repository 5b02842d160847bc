"""What a recorded turn puts in doubt: teeth off their table, the job's time of a turn, and what else was heard when."""

from __future__ import annotations

from collections.abc import Sequence

from disc.listen.turn.learn.true_pitches import OffTable
from disc.listen.turn.turn_record import Turn
from disc.records import About, Doubt

# The turn's time is measured within 0.2 % and a movement keeps it within some hundredths from one winding to the next
# (common practice, no source): nearer, the job's own number is left alone.
SAME_TURN = 0.02
MOST = 6  # told of what else is heard; chosen by hand


def off_table_doubts(off_table: Sequence[OffTable]) -> list[Doubt]:
    """One doubt about the comb's table where a recorded turn sounds other pitches than it gives; none where not."""
    if not off_table:
        return []
    named = ", ".join(f"{off.tooth} ({off.cents:+.0f} cents)" for off in off_table)
    one = len(off_table) == 1
    say = f"{'tooth' if one else 'teeth'} {named} {'sounds' if one else 'sound'} off the comb's table."
    return [Doubt(About.COMB, say, "Pluck it again and put it in: disc comb JOB --tooth N RECORDING")]


def doubts_of_turn(turn: Turn, said_s: float | None = None) -> tuple[Doubt, ...]:
    """The doubts, those about the comb first. said_s: seconds of a turn as the job has it, given or assumed."""
    made = off_table_doubts(turn.off_table)
    if said_s is not None and abs(turn.revolution_s / said_s - 1.0) > SAME_TURN:
        made.append(
            Doubt(
                About.ASSUMED,
                f"one turn takes {turn.revolution_s:.1f} s in this recording; the job says {said_s:g} s.",
                f"Take it over: disc set JOB --revolution-s {turn.revolution_s:.1f}.",
            )
        )
    for else_heard in turn.disturbed[:MOST]:
        within = sum(else_heard.covers(m.time_s) for m in (*turn.missed, *turn.untold))
        touched = (
            f"; {within} of the strikes that were not heard {'lies' if within == 1 else 'lie'} in it" if within else ""
        )
        say = f"{else_heard.words} is heard beside the disc{touched}."
        made.append(Doubt(About.ASSUMED, say, "Record that part again, in quiet."))
    return tuple(made)
