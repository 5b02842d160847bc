"""A headless browser for the page's tests, a fresh desk for each, and a record of every request the page made."""

from __future__ import annotations

import os
from urllib.parse import urlsplit

import pytest

from .page import DeskPage
from .rig import CHROMIUM_FLAGS, chromium_path, make_job, running_desk

NO_CHROMIUM = "no Chromium on this machine: the page was not tested. Install Debian's chromium, or set DISC_CHROMIUM."


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


@pytest.fixture
def job(tmp_path):
    return make_job(tmp_path / "watch")


@pytest.fixture
def open_desk(browser):
    """open_desk(folder, *args, **context) -> DeskPage; closed at the end, when its requests and errors are judged."""
    opened = []

    def open_(folder, *args, **context):
        desk = running_desk(folder, *args)
        address = desk.__enter__()
        page = DeskPage(browser, address, folder, **context)
        opened.append((desk, page))
        return page

    yield open_
    try:
        for _, page in opened:
            hosts = {urlsplit(url).hostname for url in page.requests if urlsplit(url).scheme not in ("data", "blob")}
            assert hosts == {"127.0.0.1"}
            assert page.errors == []
    finally:
        for desk, page in opened:
            page.close()
            desk.__exit__(None, None, None)
