"""What is in doubt about a plucked comb: where its numbering may break, and what else was heard over which tooth.

Both are said with the numbers the teeth have in the end, those of the order or the table.
"""

from __future__ import annotations

from collections.abc import Sequence

from disc.listen.comb.plucked import PluckedComb, PluckedTooth
from disc.listen.sound.disturbed import Disturbance
from disc.records import About, Doubt, ToothCondition

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
MOST = 6  # more of one kind are told together
FEWEST_LEFT_OVER = 2  # one tone left over may be a neighbour's that was touched
LONGEST_LIST = 3  # more teeth that follow each other are named by the first and the last
MEASURED_S = 0.4  # what sounds so soon after a pluck lies in what its pitch is read from


def doubts_of_plucked(comb: PluckedComb) -> tuple[Doubt, ...]:
    """The doubts about what was heard, breaks in the numbering first."""
    return (*_too_many(comb), *_breaks(comb), *_numbers(comb), *_disturbances(comb))


def _too_many(comb: PluckedComb) -> list[Doubt]:
    """Of tones left over, enough for a tooth: more teeth were plucked than was said, or one more often."""
    left = comb.left_over_s
    if len(left) < max(comb.plucks, FEWEST_LEFT_OVER):
        return []
    say = (
        f"plucks are left over ({len(left)}), the first at {left[0]:.1f} s: more is plucked than was said; the "
        "teeth may have each other's pitches."
    )
    return [Doubt(About.COMB, say, "Say which teeth are plucked, in their order (--order), or how many (--teeth).")]


def _breaks(comb: PluckedComb) -> list[Doubt]:
    some = [row for row in comb.teeth if len(row.plucks_s) < comb.plucks]
    said = []
    for row in some[:MOST]:
        heard = f"only {len(row.plucks_s)}" if row.plucks_s else "none"
        said.append(Doubt(
            About.COMB,
            f"tooth {row.tooth}: {heard} of its {comb.plucks} plucks is heard; if it was not plucked there, every "
            "tooth plucked after it has another's pitch.",
            f"Pluck it again alone: disc comb JOB --tooth {row.tooth} RECORDING.",
        ))  # fmt: skip
    if len(some) > MOST:
        numbers = ", ".join(str(row.tooth) for row in some[MOST:])
        said.append(Doubt(About.COMB, f"so it is with the teeth {numbers}.", "Pluck the comb again, in quiet."))
    return said


def _numbers(comb: PluckedComb) -> list[Doubt]:
    """Teeth whose plucks can be counted in more than one way, those beside each other together."""
    runs: list[list[PluckedTooth]] = []
    for before, row in zip((None, *comb.teeth), comb.teeth, strict=False):
        if len(row.one_of) > 1 and before is not None and len(before.one_of) > 1:
            runs[-1].append(row)
        elif row.one_of:
            runs.append([row])
    return [_number(run) for run in runs[:MOST]]


def _number(run: Sequence[PluckedTooth]) -> Doubt:
    first = run[0].tooth
    if len(run[0].one_of) == 1:
        say = f"what is heard as tooth {first} may be no pluck of it."
    elif len(run) == 1:
        say = f"what is heard as tooth {first} is one of the {_teeth(run[0].one_of)}."
    else:
        say = (
            f"the plucks of the {_row([r.tooth for r in run])} can be counted in more than one way: each may be that "
            f"of a tooth beside it; tooth {first} is one of the {_teeth(run[0].one_of)}."
        )
    return Doubt(About.COMB, say, f"Pluck it again alone: disc comb JOB --tooth {first} RECORDING.")


def _disturbances(comb: PluckedComb) -> list[Doubt]:
    said = []
    for stretch in comb.disturbed:
        rows = _within(comb.teeth, stretch)
        unsure = [row.tooth for row in rows if not _is_sure(row)]
        if unsure:
            said.append(Doubt(
                About.COMB, f"{stretch.words}, while {_teeth([r.tooth for r in rows])} sounded.",
                f"Pluck {_teeth(unsure)} again.",
            ))  # fmt: skip
    return said[:MOST]


def _within(rows: Sequence[PluckedTooth], stretch: Disturbance) -> list[PluckedTooth]:
    return [row for row in rows if any(stretch.covers(t, MEASURED_S) for t in row.plucks_s)]


def _is_sure(row: PluckedTooth) -> bool:
    """Whether all its plucks gave one pitch and nothing is said against it: what else sounded did no harm."""
    return bool(row.agrees) and row.condition is ToothCondition.SOUND


def _row(numbers: Sequence[int]) -> str:
    """As _teeth, many that follow each other by the first and the last."""
    if len(numbers) > LONGEST_LIST and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"teeth {numbers[0]} to {numbers[-1]}"
    return _teeth(numbers)


def _teeth(numbers: Sequence[int]) -> str:
    if len(numbers) == 1:
        return f"tooth {numbers[0]}"
    return f"teeth {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"
