"""Chalk in a real browser: the property with its sketch and charts, the list with its map, at both widths."""

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.browser.chromium import NARROW, WIDE
from tests.browser.demo_site import DemoSite
from tests.browser.test_every_page import barriers, faults_of, watched
from tests.browser.visit import signed_in

pytestmark = pytest.mark.browser


@pytest.fixture(params=[WIDE, NARROW], ids=["wide", "narrow"])
def page(request: pytest.FixtureRequest, browser: Browser, site: DemoSite) -> Iterator[Page]:
    context = signed_in(browser, site, "owner", request.param)
    yield context.new_page()
    context.close()


def test_walls_by_when_they_pass_the_limit(page: Page) -> None:
    """Every wall that was read: numbers on the map are those of the list, refusals are said in words."""
    complaints = watched(page)
    page.goto("/chalk/")
    page.select_option("#id_when", "passed")
    page.click("main form button[type=submit]")
    expect(page.locator("tbody tr").first).to_contain_text("read at the limit")
    expect(page.locator(".map-canvas .pin-stop").first).to_be_visible()
    page.select_option("#id_when", "too_little")
    page.click("main form button[type=submit]")
    expect(page.locator("tbody tr").first).to_contain_text("too little data")
    expect(page.locator(".map-canvas .pin-place").first).to_be_visible()
    numbers = page.locator(".map-canvas .pin").all_text_contents()
    listed = page.locator("tbody tr td.num:first-child").all_text_contents()
    assert numbers
    assert {number.strip() for number in numbers} <= {cell.split()[-1] for cell in listed}
    assert barriers(page, Axe()) + faults_of(page) + complaints == []


def test_a_property_with_its_walls(page: Page) -> None:
    """From the list to the house: a sketch with a number at each wall, the same in the table, a chart for each."""
    complaints = watched(page)
    page.goto("/chalk/?when=passed")  # how many pass this season depends on the time of the year
    page.locator("tbody th a").first.click()
    expect(page.locator("figure.house svg")).to_be_visible()
    marks = page.locator("figure.house .house-mark").count()
    assert marks == page.locator("section[aria-labelledby=chalk] tbody tr").count()
    assert page.locator("svg.chalk-chart .band").count() >= 1
    expect(page.locator("section[aria-labelledby=due]")).to_contain_text("Why:")
    assert barriers(page, Axe()) + faults_of(page) + complaints == []
