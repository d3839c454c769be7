"""Headless Chromium of the system, and what every picture or check of a page needs."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Browser, sync_playwright

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WIDE, NARROW = 1280, 360


def chromium_path() -> str | None:
    return shutil.which("chromium") or shutil.which("chromium-browser")


@contextmanager
def chromium() -> Iterator[Browser]:
    """A browser that ends with the block."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=FLAGS)
        try:
            yield browser
        finally:
            browser.close()
