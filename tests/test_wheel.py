"""The wheel holds everything the program opens at run time: whatever lies in disc/, and the demo's disc."""

from __future__ import annotations

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
BUILD = "import sys; from setuptools import build_meta; build_meta.build_wheel(sys.argv[1])"


@pytest.fixture(scope="module")
def names(tmp_path_factory) -> set[str]:
    """Names in a wheel built from a clean copy, so that no earlier build's leavings are taken in."""
    folder = tmp_path_factory.mktemp("wheel")
    source, out = folder / "source", folder / "out"
    junk = shutil.ignore_patterns("__pycache__", ".*", "*.egg-info")
    for part in ("disc", "samples"):
        shutil.copytree(ROOT / part, source / part, ignore=junk)
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copyfile(ROOT / name, source / name)
    built = subprocess.run([sys.executable, "-c", BUILD, str(out)], cwd=source, capture_output=True, text=True)
    assert built.returncode == 0, built.stderr[-2000:]
    (wheel,) = out.glob("*.whl")
    return set(zipfile.ZipFile(wheel).namelist())


def files_of(folder: Path) -> set[Path]:
    found = {path for path in folder.rglob("*") if path.is_file()}
    return {path for path in found if not any(part.startswith((".", "__pycache__")) for part in path.parts[-3:])}


def test_every_file_of_the_package_is_in_the_wheel(names):
    wanted = {path.relative_to(ROOT).as_posix() for path in files_of(ROOT / "disc")}
    assert {Path(name).suffix for name in wanted} >= {".py", ".onnx", ".js", ".css", ".html", ".toml", ".json"}
    assert wanted - names == set()


def test_the_demo_disc_is_in_the_wheel_where_the_program_looks_for_it(names):
    place = "share/disc/samples/first-disc/"
    inside = {name.partition(place)[2] for name in names if ".data/data/" in name}
    assert inside >= {path.name for path in files_of(ROOT / "samples" / "first-disc")} >= {"sample.json", "upper.jpg"}


def test_nothing_else_is_in_the_wheel(names):
    assert {name.split("/")[0].split("-")[0].split(".")[0] for name in names} == {"disc"}
    assert not any(name.startswith("disc/tests") or "/__pycache__/" in name for name in names)


def test_an_installed_program_finds_the_demo_disc(tmp_path, monkeypatch):
    import disc.demo

    installed = tmp_path / "lib" / "disc" / "demo.py"
    shutil.copytree(ROOT / "samples" / "first-disc", tmp_path / "share" / "disc" / "samples" / "first-disc")
    monkeypatch.setattr(disc.demo, "__file__", str(installed))
    monkeypatch.setattr(sys, "prefix", str(tmp_path))
    assert disc.demo.sample_folder() == tmp_path / "share" / "disc" / "samples" / "first-disc"
