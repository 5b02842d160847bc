"""What a recorded turn puts in doubt about the comb: teeth that sound off their table."""

from __future__ import annotations

from collections.abc import Sequence

from disc.listen.turn.true_pitches import OffTable
from disc.records import About, Doubt


def off_table_doubts(off_table: Sequence[OffTable]) -> list[Doubt]:
    """One doubt about the comb's table where a recorded turn sounds other pitches than it gives; none where not."""
    if not off_table:
        return []
    named = ", ".join(f"{off.tooth} ({off.cents:+.0f} cents)" for off in off_table)
    one = len(off_table) == 1
    say = f"{'tooth' if one else 'teeth'} {named} {'sounds' if one else 'sound'} off the comb's table."
    return [Doubt(About.COMB, say, "Pluck it again and put it in: disc comb JOB --tooth N RECORDING")]
