"""Results know what they were made from: each change makes stale what rests on it, and only that."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace

import pytest

from disc.doubts import doubts_to_json
from disc.job import create_job, open_for_writing, open_job
from disc.job.stale import stale_doubts, stale_files, stale_results
from disc.records import About, Comb, Pin, Plate, Side, Tooth
from disc.report.about_doubts import STALE, doubts_of_job
from disc.report.condition import gather
from disc.undo import undo
from tests.repin.material import write_job

COMB = Comb(tuple(Tooth(n, Side.UPPER, 5.0 + n, 10.0, 60.0 + n) for n in range(1, 5)))
PINS = tuple(Pin(n, Side.UPPER, 6.0 + n % 4, 8.0 * n, tooth=n % 4 + 1) for n in range(1, 41))
TUNE, IDENTIFY, LISTEN = "out/tune.json", "identify", "out/listen.json"
FINDINGS, PLAN = "out/findings.json", "out/plan.json"
ALL = [TUNE, IDENTIFY, LISTEN, FINDINGS, PLAN]
COMMANDS = {TUNE: "transcribe", LISTEN: "listen", FINDINGS: "check", PLAN: "repin"}


def make(job, name, text="{}"):
    with job.step(COMMANDS.get(name, name)) as stage:
        if name == IDENTIFY:
            job.content.results["identify"] = {"matches": []}
        else:
            stage.write_text(name, text)


@pytest.fixture
def job(tmp_path):
    made = create_job(tmp_path / "disc", Plate(28.0, revolution_s=48.0))
    with made.step("read") as stage:
        made.stage_reading(stage, PINS)
        made.stage_comb(stage, COMB)
    for name in ALL:
        make(made, name)
    return made


def new_pins(job):
    with job.step("read") as stage:
        job.stage_reading(stage, PINS[:-1])


def new_comb(job):
    with job.step("comb --table") as stage:
        job.stage_comb(stage, Comb(COMB.teeth[:3]))


def plate(**values):
    def change(job):
        job.content.change_plate(values)
        with job.step("set"):
            pass

    return change


def setting(name, value):
    def change(job):
        job.settings[name] = value
        with job.step("desk"):
            pass

    return change


@pytest.mark.parametrize(
    "change, stale, words",
    [
        (new_pins, ALL, "the pins."),
        (new_comb, ALL, "the comb."),
        (plate(turns="counterclockwise"), ALL, "turns was clockwise, is counterclockwise."),
        (plate(diameter_mm=27.5), ALL, "diameter (mm) was 28.0, is 27.5."),
        (plate(bore_mm=3.0), [PLAN], "bore (mm) was not given, is 3.0."),
        (setting("metre", "6/8"), [TUNE, FINDINGS, PLAN], "what was set of the music."),
        (setting("tune.accepted", {"title": "x"}), [FINDINGS, PLAN], "the accepted tune."),
        (setting("comb.previous_name", "x"), [], ""),
        (lambda job: make(job, LISTEN, "[1]"), [FINDINGS, PLAN], "the recording heard."),
        (lambda job: make(job, FINDINGS, "[1]"), [PLAN], "the findings."),
        (lambda job: make(job, FINDINGS), [], ""),  # made anew, and found the same
    ],
)
def test_what_rests_on_a_change_is_stale_and_nothing_else(job, change, stale, words):
    if "counter" in words:
        plate(turns="clockwise")(job)
        for name in ALL:
            make(job, name)
    assert stale_doubts(job) == ()
    change(job)
    again = open_job(job.folder)
    found = stale_results(again)
    assert list(found) == stale
    assert all(doubt.about is About.STALE and doubt.say.endswith(words) for doubt in found.values())
    for name in stale:
        assert f"disc {COMMANDS.get(name, name)} {job.folder}" in found[name].advice
        make(again, name)
    assert stale_doubts(again) == ()


def test_what_was_taken_back_makes_results_fresh_again(job):
    new_pins(job)
    assert len(stale_results(job)) == len(ALL)
    undo(job)
    assert stale_doubts(open_job(job.folder)) == ()


def test_what_rests_on_the_same_change_is_told_in_one_line_with_the_commands_in_order(job):
    papers = {"offer": "offers/offer-001.json", "drill": "out/drawings/upper.ngc", "report": "out/r.pdf"}
    for name, file in papers.items():
        with job.step(name) as stage:
            stage.write_text(file, "x")
    new_pins(job)
    (doubt,) = stale_doubts(job)
    assert doubt.say.startswith("the tune, the library's answer, ")
    assert doubt.say.endswith("has changed since: the pins.")
    commands = [words.split()[1] for words in doubt.advice.split("anew: ")[1].split(", then ")]
    assert commands == ["transcribe", "identify", "listen", "check", "repin", "offer", "drill", "report"]
    assert stale_files(job) == {TUNE, LISTEN, FINDINGS, PLAN, *papers.values()}
    assert "the plan" not in stale_doubts(job, without=(PLAN,))[0].say


def test_a_plan_of_stale_findings_is_stale_too(job):
    new_pins(job)
    make(job, PLAN)
    plan = stale_results(job)[PLAN]
    assert plan.say == "the plan rests on what has changed since: the pins."
    make(job, FINDINGS)  # the same as before: what was planned by them holds
    assert PLAN not in stale_results(job)


def test_a_job_of_an_older_program_is_told_by_the_tables_digests(job):
    for run in job.content.runs:
        run.made_from = {}
    with job.step("check", (job.path("pins.csv"), job.path("comb.csv"))) as stage:
        stage.write_text(FINDINGS, "{}")
    job.content.runs[-1].made_from = {}
    assert stale_doubts(job) == ()
    new_pins(job)
    assert list(stale_results(job)) == [FINDINGS, PLAN]


def run(*arguments):
    code = "from disc.cli import main; main()"
    return subprocess.run([sys.executable, "-c", code, *map(str, arguments)], capture_output=True, text=True)


@pytest.fixture
def checked(tmp_path):
    from disc.check.check_job import check_job
    from disc.repin.plan_job import PlanSettings, plan_job

    folder = write_job(tmp_path / "disc")
    with open_for_writing(folder) as job:
        check_job(job)
        plan_job(job, PlanSettings())
    return folder


def test_the_report_says_so_first_and_marks_the_parts(checked):
    assert not any(doubt.about is About.STALE for doubt in doubts_of_job(open_job(checked)))
    with open_for_writing(checked) as job, job.step("read") as stage:
        pins = job.pins()
        job.stage_reading(stage, (replace(pins[0], theta_deg=pins[0].theta_deg + 3.0), *pins[1:]))
    job = open_job(checked)
    doubts = doubts_of_job(job)
    assert doubts[0].about is About.STALE and "the findings and the plan rest" in doubts[0].say
    sections = {section.key: section for section in gather(job, doubts=doubts)}
    assert next(iter(sections)) == "doubts"
    marked = {key for key, section in sections.items() if getattr(section.blocks[0], "text", "") == STALE}
    assert marked >= {"findings", "plan", "estimate"} and not marked & {"comb", "map", "doubts"}
    told = json.loads(run("report", checked, "--parts", "doubts,findings", "--json").stdout)
    assert [d for d in told["doubts"] if d["about"] == "stale"] == doubts_to_json(stale_doubts(job))
    said = run("report", checked, "--parts", "doubts,findings").stdout.splitlines()
    assert said[0].startswith("In doubt (stale): the tune, the findings and the plan rest")
    assert "What was not seen, and what was assumed" in (checked / "out/report-parts.html").read_text()


def test_the_plan_says_that_its_findings_are_stale(checked):
    with open_for_writing(checked) as job:
        job.content.change_plate({"revolution_s": 61.0})
        with job.step("set"):
            pass
    told = json.loads(run("repin", checked, "--json").stdout)["doubts"]
    stale = [doubt["say"] for doubt in told if doubt["about"] == "stale"]
    assert stale and all("the plan" not in say for say in stale)
    assert any("the findings rest" in say and "is 61.0" in say for say in stale)


@pytest.mark.parametrize("command", ["transcribe", "check", "offer"])
def test_every_command_tells_what_is_stale(checked, command):
    with open_for_writing(checked) as job, job.step("read") as stage:
        job.stage_reading(stage, job.pins()[:-1])
    told = json.loads(run(command, checked, "--json").stdout)["doubts"]
    stale = [doubt for doubt in told if doubt["about"] == "stale"]
    assert len(stale) == 1 and "the plan" in stale[0]["say"] and "the pins" in stale[0]["say"]
    assert ("the findings" in stale[0]["say"]) is (command != "check")


def test_nothing_is_drilled_by_a_stale_plan(checked):
    with open_for_writing(checked) as job, job.step("read") as stage:
        job.stage_reading(stage, job.pins()[:-1])
    done = run("drill", checked)
    assert done.returncode == 2 and "the plan rests on what has changed since: the pins." in done.stderr
    assert len(done.stderr.splitlines()) == 1 and not list(checked.glob("out/drawings/*.ngc"))
