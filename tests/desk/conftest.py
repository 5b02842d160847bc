"""A headless browser for the page's tests, a fresh desk for each, and a record of every request the page made."""

from __future__ import annotations

import os
from urllib.parse import urlsplit

import pytest
from filelock import FileLock

from .one_desk import OneDesk
from .page import DeskPage
from .rig import CHROMIUM_FLAGS, chromium_path, running_command, running_desk
from .sample import check_sample, copied, read_sample

NO_CHROMIUM = "no Chromium on this machine: the page was not tested. Install Debian's chromium, or set DISC_CHROMIUM."


@pytest.fixture(scope="session", autouse=True)
def own_state(tmp_path_factory):
    """Where desks remember their places: not in the home of whoever runs the tests."""
    os.environ["XDG_STATE_HOME"] = str(tmp_path_factory.mktemp("state"))


@pytest.fixture(scope="session")
def browser():
    path = chromium_path()
    if path is None:
        if os.environ.get("DISC_CHROMIUM_REQUIRED") == "1":
            pytest.fail(NO_CHROMIUM)
        pytest.skip(NO_CHROMIUM)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=CHROMIUM_FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def sample_read(tmp_path_factory):
    """The shipped sample, read once for all workers; not to be written to."""
    return _made_once(tmp_path_factory, "sample-read", read_sample)


@pytest.fixture(scope="session")
def sample_checked(sample_read, tmp_path_factory):
    """The shipped sample, read, transcribed and checked once for all workers; not to be written to."""
    return _made_once(tmp_path_factory, "sample-checked", lambda folder: check_sample(copied(sample_read, folder)))


def _made_once(tmp_path_factory, name, make):
    """The folder of this name that all workers of a run share: the first one that needs it makes it."""
    base = tmp_path_factory.getbasetemp()
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    with FileLock(shared / f"{name}.lock"):
        made = shared / f"{name}.made"
        if not made.exists():
            make(shared / name / "watch")
            made.touch()
    return shared / name / "watch"


@pytest.fixture(scope="module")
def one_desk(request, tmp_path_factory):
    """The one desk of a file that says ONE_DESK = True; None in another."""
    if not getattr(request.module, "ONE_DESK", False):
        yield None
        return
    made = OneDesk(tmp_path_factory.mktemp("one") / "watch")
    yield made
    made.close()


@pytest.fixture
def own_job(sample_read, tmp_path):
    """The sample as read, with its comb: a test's own copy, in any file."""
    return copied(sample_read, tmp_path / "watch")


@pytest.fixture
def job(sample_read, one_desk, tmp_path):
    """The sample as read, with its comb: a test's own copy."""
    return one_desk.lay_out(sample_read) if one_desk else copied(sample_read, tmp_path / "watch")


@pytest.fixture
def checked_job(sample_checked, one_desk, tmp_path):
    """The sample with score and findings: a test's own copy."""
    return one_desk.lay_out(sample_checked) if one_desk else copied(sample_checked, tmp_path / "watch")


@pytest.fixture
def open_desk(browser, one_desk):
    """open_desk(folder, earlier, **context) -> DeskPage; closed at the end, when its requests and errors are judged."""
    opened = []
    again = []

    def open_(folder, earlier=None, by_command=False, **context):
        if one_desk and folder == one_desk.folder:
            assert earlier is None and not by_command, "this needs a desk of its own: take own_job"
            again.append(one_desk.page(browser, **context))
            return again[-1]
        desk = running_command(folder) if by_command else running_desk(folder, earlier)
        address = desk.__enter__()
        page = DeskPage(browser, address, folder, **context)
        opened.append((desk, page))
        return page

    yield open_
    try:
        for page in (*again, *(page for _, page in opened)):
            hosts = {urlsplit(url).hostname for url in page.requests if urlsplit(url).scheme not in ("data", "blob")}
            assert hosts == {"127.0.0.1"}
            assert page.errors == []
    finally:
        for page in again:
            one_desk.leave(page)
        for desk, page in opened:
            page.close()
            desk.__exit__(None, None, None)
