"""`disc demo`: the whole chain on the shipped sample."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from disc.words import progress, say, say_cautions, show_json

if TYPE_CHECKING:
    from disc.demo import Demo

# What came of it, in the order in which a person would look at it.
SHOWN = (
    ("overlay-upper.jpg", "the upper face, each pin with its tooth"),
    ("overlay-lower.jpg", "the lower face"),
    ("map.svg", "both faces, looking through the plate"),
    ("tune.pdf", "the score"),
    ("tune.svg", "the score's first page as a picture"),
    ("tune.musicxml", "the score for a notation program"),
    ("tune.mid", "MIDI"),
    ("tune.wav", "the sound"),
    ("findings.json", "the findings"),
    ("work-list.pdf", "the work list"),
    ("report.pdf", "the condition report"),
)


def demo(
    folder: Annotated[Path, typer.Argument(help="Where to make the demo's job folder.")] = Path("first-disc"),
    library: Annotated[
        bool, typer.Option("--library/--no-library", help="Ask which tune it is (the library is built on first use).")
    ] = True,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """The whole chain on the shipped sample disc: photographs to music, findings and plan."""
    from disc.demo import run_demo

    with progress("demo", quiet=as_json) as advance:
        done = run_demo(folder, advance, library)
    files = [folder / "out" / name for name, _ in SHOWN if (folder / "out" / name).is_file()]
    if as_json:
        show_json(
            {"job": folder, "pins": done.pins, "tune": done.tune, "findings": done.findings, "files": files}
            | {"which_tune": done.which_tune}
        )
        return
    _tell(done, folder)


def _tell(done: Demo, folder: Path) -> None:
    from disc.check.sentences import summary_line
    from disc.records import Side

    counts = ", ".join(f"{number} {condition}" for condition, number in done.conditions().most_common())
    metre = done.tune.metre
    say(
        f"Pin sites: {done.pins_on(Side.UPPER)} on the upper face, {done.pins_on(Side.LOWER)} on the lower: {counts}.",
        f"{done.teeth} teeth; one turn lasts {done.duration_s:g} s; {len(done.tune.notes)} notes in "
        f"{metre.beats}/{metre.unit}, {done.key}.",
        "",
        "What needs your eye:",
        f"  findings: {summary_line(done.findings)}",
    )
    if done.doubtful:
        say(f"  pins seen with less than 90 % confidence: {', '.join(map(str, done.doubtful))}")
    if done.which_tune is not None:
        say("", f"Which tune it is: {done.which_tune}")
    say("", f"Everything lies in {folder}:")
    say(f"  {'pins.csv':20} the pins", f"  {'comb.csv':20} the comb")
    say(*(f"  out/{name:16} {words}" for name, words in SHOWN if (folder / "out" / name).is_file()))
    say_cautions()
    say("", f"Next: disc desk {folder} to look and correct.")
