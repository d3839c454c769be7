"""Maps in a real browser: drawn from our own server, and a place set with a press."""

from itertools import combinations

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.chromium import NARROW, WIDE
from tests.browser.demo_site import DemoSite
from tests.browser.visit import signed_in

pytestmark = pytest.mark.browser

MOST_HOUSES = 6  # some houses stand where few streets have names, or were moved by another test


@pytest.mark.parametrize("width", [WIDE, NARROW])
def test_the_days_routes_on_the_map(browser: Browser, site: DemoSite, width: int) -> None:
    """Stops with their numbers, lines along the streets, the sketch away; every request goes to our own server."""
    context = signed_in(browser, site, "office", width)
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto("/day/")
    page.wait_for_function("document.querySelectorAll('.map path.leg').length > 0")
    expect(page.locator(".map-canvas .pin-stop").first).to_be_visible()
    expect(page.locator("[data-without-map]")).to_be_hidden()
    page.wait_for_load_state("networkidle")
    assert any("/api/roads/background/" in url for url in asked)
    assert any(url.endswith("/map/") for url in asked)
    assert all(url.startswith((site.address, "data:")) for url in asked)
    context.close()


def test_without_scripts_the_sketch_stays(browser: Browser, site: DemoSite) -> None:
    context = signed_in(browser, site, "office")
    state = context.storage_state()
    context.close()
    plain = browser.new_context(java_script_enabled=False, base_url=site.address, storage_state=state)
    page = plain.new_page()
    page.goto("/day/")
    expect(page.locator(".sketch svg.chart-wide")).to_be_visible()
    expect(page.locator(".map-canvas")).to_be_hidden()
    plain.close()


def test_a_place_is_set_with_a_press(browser: Browser, site: DemoSite) -> None:
    """A press on the map fills the fields in; the form saves them."""
    context = signed_in(browser, site, "office")
    page = context.new_page()
    page.goto("/properties/")
    page.locator("tbody th a").first.click()
    page.get_by_role("link", name="set the place").click()
    before = page.input_value("#id_latitude")
    page.locator(".map-canvas").click(position={"x": 60, "y": 200})
    after = page.input_value("#id_latitude"), page.input_value("#id_longitude")
    assert after[0] != before
    page.locator("#place-form button[type=submit]").click()
    expect(page.locator("main")).to_contain_text(after[0].rstrip("0"))
    context.close()


def test_street_names_do_not_lie_on_each_other(browser: Browser, site: DemoSite) -> None:
    """Where the map is near enough to name streets: several names, and each of them can be read."""
    context = signed_in(browser, site, "office", NARROW)
    page = context.new_page()
    page.goto("/properties/")
    houses = [str(link.get_attribute("href")) for link in page.locator("tbody th a").all()[:MOST_HOUSES]]
    most = 0
    for house in houses:
        page.goto(house)
        page.get_by_role("link", name="set the place").click()
        page.wait_for_load_state("networkidle")
        boxes = page.locator(".map-street span").evaluate_all(
            "all => all.map((one) => one.getBoundingClientRect())"
            ".map((box) => [box.left, box.top, box.right, box.bottom])"
        )
        assert [pair for pair in combinations(boxes, 2) if overlap(*pair)] == []
        most = max(most, len(boxes))
    assert most > 2
    context.close()


def overlap(one: list[float], other: list[float]) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
