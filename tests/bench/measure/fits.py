"""Does the program say what was given wrongly? Discs that were read once, sabotaged in every way, and left alone.

    python -m tests.bench.measure.fits JOBS [--what CASE;CASE]    jobs as chain.py --jobs leaves them

What is done to a job's pins, comb and plate: faces swapped, the other direction, a diameter 10 % too large or small,
another disc's lower face, another disc's comb, the slot of one or both faces 40 degrees off either way. What is done to
photographs (covered, blurred, one face) is measured by seen.py. The tune is read only where the music is asked, for
the direction; the rest is told from tracks, beat and rest arc.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from disc.comb.pin_spread import give_teeth
from disc.job import open_job
from disc.records import About, Comb, Doubt, Pin, Plate, Side, Turns
from disc.turn.one_turn import resolve_strikes, with_direction_weighed, with_tune

Disc = tuple[tuple[Pin, ...], Comb, Plate]
OTHER = {Side.UPPER: Side.LOWER, Side.LOWER: Side.UPPER}


def turned(pins: tuple[Pin, ...], sides: tuple[Side, ...], deg: float) -> tuple[Pin, ...]:
    """These faces' pins turned about the arbor."""
    return tuple(replace(p, theta_deg=(p.theta_deg + deg) % 360.0) if p.side in sides else p for p in pins)


def sabotaged(disc: Disc, other: Disc) -> Iterator[tuple[str, About | None, Disc]]:
    """(what was done, what should be said, the disc)."""
    pins, comb, plate = disc
    yield "untouched", None, disc
    swapped = tuple(replace(p, side=OTHER[p.side], theta_deg=(-p.theta_deg) % 360.0) for p in pins)
    yield "swapped", About.FACES, (swapped, comb, plate)
    way = Turns.CLOCKWISE if plate.turns is Turns.COUNTERCLOCKWISE else Turns.COUNTERCLOCKWISE
    yield "direction", About.DIRECTION, (pins, comb, replace(plate, turns=way))
    for factor in (1.1, 1 / 1.1):
        wide = tuple(replace(p, r_mm=p.r_mm * factor) for p in pins)
        yield "diameter", About.DIAMETER, (wide, comb, replace(plate, diameter_mm=plate.diameter_mm * factor))
    scale = plate.diameter_mm / other[2].diameter_mm
    foreign = tuple(replace(p, r_mm=p.r_mm * scale) for p in other[0] if p.side is Side.LOWER)
    mixed = tuple(replace(p, id=k) for k, p in enumerate((*(p for p in pins if p.side is Side.UPPER), *foreign), 1))
    yield "other lower face", About.DISC, (mixed, comb, plate)
    yield "other comb", About.COMB, (pins, other[1], plate)
    for sides in ((Side.UPPER,), (Side.LOWER,), tuple(Side)):
        for deg in (40.0, -40.0):
            name = "slot, both faces" if len(sides) == 2 else "slot, one face"
            yield name, About.SLOT, (turned(pins, sides, deg), comb, plate)


BY_MUSIC = ("untouched", "direction")


def said_of(what: str, disc: Disc) -> tuple[Doubt, ...]:
    """What the program says of a disc, assumptions aside."""
    pins, comb, plate = disc
    turn = resolve_strikes(give_teeth(pins, comb), comb, plate)
    if what in BY_MUSIC:
        turn = with_direction_weighed(with_tune(turn))
    return tuple(doubt for doubt in turn.doubts if doubt.about is not About.ASSUMED)


def main() -> None:
    """Print how often each cause was named, and what was said of untouched discs."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("jobs", type=Path)
    parser.add_argument("--what", default="", help="only these cases, with semicolons")
    given = parser.parse_args()
    wanted = set(filter(None, given.what.split(";")))
    jobs = [open_job(path) for path in sorted(given.jobs.iterdir()) if (path / "job.json").is_file()]
    discs = [(job.folder.name, (job.pins(), job.comb(), job.plate)) for job in jobs]
    right: Counter[str] = Counter()
    tried: Counter[str] = Counter()
    false: Counter[str] = Counter()
    for k, (name, disc) in enumerate(discs):
        for what, about, spoilt in sabotaged(disc, discs[(k + 3) % len(discs)][1]):
            if wanted and what not in wanted:
                continue
            said = {doubt.about for doubt in said_of(what, spoilt)}
            tried[what] += 1
            right[what] += about in said if about else not said
            if about is None:
                false.update(one.value for one in said)
            if about not in said and (about or said):
                print(f"{name}: {what}: said {sorted(one.value for one in said) or 'nothing'}", flush=True)
    for what, count in tried.items():
        print(f"{what:18s} {right[what]:3d} of {count}")
    print("said of untouched discs:", dict(false))


if __name__ == "__main__":
    main()
