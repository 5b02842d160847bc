"""The work plan as the page shows it."""

from __future__ import annotations

from typing import Any

from disc.job import Job


def page_plan(job: Job) -> dict[str, Any]:
    """{"made": whether there is a plan, ...}."""
    return {"made": False}
