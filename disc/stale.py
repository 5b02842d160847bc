"""Results that rest on what has changed since: each stored result held against the files and values now in force."""

from __future__ import annotations

from dataclasses import dataclass

from disc.job import Job
from disc.job_schema import RunRecord
from disc.made_from import (
    ACCEPTED,
    COMB,
    DECISIONS,
    FINDINGS,
    IDENTIFY,
    LISTEN,
    MUSIC,
    PINS,
    PLAN,
    PLATE,
    TUNE,
    made_from,
    makes_result,
)
from disc.records import About, Doubt

TURNING = tuple(PLATE + name for name in ("diameter_mm", "turns", "revolution_s", "rest_arc_deg"))
MEASURES = tuple(PLATE + name for name in ("thickness_mm", "bore_mm", "slot_width_mm", "slot_depth_mm"))


@dataclass(frozen=True, slots=True)
class Result:
    """A stored result: its name for a person, what it rests on, and the command that makes it anew."""

    name: str
    called: str
    rests_on: tuple[str, ...]
    command: str


# In the order in which they are to be made anew.
RESULTS = (
    Result(TUNE, "the tune", (PINS, COMB, *TURNING, MUSIC), "disc transcribe {job}"),
    Result(IDENTIFY, "the library's answer", (PINS, COMB, *TURNING), "disc identify {job}"),
    Result(LISTEN, "what was heard in the recording", (PINS, COMB, *TURNING), "disc listen {job} {recording}"),
    Result(FINDINGS, "the findings", (PINS, COMB, *TURNING, MUSIC, ACCEPTED, LISTEN), "disc check {job}"),
    Result(PLAN, "the plan", (PINS, COMB, *TURNING, *MEASURES, TUNE, FINDINGS, DECISIONS), "disc repin {job}"),
)
CALLED = {
    PINS: "the pins",
    COMB: "the comb",
    TUNE: "the tune",
    FINDINGS: "the findings",
    LISTEN: "the recording heard",
    DECISIONS: "the decisions",
    MUSIC: "what was set of the music",
    ACCEPTED: "the accepted tune",
}


def stale_doubts(job: Job, without: tuple[str, ...] = ()) -> tuple[Doubt, ...]:
    """One doubt for each stored result that rests on what has changed since. without: results made anew just now."""
    return tuple(doubt for name, doubt in stale_results(job).items() if name not in without)


def stale_results(job: Job) -> dict[str, Doubt]:
    """The stale results by their file ("identify": the library's answer), in the order to make them anew."""
    now = made_from(job.folder, job.content)
    found = {}
    for result in RESULTS:
        if result.name == TUNE and "design" in job.settings:
            continue  # the tune that the disc was laid out for was not read from it
        if changed := _changed(job, result, now):
            again = result.command.format(job=job.folder, recording=_recording(job))
            verb = "rest" if result.called.endswith("findings") else "rests"
            say = f"{result.called} {verb} on what has changed since: {', '.join(changed)}."
            found[result.name] = Doubt(About.STALE, say, f"Make it anew: {again}")
    return found


def _changed(job: Job, result: Result, now: dict[str, str]) -> list[str]:
    """What has changed since the result was made, in words; nothing where the result is fresh or there is none."""
    if not (result.name in job.content.results if result.name == IDENTIFY else job.has(result.name)):
        return []
    run = next((run for run in reversed(job.content.runs) if _made(run, result.name)), None)
    if run is None:
        return []
    names = [name for name in result.rests_on if name in run.made_from and run.made_from[name] != now[name]]
    if not run.made_from:  # of an older program: the tables' digests, as far as the step did not change them itself
        told = {name: digest for name, digest in run.inputs.items() if name not in run.outputs}
        names = [name for name in (PINS, COMB) if name in told and told[name] != now[name]]
    return [_words(name, run.made_from.get(name, ""), now[name]) for name in names]


def _made(run: RunRecord, name: str) -> bool:
    if not makes_result(run.command, run.outputs):
        return False
    return run.command == IDENTIFY if name == IDENTIFY else name in run.outputs


def _words(name: str, was: str, is_now: str) -> str:
    if not name.startswith(PLATE):
        return CALLED[name]
    what = name.removeprefix(PLATE).rpartition("_")
    called = f"{what[0]} ({what[2]})" if what[0] and what[2] in ("mm", "s", "deg") else what[2]
    return f"{called.replace('_', ' ')} was {was or 'not given'}, is {is_now or 'not given'}"


def _recording(job: Job) -> str:
    name = job.content.results.get("listen", {}).get("file")
    return str(name) if name else "RECORDING"
