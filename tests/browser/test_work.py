"""A crew lead works through a stop's steps while the signal goes: what was pressed goes up once, with its time."""

import re
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.chromium import NARROW
from tests.browser.demo_site import DemoSite
from tests.browser.test_every_page import faults_of
from tests.browser.visit import send_out, signed_in

pytestmark = pytest.mark.browser
LEAST_TARGET_PX = 48


@pytest.fixture
def phone(browser: Browser, site: DemoSite) -> Any:
    send_out(browser, site)
    context = signed_in(browser, site, "crew lead", NARROW)
    context.set_default_timeout(15_000)
    yield context.new_page()
    context.close()


def open_work(page: Page, number: int) -> None:
    page.goto("/crew/")
    page.evaluate("navigator.serviceWorker.ready")
    page.goto(page.locator("a[data-keep][href*='/work/']").nth(number).get_attribute("href"))
    page.wait_for_function("navigator.serviceWorker.controller !== null")


def test_steps_without_a_signal(phone: Page) -> None:
    """Pressed offline, waiting in words, up once when the signal is back, with the time at which it was pressed."""
    open_work(phone, 0)
    assert faults_of(phone) == []
    buttons = phone.locator(".work-press")
    heights = buttons.evaluate_all("all => all.map(one => one.getBoundingClientRect().height)")
    assert min(heights) >= LEAST_TARGET_PX
    sent: list[str] = []
    phone.context.on("request", lambda request: sent.append(request.url) if "/api/jobs/" in request.url else None)
    phone.context.set_offline(True)
    for number in range(2):
        buttons.nth(number).click()
        expect(phone.locator("#waiting")).to_contain_text(f"entries {number + 1}")
    before = len(sent)
    phone.context.set_offline(False)
    expect(phone.locator(".work-press .tag-good")).to_have_count(2)
    assert len(sent) - before == 2


def test_what_must_not_meet_is_said(phone: Page) -> None:
    """Hypochlorite, then acid with no rinse between: not taken, in words; after the rinse it is."""
    open_work(phone, 1)
    phone.locator("summary", has_text="Stock bleach").last.evaluate("one => { one.parentElement.open = true; }")
    phone.get_by_role("button", name="Pour Stock bleach").click()
    expect(phone.get_by_text("Not rinsed yet: hypochlorite")).to_be_visible()
    phone.locator("summary", has_text="Deck brightener").click()
    phone.get_by_role("button", name="Pour Deck brightener").click()
    expect(phone.locator("#waiting")).to_contain_text(re.compile("Not taken: Work at .+: STOP\\."))
    phone.get_by_role("button", name="Throw it away").click()
    phone.get_by_role("button", name="Rinsed", exact=True).click()
    expect(phone.get_by_text("whole house: rinsed")).to_be_visible()
    phone.locator("summary", has_text="Deck brightener").click()
    phone.get_by_role("button", name="Pour Deck brightener").click()
    expect(phone.get_by_text(re.compile("whole house: Deck brightener"))).to_be_visible()
    assert faults_of(phone) == []


def test_what_waited_without_a_signal_is_kept_and_warned_of(phone: Page) -> None:
    """Hypochlorite is pressed without a signal; meanwhile acid goes up from elsewhere. Minutes later the phone finds
    its signal: nothing is refused, and the page says that the two met and stops every product until the rinse."""
    phone.clock.install()
    open_work(phone, 2)
    acid = phone.locator("form[data-queue]", has_text="Pour Deck brightener")
    path, product = acid.get_attribute("data-queue"), acid.locator("[name=product]").get_attribute("value")
    phone.context.set_offline(True)
    phone.locator("summary", has_text="Stock bleach").last.evaluate("one => { one.parentElement.open = true; }")
    phone.get_by_role("button", name="Pour Stock bleach").click()
    expect(phone.locator("#waiting")).to_contain_text("entries 1")
    token = next(one["value"] for one in phone.context.cookies() if one["name"] == "csrftoken")
    headers = {"X-CSRFToken": token, "Referer": phone.url}
    assert phone.context.request.post(path or "", data={"product": product}, headers=headers).ok
    phone.clock.fast_forward("03:00")
    phone.context.set_offline(False)
    expect(phone.get_by_text(re.compile("STOP, whole house: by the record hypochlorite"))).to_be_visible()
    expect(phone.get_by_text(re.compile("whole house: Stock bleach"))).to_be_visible()
    expect(phone.locator("#waiting")).not_to_contain_text("Not taken")
    expect(phone.locator("summary", has_text="STOP")).to_have_count(phone.locator("form[data-queue*='/pour/']").count())
    assert faults_of(phone) == []
    phone.get_by_role("button", name="Rinsed", exact=True).click()
    expect(phone.get_by_text("whole house: rinsed")).to_be_visible()
    expect(phone.get_by_text(re.compile("^STOP, "))).to_have_count(0)
