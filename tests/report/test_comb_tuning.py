"""How the comb is tuned stands in the report where its teeth were heard, and nowhere else."""

from __future__ import annotations

from pathlib import Path

from disc.job import create_job, open_for_writing
from disc.listen.comb.plucked_store import PLUCKED_FILE
from disc.records import Comb, Plate, Side, Tooth
from disc.report.about_music import comb_part

DRAFT = Comb(tuple(Tooth(k, Side.UPPER, 5.0 + k, pitch=60.0 + 2 * k) for k in (1, 2, 3)), draft=True)


def test_a_draft_has_a_tuning_only_where_its_teeth_were_plucked(tmp_path: Path) -> None:
    create_job(tmp_path / "watch", Plate(diameter_mm=30.0))
    with open_for_writing(tmp_path / "watch") as job:
        with job.step("comb") as stage:
            job.stage_comb(stage, DRAFT)
        before = comb_part(job)
        with job.step("comb --plucked") as stage:
            stage.write_text(PLUCKED_FILE, "{}")
        after = comb_part(job)
    assert before is not None and after is not None
    assert "Werckmeister" not in str(before) and "Werckmeister" in str(after)
