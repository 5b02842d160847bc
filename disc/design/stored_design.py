"""How a disc was planned, as it stands in the settings of its job: what the plan of work must keep to."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError

from disc.design.settings import Opening, Spot
from disc.errors import BadInput
from disc.job import Job
from disc.stored import first_fault

DESIGN_SETTING = "design"


class StoredDesign(BaseModel):
    """kept: ids of old pins that stay; reused: of pins set in old holes; sizes: DesignSettings by name, in mm and s."""

    model_config = ConfigDict(extra="ignore")

    title: str = ""
    transposition: int = 0
    pin_diameter_mm: float | None = None
    pin_height_mm: float | None = None
    missing_pitch: str | None = None
    kept: tuple[int, ...] = ()
    reused: tuple[int, ...] = ()
    sizes: dict[str, Any] = {}
    keep_out: tuple[Spot | Opening, ...] = ()

    @property
    def tip_width_mm(self) -> float | None:
        """The width of a tooth's tip that the layout counted with."""
        width = self.sizes.get("tip_width_mm")
        return None if width is None else float(width)


def is_designed(job: Job) -> bool:
    """Whether the job is of a planned disc, all of whose new pins are to be set."""
    return DESIGN_SETTING in job.settings


def stored_design(job: Job) -> StoredDesign | None:
    """How the job's disc was planned; None for a disc that was read. Raises BadInput if the setting is damaged."""
    raw = job.settings.get(DESIGN_SETTING)
    if raw is None:
        return None
    try:
        return StoredDesign.model_validate(_without_blanks(raw))
    except (ValidationError, TypeError, ValueError) as error:
        why = first_fault(error) if isinstance(error, ValidationError) else str(error)
        raise BadInput(f"{job.folder}: the design in job.json is damaged ({why}). Restore it from a backup.") from error


def _without_blanks(raw: dict[str, Any]) -> dict[str, Any]:
    """Earlier versions wrote every zone with all names, those of the other kind empty."""
    zones = [{name: value for name, value in zone.items() if value is not None} for zone in raw.get("keep_out", [])]
    return {name: value for name, value in raw.items() if value is not None} | {"keep_out": zones}
