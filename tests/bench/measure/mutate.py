"""Are the constants and joins held by tests? Changes one at a time, in a copy, and runs a quick test for each.

    python -m tests.bench.measure.mutate [--only WORD] [--part 1/8] [--minutes 10] [--json FILE]

A change that its tests let pass is one that nobody would notice: the last lines list those. Only the tests named beside
a change are run, not the whole suite, so that "not caught" means: not by its own room's quick tests.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[3]
# Processor seconds, so that a busy machine makes nothing look caught; ten times the slowest of the quick tests.
TEST_LIMIT_S = 120


@dataclass(frozen=True, slots=True)
class Mutation:
    """One change: in `file` the text `old`, which stands there once, becomes `new`; `tests` should then fail."""

    what: str
    file: str
    old: str
    new: str
    tests: str


FRAME, COMB = "tests/test_frame.py", "tests/comb/test_comb.py"
SCALE, OTHER_FACE, FIT = "tests/comb/test_scale.py", "tests/comb/test_tails.py", "tests/turn/test_fit.py"
ODDS, READ, PLACES = "tests/photo/test_site_odds.py", "tests/tune/test_read_tune.py", "tests/repin/test_places.py"
WEIGH, SEEN, MECHANICAL = "tests/photo/test_weigh.py", "tests/check/test_seen.py", "tests/check/test_mechanical.py"
TIPS, CORRECTIONS = "tests/turn/test_tips.py", "tests/test_corrections.py"
GEOMETRY, EVIDENCE, WORK = "tests/photo/test_geometry.py", "tests/check/test_evidence.py", "tests/repin/test_work.py"
MEASURES, GRID, REPEATS = "tests/measures/test_measures.py", "tests/check/test_grid.py", "tests/check/test_repeats.py"
PHOTO_FITTED = "disc/photo/fitted.json"
ASSIGN, SITES, FINDINGS = "disc/comb/assign.py", "disc/photo/marks/site_odds.py", "disc/check/photo/photo_findings.py"
BREACHES, NOMINAL, OPERATIONS = (
    "disc/check/mechanics/mechanical.py",
    "disc/repin/work/nominal_places.py",
    "disc/repin/work/what_to_do.py",
)

MUTATIONS = (
    # where signs and mirrors are decided
    Mutation(
        "the disc turns the other way",
        "disc/frame.py",
        "-1 if turns is Turns.CLOCKWISE",
        "+1 if turns is Turns.CLOCKWISE",
        FRAME,
    ),
    Mutation(
        "the lower face is not mirrored",
        "disc/frame.py",
        "+1 if side is Side.UPPER else -1",
        "+1 if side is Side.UPPER else +1",
        FRAME,
    ),
    Mutation(
        "onset in turns, not seconds",
        "disc/frame.py",
        "turned_deg / FULL_TURN_DEG * revolution_s",
        "turned_deg / FULL_TURN_DEG",
        FRAME,
    ),
    Mutation(
        "a lean outward taken for one along",
        "disc/frame.py",
        "return turning_sign(turns) * tangential, outward",
        "return outward, tangential",
        FRAME,
    ),
    # pins to teeth
    Mutation("stretch is free", ASSIGN, "STRETCH_SIGMA = 0.01", "STRETCH_SIGMA = 10.0", SCALE),
    Mutation("no stretch is believed", ASSIGN, "STRETCH_SIGMA = 0.01", "STRETCH_SIGMA = 0.00001", SCALE),
    Mutation("no offset is believed", ASSIGN, "OFFSET_SIGMA_MM = 0.08", "OFFSET_SIGMA_MM = 0.0008", SCALE),
    Mutation("every pin may be a stray", ASSIGN, "STRAY_SHARE = 0.005", "STRAY_SHARE = 0.9", COMB),
    Mutation("never between two tracks", ASSIGN, "SURE_FROM = 0.9", "SURE_FROM = 0.0", COMB),
    Mutation(
        "a tooth set by a person is overruled",
        ASSIGN,
        "if fixed and pin.id in fixed:",
        "if False and pin.id in fixed:",
        COMB,
    ),
    Mutation(
        "teeth of the other face are asked",
        ASSIGN,
        "[t for t in comb.teeth if t.side is side]",
        "list(comb.teeth)",
        COMB,
    ),
    Mutation("leans do not sound", "disc/comb/strikes.py", "if not as_it_stands or", "if True or", COMB),
    Mutation("tracks may touch", "disc/comb/tracks.py", "CLOSEST_TRACKS_MM = 0.15", "CLOSEST_TRACKS_MM = 1.5", COMB),
    Mutation("no tail is seen", "disc/comb/other_face.py", "SAME_HOLE_MM = 0.20", "SAME_HOLE_MM = 0.0", OTHER_FACE),
    Mutation(
        "faces not turned onto each other",
        "disc/comb/other_face.py",
        "other.side is pin.side for",
        "other.side is not pin.side for",
        OTHER_FACE,
    ),
    # what the photographs tell
    Mutation("track weight 0", PHOTO_FITTED, '"track": 0.7', '"track": 0.0', ODDS),
    Mutation("slant weight 0", PHOTO_FITTED, '"slant": 0.5', '"slant": 0.0', WEIGH),
    Mutation("likeness weight 0", PHOTO_FITTED, '"alike": 0.5', '"alike": 0.0', ODDS),
    Mutation("networks weight 0", SITES, "weigh.closer * _logit(spots.heat)", "0.0", WEIGH),
    Mutation("two tips 2 mm apart are one", SITES, "SAME_TIP_MM = 0.13", "SAME_TIP_MM = 2.0", ODDS),
    Mutation(
        "faces fit whatever they show",
        "disc/photo/faces_fit.py",
        "MOST = 6.0",
        "MOST = 0.0",
        "tests/photo/test_seen.py -k faces_of_one_disc",
    ),
    Mutation(
        "before looking the faces are two discs'",
        "disc/photo/faces_fit.py",
        "BEFORE = 1.0",
        "BEFORE = -100.0",
        "tests/photo/test_seen.py -k faces_of_one_disc",
    ),
    # the tune
    Mutation(
        "strikes cost nothing off the grid",
        "disc/tune/read/beat/quantise.py",
        "FARTHEST = 4.5",
        "FARTHEST = 0.0",
        READ,
    ),
    Mutation(
        "the grid of findings, plan and desk: whole quarters only",
        "disc/turn/bars.py",
        "WRITTEN_PARTS = (1, 2, 4, 3, 8, 6)",
        "WRITTEN_PARTS = (1,)",
        GRID,
    ),
    Mutation(
        "spread of the strikes is not measured",
        "disc/turn/bars.py",
        "FEWEST_FOR_SIGMA = 8 ",
        "FEWEST_FOR_SIGMA = 8000 ",
        GRID,
    ),
    Mutation("beats count from 0", "disc/turn/bars.py", "return bar, 1 + after", "return bar, after", GRID),
    Mutation(
        "a tip put in its row is as sure as a measured one",
        "disc/turn/tips.py",
        "SPREAD_OF_LIMIT = 0.4",
        "SPREAD_OF_LIMIT = 0.0004",
        TIPS,
    ),
    Mutation(
        "pitches of mostly unknown combs are guessed",
        "disc/turn/silent_teeth.py",
        "MOST_UNKNOWN = 1.0 / 3.0",
        "MOST_UNKNOWN = 1.0",
        "tests/tune/test_silent_teeth.py",
    ),
    # does comb, scale, direction fit: the doubts of the turn
    Mutation(
        "FITS 0: every comb fits",
        "disc/turn/fit/fit_doubts.py",
        "FITS = 1.05",
        "FITS = 0.0",
        FIT,
    ),
    Mutation(
        "SURE_SITE 0: every blot is asked",
        "disc/turn/fit/tracks.py",
        "SURE_SITE = 0.9",
        "SURE_SITE = 0.0",
        FIT,
    ),
    Mutation(
        "the other direction is named at once",
        "disc/turn/fit/direction.py",
        "CLEAR = 1.5",
        "CLEAR = -1.5",
        FIT,
    ),
    Mutation(
        "alternatives need not be ahead", "disc/turn/fit/fit_doubts.py", "BETTER_BY = 8.0", "BETTER_BY = 8000.0", FIT
    ),
    Mutation("no diameter is wrong", "disc/turn/fit/fit_doubts.py", "WRONG_SCALE = 0.03", "WRONG_SCALE = 0.3", FIT),
    Mutation("all pins are strays", "disc/turn/fit/tracks.py", "STRAY = 0.1 ", "STRAY = 0.99 ", FIT),
    Mutation("tips on one track tell nothing", "disc/turn/tips.py", "FEWEST_STRIKES = 4", "FEWEST_STRIKES = 400", TIPS),
    Mutation(
        "tips may stand anywhere", "disc/turn/tips.py", "DEFAULT_LIMIT_DEG = 3.0", "DEFAULT_LIMIT_DEG = 30.0", TIPS
    ),
    Mutation(
        "a tip that was not measured stands at 0",
        "disc/turn/one_turn.py",
        "tip_theta_deg=tips.tip_theta_deg[tooth.number])",
        "tip_theta_deg=0.0)",
        TIPS,
    ),
    # findings
    Mutation(
        "reference bars all 0",
        "disc/library/read/reference.py",
        'side="right") - 1, 0, None)]',
        'side="right") - 1, 0, None)] * 0',
        "tests/check/test_reference.py",
    ),
    Mutation("the music settles every stub", FINDINGS, "MOST_HEARD = -4.0, 1.6", "MOST_HEARD = -4.0, 16.0", SEEN),
    Mutation("a person is doubted", FINDINGS, "BY_HAND = 0.998", "BY_HAND = 0.5", SEEN),
    Mutation("no sound pin is ever read as such", FINDINGS, "math.log(0.1 / 0.99)", "math.log(0.1 / 0.0001)", SEEN),
    Mutation(
        "chance never spares two holes", BREACHES, "KEPT_APART_CHANCE = 0.003", "KEPT_APART_CHANCE = 1.0", MECHANICAL
    ),
    Mutation(
        "a correction reaches across the disc",
        "disc/job/corrections.py",
        "REACH_MM = 0.30",
        "REACH_MM = 30.0",
        CORRECTIONS,
    ),
    Mutation(
        "a correction reaches nothing", "disc/job/corrections.py", "REACH_MM = 0.30", "REACH_MM = 0.0", CORRECTIONS
    ),
    Mutation(
        "evidence has no limit", "disc/check/evidence.py", "LARGEST_WEIGHT = 8.0", "LARGEST_WEIGHT = 800.0", EVIDENCE
    ),
    Mutation("TAIL_WEIGHT 0", FINDINGS, "TAIL_WEIGHT = -6.0", "TAIL_WEIGHT = 0.0", SEEN),
    Mutation(
        "bent as said weighs nothing",
        FINDINGS,
        "CONDITION_WEIGHT = math.log(0.9 / 0.01)",
        "CONDITION_WEIGHT = 0.0",
        SEEN,
    ),
    Mutation("any lean is bent", "disc/photo/marks/pins_from_sites.py", "BENT_MM = 0.08", "BENT_MM = 0.0", SEEN),
    Mutation("prior of bent x 30", FINDINGS, "PRIOR_BENT = 0.03", "PRIOR_BENT = 0.9", SEEN),
    Mutation(
        "no height is too great", FINDINGS, "HEIGHT_TOLERANCE_SHARE = 0.25", "HEIGHT_TOLERANCE_SHARE = 25.0", SEEN
    ),
    Mutation(
        "no pin is off its track", FINDINGS, "OFF_TRACK_TOLERANCE_MM = 0.08", "OFF_TRACK_TOLERANCE_MM = 8.0", SEEN
    ),
    Mutation("what is ill read is bent", FINDINGS, "ILL_READ_SHARE = 0.02", "ILL_READ_SHARE = 0.0", SEEN),
    Mutation("a breach weighs nothing", BREACHES, "CLEAR_BREACH = 7.0", "CLEAR_BREACH = 0.0", MECHANICAL),
    Mutation(
        "walls may be nothing",
        "disc/design/settings.py",
        "LEAST_WALL_MM = 0.10",
        "LEAST_WALL_MM = 0.0",
        MECHANICAL,
    ),
    Mutation("the rest arc never lies elsewhere", BREACHES, "SEVERAL_PINS = 2", "SEVERAL_PINS = 2000", MECHANICAL),
    Mutation(
        "a repeat is not looked for",
        "disc/check/music/repeats.py",
        "PRIOR_SAME = 0.05",
        "PRIOR_SAME = 0.0000001",
        REPEATS,
    ),
    Mutation(
        "nothing is found again", "disc/check/music/repeats.py", "FOUND_AGAIN = 0.88", "FOUND_AGAIN = 0.05", REPEATS
    ),
    # the work
    Mutation("CERTAIN .98 -> .5", "disc/repin/records.py", "CERTAIN = 0.98", "CERTAIN = 0.5", WORK),
    Mutation(
        "nothing is irreversible",
        "disc/repin/records.py",
        "IRREVERSIBLE = frozenset({Operation.PULL,",
        "IRREVERSIBLE = frozenset() and frozenset({Operation.PULL,",
        WORK,
    ),
    Mutation("no pin breaks in straightening", OPERATIONS, "BREAKS_FROM_DEG = 30.0", "BREAKS_FROM_DEG = 300.0", WORK),
    Mutation("a hair too long is shortened", OPERATIONS, "LEAST_SHORTEN_MM = 0.03", "LEAST_SHORTEN_MM = 3.0", WORK),
    Mutation("work places on no grid", NOMINAL, "FEWEST_FOR_GRID = 8", "FEWEST_FOR_GRID = 8000", PLACES),
    Mutation("the strikes are off by seconds", NOMINAL, "TIMING_S = 0.010", "TIMING_S = 1.0", PLACES),
    Mutation(
        "any wire fits any hole",
        "disc/repin/work/drills.py",
        "MOST_INTERFERENCE_MM = 0.03",
        "MOST_INTERFERENCE_MM = 3.0",
        "tests/repin/test_drills.py",
    ),
    Mutation(
        "zeroing accepts any probe",
        "disc/repin/machine/zero.py",
        "MOST_RESIDUAL_MM = 0.05",
        "MOST_RESIDUAL_MM = 5.0",
        "tests/repin/test_machine.py tests/repin/test_gcode.py",
    ),
    # measures
    Mutation("a Paris line is an English one", "disc/measures/length.py", "1000.0 / 443.296", "25.4 / 12.0", MEASURES),
    Mutation("an inch is 25 mm", "disc/measures/gauges.py", "MM_PER_INCH = 25.4 ", "MM_PER_INCH = 25.0 ", MEASURES),
    Mutation("A is 435 Hz", "disc/measures/pitch.py", "A4_HZ, A4_MIDI = 440.0,", "A4_HZ, A4_MIDI = 435.0,", MEASURES),
    # design
    Mutation(
        "inner voices before the melody",
        "disc/design/arrange/weights.py",
        "{Rank.MELODY: 1.0, Rank.BASS: bass,",
        "{Rank.MELODY: 0.1, Rank.BASS: bass,",
        "tests/design/test_arrange.py",
    ),
    Mutation(
        "the usual tempo doubled",
        "disc/design/arrange/timing.py",
        "USUAL_BEATS_A_MINUTE = 96.0",
        "USUAL_BEATS_A_MINUTE = 192.0",
        "tests/design/test_timing.py",
    ),
)


def run_tests(tree: Path, tests: str) -> tuple[bool, float]:
    """(whether they passed, processor seconds) of these tests on the package in this tree."""
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-n", "0", "-p", "no:cacheprovider", *tests.split()]
    path = os.pathsep.join([str(tree), *filter(None, [os.environ.get("PYTHONPATH")])])
    environment = os.environ | {"PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1", "OMP_NUM_THREADS": "1"}
    before = os.times()
    done = subprocess.run(command, cwd=tree, env=environment, capture_output=True, preexec_fn=_limit)
    passed = done.returncode == 0
    after = os.times()
    return passed, after.children_user + after.children_system - before.children_user - before.children_system


def _limit() -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (TEST_LIMIT_S, TEST_LIMIT_S))


def try_one(tree: Path, mutation: Mutation) -> tuple[bool, float]:
    """(whether it was caught, processor seconds). Raises ValueError where the text does not stand there once."""
    path = tree / mutation.file
    text = path.read_text(encoding="utf-8")
    if text.count(mutation.old) != 1:
        raise ValueError(f"{mutation.file}: {mutation.old!r} stands there {text.count(mutation.old)} times")
    path.write_text(text.replace(mutation.old, mutation.new), encoding="utf-8")
    try:
        passed, seconds = run_tests(tree, mutation.tests)
    finally:
        path.write_text(text, encoding="utf-8")
    return not passed, seconds


def main() -> None:
    """Try the mutations and say which were not caught; exit code 1 if there are any."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", help="mutations whose words or file hold this")
    parser.add_argument("--part", default="1/1", help="I/N: the I-th of N parts, to run them side by side")
    parser.add_argument("--minutes", type=float, default=60.0, help="stop after so long")
    parser.add_argument("--json", type=Path, help="write the table there")
    given = parser.parse_args()
    chosen = [m for m in MUTATIONS if given.only in m.what or given.only in m.file]
    part, parts = (int(number) for number in given.part.split("/"))
    chosen = chosen[part - 1 :: parts]
    end = time.monotonic() + 60.0 * given.minutes
    rows: list[dict[str, object]] = []
    with tempfile.TemporaryDirectory() as scratch:
        tree = Path(scratch) / "tree"
        ignored = shutil.ignore_patterns(".git", ".venv", "__pycache__", ".mypy_cache", ".ruff_cache")
        shutil.copytree(ROOT, tree, ignore=ignored)
        sound: dict[str, bool] = {}
        for mutation in chosen:
            if time.monotonic() > end:
                break
            if mutation.tests not in sound:
                sound[mutation.tests] = run_tests(tree, mutation.tests)[0]
            verdict, seconds = "tests fail unchanged", 0.0
            if sound[mutation.tests]:
                caught, seconds = try_one(tree, mutation)
                verdict = "caught" if caught else "NOT CAUGHT"
            rows.append({"what": mutation.what, "file": mutation.file, "tests": mutation.tests, "verdict": verdict})
            print(f"{verdict:21s} {seconds:5.1f} s  {mutation.what}  ({mutation.file}; {mutation.tests})", flush=True)
    if given.json:
        given.json.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    missed = [row["what"] for row in rows if row["verdict"] != "caught"]
    print(f"{len(rows)} of {len(chosen)} tried, {len(rows) - len(missed)} caught. Not caught: {missed or 'none'}")
    raise SystemExit(1 if missed else 0)


if __name__ == "__main__":
    main()
