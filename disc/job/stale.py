"""Results that rest on what has changed since: each stored result held against the files and values now in force.

A result rests on files and values. It is stale when one of them is no longer what it was, or when what it was worked
out from is stale itself: a plan made from findings that are out of date is out of date.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from disc.job import Job
from disc.job.made_from import (
    ACCEPTED,
    BY_STEP,
    COMB,
    DECISIONS,
    DRILL,
    FINDINGS,
    IDENTIFY,
    LISTEN,
    MUSIC,
    OFFER,
    PINS,
    PLAN,
    PLATE,
    REPORT,
    TUNE,
    made_from,
    makes_result,
)
from disc.job.schema import RunRecord
from disc.records import About, Doubt
from disc.results import ListenResult

TURNING = tuple(PLATE + name for name in ("diameter_mm", "turns", "revolution_s", "rest_arc_deg"))
MEASURES = tuple(PLATE + name for name in ("thickness_mm", "bore_mm", "slot_width_mm", "slot_depth_mm"))


@dataclass(frozen=True, slots=True)
class StoredResult:
    """A stored result: its name, how a person calls it, what it rests on, and the command that makes it anew.

    name: its file, or the step that makes it (made_from.BY_STEP). out_with: the result that it was worked out from and
    whose being stale is its own. several: said in the plural.
    """

    name: str
    called: str
    rests_on: tuple[str, ...]
    command: str
    out_with: str = ""
    several: bool = False


TURN = (PINS, COMB, *TURNING)
WORK = (*TURN, *MEASURES, MUSIC, FINDINGS, DECISIONS)
# In the order in which they are to be made anew.
RESULTS = (
    StoredResult(TUNE, "the tune", (*TURN, MUSIC), "disc transcribe {job}"),
    StoredResult(IDENTIFY, "the library's answer", TURN, "disc identify {job}"),
    StoredResult(LISTEN, "what was heard in the recording", TURN, "disc listen {job} {recording}"),
    StoredResult(FINDINGS, "the findings", (*TURN, MUSIC, ACCEPTED, LISTEN), "disc check {job}", several=True),
    StoredResult(PLAN, "the plan", WORK, "disc repin {job}", out_with=FINDINGS),
    StoredResult(OFFER, "the last offer", (PLAN,), "disc offer {job}", out_with=PLAN),
    StoredResult(DRILL, "the drilling programs", (PLAN,), "disc drill {job}", out_with=PLAN, several=True),
    StoredResult(REPORT, "the report", (*WORK, TUNE, PLAN), "disc report {job}"),
)
MADE = frozenset(result.name for result in RESULTS)
CALLED = {
    PINS: "the pins",
    COMB: "the comb",
    TUNE: "the tune",
    FINDINGS: "the findings",
    LISTEN: "the recording heard",
    DECISIONS: "the decisions",
    PLAN: "the plan",
    MUSIC: "what was set of the music",
    ACCEPTED: "the accepted tune",
}


def stale_doubts(job: Job, without: tuple[str, ...] = ()) -> tuple[Doubt, ...]:
    """What is stale, in one line for all that rests on the same changes. without: results made anew just now."""
    groups: dict[tuple[str, ...], list[StoredResult]] = {}
    for result, changed in _stale(job).items():
        if result.name not in without:
            groups.setdefault(changed, []).append(result)
    return tuple(_doubt(job, results, changed) for changed, results in groups.items())


def stale_results(job: Job) -> dict[str, Doubt]:
    """The stale results by their name (Result.name), in the order to make them anew."""
    return {result.name: _doubt(job, [result], changed) for result, changed in _stale(job).items()}


def stale_files(job: Job) -> frozenset[str]:
    """Files of the job that a step made from what has changed since, by their name in the job."""
    stale = [result.name for result in _stale(job)]
    last: dict[str, RunRecord] = {}
    for run in job.content.runs:
        last.update(dict.fromkeys(run.outputs, run))
    made = (name for name, run in last.items() if any(_made(run, result) for result in stale))
    return frozenset(name for name in made if "/" in name)  # a table that the step completed is no result


def _doubt(job: Job, results: list[StoredResult], changed: tuple[str, ...]) -> Doubt:
    verb = "rest" if len(results) > 1 or results[0].several else "rests"
    say = f"{_listed(r.called for r in results)} {verb} on what has changed since: {'; '.join(changed)}."
    again = [r.command.format(job=job.folder, recording=_recording(job)) for r in results]
    it = "it" if len(again) == 1 else "them"
    return Doubt(About.STALE, say, f"Make {it} anew: {', then '.join(again)}")


def _listed(names: Iterable[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def _stale(job: Job) -> dict[StoredResult, tuple[str, ...]]:
    """What each stale result was made from and has changed since, in words."""
    now = made_from(job.folder, job.content)
    found: dict[StoredResult, tuple[str, ...]] = {}
    for result in RESULTS:
        if result.name == TUNE and "design" in job.settings:
            continue  # the tune that the disc was laid out for was not read from it
        run = _last_run(job, result.name)
        if run is None:
            continue
        changed = _changed(run, result, now)
        changed = changed or next((told for base, told in found.items() if base.name == result.out_with), ())
        if changed:
            found[result] = changed
    return found


def _last_run(job: Job, name: str) -> RunRecord | None:
    """The step that made the result as it stands; None where there is none, or it came from elsewhere."""
    run = next((run for run in reversed(job.content.runs) if _made(run, name)), None)
    if run is None:
        return None
    if name == IDENTIFY:
        return run if IDENTIFY in job.content.results else None
    stands = any(job.has(output) for output in run.outputs) if name in BY_STEP else job.has(name)
    return run if stands else None


def _changed(run: RunRecord, result: StoredResult, now: dict[str, str]) -> tuple[str, ...]:
    names = [n for n in result.rests_on if n in run.made_from and n in now and run.made_from[n] != now[n]]
    if not run.made_from:  # of an older program: the tables' digests, as far as the step did not change them itself
        told = {name: digest for name, digest in run.inputs.items() if name not in run.outputs}
        names = [name for name in (PINS, COMB, PLAN) if name in told and name in result.rests_on]
        names = [name for name in names if told[name] != now[name]]
    causes = [name for name in names if name not in MADE] or names  # what was made anew in between only follows
    return tuple(_words(name, run.made_from.get(name, ""), now[name]) for name in causes)


def _made(run: RunRecord, name: str) -> bool:
    if not makes_result(run.command, run.outputs):
        return False
    return run.command == name if name in BY_STEP else name in run.outputs


def _words(name: str, was: str, is_now: str) -> str:
    if not name.startswith(PLATE):
        return CALLED[name]
    what = name.removeprefix(PLATE).rpartition("_")
    called = f"{what[0]} ({what[2]})" if what[0] and what[2] in ("mm", "s", "deg") else what[2]
    return f"{called.replace('_', ' ')} was {was or 'not given'}, is {is_now or 'not given'}"


def _recording(job: Job) -> str:
    heard = job.content.result(ListenResult)
    return "RECORDING" if heard is None else heard.file
