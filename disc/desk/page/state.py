"""Everything the page shows when it opens, as one JSON object."""

from __future__ import annotations

from typing import Any

from disc import __version__
from disc.check.kinds import KINDS
from disc.check.store import FINDINGS_FILE
from disc.condition_marks import MARKS
from disc.desk.open_job.saved import saved_files
from disc.desk.open_job.session import Session
from disc.desk.page.findings import page_findings, page_plan
from disc.desk.page.music import page_music
from disc.desk.page.sheets import screen_turn, sheet_lines
from disc.desk.work.close_ups import close_ups_shown
from disc.desk.work.mark_place import marks_shown
from disc.desk.work.printed import print_title
from disc.desk.work.settings import settings_shown
from disc.listen.kept_recordings import recordings_of
from disc.records import Condition, Side
from disc.words import CAUTIONS, plain


def page_state(session: Session) -> dict[str, Any]:
    """The state of the desk. Where there is no job yet, only what is needed to start one."""
    head = {
        "version": __version__,
        "folder": session.folder.resolve().name,
        "rev": session.rev,
        "busy": session.busy,
        "conditions": [c.value for c in Condition],
        "marks": {c.value: {"colour": mark.colour, "strokes": mark.strokes} for c, mark in MARKS.items()},
        "kinds": [{"name": k.value, "heading": i.heading} for k, i in KINDS.items()],
        "cautions": CAUTIONS,
    }
    job = session.job
    if job is None:
        return head | {"job": False}
    music = page_music(session.derived, session.comb, session.derived_rev)
    return head | {
        "job": True,
        "plate": plain(job.plate) | {"assumed": sorted(job.plate.assumed)},
        "screen_turn": screen_turn(job.plate),
        "draft_comb": bool(session.comb and session.comb.draft),
        "has_comb": session.comb is not None,
        "settings": settings_shown(job),
        "hand_marks": marks_shown(job),
        "close_ups": close_ups_shown(session, job),
        "sheets": _sheets(session),
        "pins": session.all_pins(),
        "history": session.history_state(),
        "music": music,
        "doubts": music["doubts"],
        "heard": session.heard_now(),
        "pending": job.has(FINDINGS_FILE) and not session.checked.was_checked,
        "checked_rev": session.checked_rev,
        "findings": page_findings(session.checked),
        "plan": page_plan(session.checked),
        "picture_stamp": "-".join(digest[:8] for digest in job.content.photos.values()) or job.content.created,
        "plucked": session.plucked,
        "print": print_title(job),
        "files": saved_files(job),
        "recordings": recordings_of(job),
        "steps_done": sorted(job.content.results),
    }


def _sheets(session: Session) -> list[dict[str, Any]]:
    assert session.job is not None
    return [
        {
            "name": sheet.name,
            "title": sheet.title,
            "sides": [Side(side).value for side in sheet.sides],
            "width_px": sheet.width_px,
            "height_px": sheet.height_px,
            "picture": sheet.picture,
            "lines": sheet_lines(sheet, session.job.plate, session.comb),
        }
        for sheet in session.sheets.values()
    ]
