"""What the page says in the panels of the plan and of what is taken away."""

from __future__ import annotations

from disc.locale.catalogue import mark

PLAN: tuple[str, ...] = (
    mark("Make the work list and drawings"),
    mark("The plan is being worked out …"),
    mark(
        "There is no plan yet. It follows from the findings: what to set, straighten, pull or leave, "
        "with drawings, settings and an estimate. Check the disc first (Findings)."
    ),
    mark("Estimate: {words}"),
    mark("{n} h ({least} to {most}), {cost}"),
    mark("{n} h ({least} to {most}), {q} {currency}"),
    mark("Work list"),
    mark("Where, and what is done"),
    mark("The work list, {n} files in all, is made."),
    mark("The condition report with {n} parts is made."),
    mark("The condition report with {n} part is made."),
    mark("Score, MIDI and sound are made: {n} strikes."),
    mark("Score, MIDI and sound are made: {n} strike."),
    mark("Score, MIDI and sound"),
    mark("Work list, drawings and estimate"),
    mark("Condition report"),
    mark("Make"),
    mark("Take away"),
    mark("Made with sample rates; put your own into rates.toml in the job folder."),
    mark("Made with sample rates"),
    mark("put your own into rates.toml in the job folder"),
    mark("Sheets"),
    mark("score"),
    mark("report"),
)
