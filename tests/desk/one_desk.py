"""One running desk for all tests of a file: its job is laid out anew before each, and its page begins anew.

A desk and a browser's window of their own cost several seconds of processor time; most tests only want a fresh job and
a fresh page. A file says so with `ONE_DESK = True` (see conftest.py).
"""

from __future__ import annotations

import os
import shutil
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from .page import POLL_MS, DeskPage
from .rig import running_desk
from .sample import copied

KEPT = ".lock"  # held by the desk while it writes
JOB = "job.json"
# A later state than this one is shown, with the music and the findings that belong to it.
ANEW = """(before) => {
  const { rev, music, findings } = document.body.dataset;
  return Number(rev) > before && music === rev && findings === rev;
}"""


class OneDesk:
    """folder: the job of the desk. The desk starts when a page is first asked for."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._address = ""
        self._ends = ExitStack()
        self._pages: dict[str, DeskPage] = {}
        self._rev = 0  # of the last test's state: the job laid out since has a later one

    def lay_out(self, source: Path) -> Path:
        """The job as it is in source; whatever was there goes. job.json comes last: by its time the desk sees it."""
        if not self.folder.exists():
            return copied(source, self.folder)
        for one in self.folder.iterdir():
            if one.name not in (KEPT, JOB):
                shutil.rmtree(one) if one.is_dir() else one.unlink()
        skipped = shutil.ignore_patterns(KEPT, ".desk*", JOB)
        shutil.copytree(source, self.folder, ignore=skipped, dirs_exist_ok=True)
        fresh = self.folder / f"{JOB}.new"
        shutil.copyfile(source / JOB, fresh)
        os.replace(fresh, self.folder / JOB)
        return self.folder

    def page(self, browser: Any, **context: Any) -> DeskPage:
        """A page that has just been opened on the job as it was laid out."""
        if not self._address:
            self._address = self._ends.enter_context(running_desk(self.folder))
        key = repr(sorted(context.items()))
        if key in self._pages:
            self._pages[key].begin_anew()
        else:
            self._pages[key] = DeskPage(browser, self._address, self.folder, **context)
        page = self._pages[key]
        page.page.wait_for_function(ANEW, arg=self._rev, polling=POLL_MS)
        return page

    def leave(self, page: DeskPage) -> None:
        """The test has ended: the page sees nothing of the next one's job."""
        for other in page.context.pages:
            if other is not page.page:
                other.close()
        page.page.wait_for_function("() => document.body.dataset.rev")  # it may be on its way after a reload
        self._rev = int(page.page.evaluate("() => document.body.dataset.rev"))
        page.page.goto("about:blank")

    def close(self) -> None:
        """End pages and desk."""
        for page in self._pages.values():
            page.close()
        self._ends.close()
