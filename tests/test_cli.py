"""The command line: quick help, one line for every fault, nothing half-written."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

from disc.cli import repeat_options

RUN = [sys.executable, "-c", "from disc.cli import main; main()"]


def disc(*arguments, cwd=None):
    return subprocess.run([*RUN, *map(str, arguments)], capture_output=True, text=True, cwd=cwd)


def test_a_command_keeps_linear_algebra_to_one_thread_unless_told_otherwise():
    name = "OPENBLAS_NUM_THREADS"
    code = "import os, disc.cli, disc.entry; disc.cli.main = lambda: None; disc.entry.main(); "
    code += "import numpy, threadpoolctl; "
    code += "print(*{one['num_threads'] for one in threadpoolctl.threadpool_info() if one['user_api'] == 'blas'}, "
    code += f"os.environ['{name}'])"
    bare = {key: value for key, value in os.environ.items() if not key.endswith("_NUM_THREADS")}

    def said(given):
        ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=bare | given)
        return ran.stdout.split()

    assert said({}) == ["1", "1"]
    assert said({name: "2"})[-1] == "2"


def test_help_loads_nothing_heavy():
    heavy = {"numpy", "scipy", "cv2", "music21", "ezdxf", "verovio", "typst", "pydantic", "panel", "soundfile", "PIL"}
    code = "import sys, disc.cli; print(' '.join(sys.modules))"
    loaded = set(subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout.split())
    assert heavy & loaded == set()
    assert disc("--help").returncode == 0


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["sing"], "No such command 'sing'"),
        (["start"], "Missing argument 'job"),
        (["set", "j"], "nothing to set"),
        (["start", "j", "--diameter-mm", "wide"], "--diameter-mm: 'wide' is not a length"),
        (["start", "j", "--diameter-mm", "-5"], "diameter_mm"),
        (["start", "j", "--diameter-mm", "nan"], "--diameter-mm: 'nan' is not a length"),
        (["comb", "j", "--from-pins"], "no job here"),
        (["comb", "j"], "say where the comb comes from"),
    ],
)
def test_bad_use_is_one_line_and_exit_code_2(tmp_path, arguments, words):
    done = disc(*arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_json_is_one_value_and_nothing_else(tmp_path):
    done = disc("start", tmp_path / "j", "--diameter-mm", 28, "--turns", "counterclockwise", "--json")
    assert json.loads(done.stdout)["plate"]["turns"] == "counterclockwise"
    assert done.stderr == ""


@pytest.mark.parametrize(
    "given, meant",
    [
        ("read j --upper a b --lower c --json", "read j --upper a --upper b --lower c --json"),
        ("read j --rim-upper 1,2 3,4 5,6", "read j --rim-upper 1,2 --rim-upper 3,4 --rim-upper 5,6"),
        ("read --upper a j", "read --upper a j"),
        ("repin j --wires 0.2 x", "repin j --wires 0.2 x"),
    ],
)
def test_several_values_after_one_option(given, meant):
    assert repeat_options(given.split()) == meant.split()
