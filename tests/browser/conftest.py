"""Headless Chromium and the demo company for the browser tests; both must be there in CI."""

import os
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from tests.browser.chromium import chromium, chromium_path
from tests.browser.demo_site import DemoSite, demo_site
from tests.conftest import missing

# Playwright keeps an event loop in this thread; Django's ORM refuses to work beside one unless told so. The pages are
# served by another process, so nothing asynchronous touches the database here.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if chromium_path() is None:
        missing("Chromium")
    with chromium() as running:
        yield running


@pytest.fixture(scope="session")
def site(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[DemoSite]:
    """The demo company, one for each worker of the test run: what a test changes stays for the next ones."""
    with demo_site(tmp_path_factory.mktemp("demo")) as running:
        yield running
