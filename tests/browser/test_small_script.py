"""The little that our own script does: asking before something is lost, and bringing notices to the reader."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Dialog, Page, expect

from tests.browser.demo_site import DemoSite
from tests.browser.visit import send_out, signed_in

pytestmark = pytest.mark.browser


@pytest.fixture
def page(browser: Browser, site: DemoSite) -> Iterator[Page]:
    context = signed_in(browser, site, "owner")
    yield context.new_page()
    context.close()


def test_a_destructive_button_asks_first(page: Page) -> None:
    """Saying no sends nothing; saying yes does it."""
    asked: list[str] = []

    def answer(dialog: Dialog, yes: bool) -> None:
        asked.append(dialog.message)
        dialog.accept() if yes else dialog.dismiss()

    page.goto("/people/")
    page.get_by_role("link", name="Petra Quenlock").click()
    page.once("dialog", lambda dialog: answer(dialog, yes=False))
    page.get_by_role("button", name="Switch this account off").click()
    expect(page.locator(".lead")).not_to_contain_text("switched off")
    page.once("dialog", lambda dialog: answer(dialog, yes=True))
    page.get_by_role("button", name="Switch this account off").click()
    expect(page.locator(".lead")).to_contain_text("switched off")
    assert asked == ["They are signed out at once. Switch this account off?"] * 2
    page.get_by_role("button", name="Switch this account on").click()


def test_keyboard_reaches_the_content_first(page: Page) -> None:
    """The first press of Tab offers to skip the navigation, visibly, and leads to the content."""
    page.goto("/")
    page.keyboard.press("Tab")
    skip = page.locator(".skip")
    expect(skip).to_be_focused()
    assert skip.bounding_box()["y"] >= 0
    page.keyboard.press("Enter")
    expect(page.locator("#content")).to_be_focused()


def test_htmx_runs_without_inline_code(page: Page) -> None:
    """The library is loaded from our own address, and neither evaluates text nor adds styles."""
    page.goto("/")
    settings = page.evaluate("({...htmx.config})")
    assert (settings["allowEval"], settings["includeIndicatorStyles"], settings["selfRequestsOnly"]) == (
        False,
        False,
        True,
    )
    assert page.locator("style").count() == 0


def test_an_error_in_a_part_is_read_out(page: Page) -> None:
    """A refused step leaves the page as it is and puts its words where screen readers listen."""
    page.goto("/day/")
    heading = page.locator("h1").inner_text()
    page.evaluate("htmx.ajax('GET', '/jobs/999999999/', '#plan')")
    expect(page.locator("#messages .notice")).to_be_visible()
    assert page.locator("h1").inner_text() == heading
    assert page.locator("#plan").count() == 1


def test_the_pages_print_without_controls(page: Page) -> None:
    """On paper there is no navigation and no button."""
    page.goto("/day/")
    page.emulate_media(media="print")
    expect(page.locator("nav.nav")).to_be_hidden()
    assert page.locator("button:visible").count() == 0
    expect(page.locator("#plan ol").first).to_be_visible()


def test_the_printed_sheet_tells_mix_and_steps(page: Page, browser: Browser, site: DemoSite) -> None:
    """Folded on the page, they were folded on the paper too, which cannot be opened."""
    send_out(browser, site)
    page.goto("/day/")
    page.goto(page.get_by_role("link", name="Route sheet").first.get_attribute("href") or "")
    steps = page.locator("details[data-on-paper] li").first
    expect(steps).to_be_hidden()
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    expect(steps).to_be_visible()
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    expect(steps).to_be_hidden()
