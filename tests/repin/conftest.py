"""Job folders of the invented disc: a damaged one to work on, two planned once to look at."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from disc.job import open_for_writing
from disc.records import Turns

from .material import PLATE, write_job


@pytest.fixture
def damaged_job(tmp_path: Path) -> Path:
    """A job of a damaged disc, read, transcribed and checked."""
    return write_job(tmp_path / "old-disc")


@pytest.fixture(scope="session")
def planned_job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The damaged job with its plan made once, A4, enlarged five times; only to be read."""
    from disc.repin.plan_job import PlanSettings, plan_job

    folder = write_job(tmp_path_factory.mktemp("planned") / "old-disc")
    with open_for_writing(folder) as job:
        plan_job(job, PlanSettings(enlarge=5.0))
    return folder


@pytest.fixture(scope="session")
def designed_job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job of a new disc, turning the other way, with its plan made once on Letter; only to be read."""
    from disc.repin.plan_job import PlanSettings, plan_job

    plate = replace(PLATE, turns=Turns.COUNTERCLOCKWISE, slot_width_mm=None, slot_depth_mm=None)
    folder = write_job(tmp_path_factory.mktemp("designed") / "new-disc", plate, designed=True)
    with open_for_writing(folder) as job:
        plan_job(job, PlanSettings(paper="letter", worm=90))
    return folder
