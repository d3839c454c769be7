"""A crew lead walks around a house while the signal comes and goes: everything goes up, in order, exactly once."""

import re
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect

from tests import factories
from tests.browser.chromium import NARROW
from tests.browser.demo_site import DemoSite
from tests.browser.test_every_page import faults_of
from tests.browser.visit import send_out, signed_in

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def sent(browser: Browser, site: DemoSite) -> DemoSite:
    """The demo's day, sent out to the crews."""
    send_out(browser, site)
    return site


@pytest.fixture
def phone(browser: Browser, sent: DemoSite) -> Any:
    context = signed_in(browser, sent, "crew lead", NARROW)
    context.set_default_timeout(15_000)
    yield context.new_page()
    context.close()


def fill_in(page: Page) -> None:
    """Three spots on the first wall, and one finding."""
    wall = page.locator("[data-wall]").first
    if not wall.is_visible():  # a walkthrough is there already: this one corrects it
        page.get_by_text("Write down a new walkthrough instead").click()
    for number, grade in enumerate(("3", "2", "4")):
        wall.locator(".spot").nth(number).locator("label", has_text=grade).first.click()
    page.get_by_label("outlet without a cover").check()


def test_the_signal_goes_in_the_middle(phone: Page, tmp_path: Path) -> None:
    """Off before the last tap; the page says what waits, opens again offline, and sends once when it is back."""
    phone.goto("/crew/")
    phone.evaluate("navigator.serviceWorker.ready")
    path = phone.locator("a[data-keep][href*='/walkthrough/']").last.get_attribute("href")
    phone.goto(path)
    assert faults_of(phone) == []
    phone.wait_for_function("navigator.serviceWorker.controller !== null")
    phone.wait_for_function("path => caches.match(path).then(Boolean)", arg=path)
    fill_in(phone)
    phone.reload()
    expect(phone.get_by_label("outlet without a cover")).to_be_checked()
    expect(phone.locator(".spot input:checked")).to_have_count(3)
    names = ["one.jpg", "two.jpg"]
    for size, name in zip(((640, 480), (300, 200)), names, strict=True):
        (tmp_path / name).write_bytes(factories.make_picture(size=size))
    phone.set_input_files("#photos", [tmp_path / name for name in names])
    sent: list[str] = []
    phone.context.on("request", lambda request: sent.append(request.method) if "/api/walk" in request.url else None)
    phone.context.set_offline(True)
    phone.get_by_role("button", name="Done: write it down").click()
    waiting = phone.locator("#waiting")
    expect(waiting).to_contain_text("walkthroughs 1, pictures 2")
    phone.reload()
    expect(phone.locator("#waiting")).to_contain_text("walkthroughs 1, pictures 2")
    offline = len(sent)
    phone.context.set_offline(False)
    expect(phone.get_by_text("2 of 2 pictures are here")).to_be_visible()
    assert sent[offline:] == ["POST", "PUT", "PUT"]
    phone.reload()
    phone.evaluate("window.dispatchEvent(new Event('online'))")
    phone.wait_for_timeout(500)
    expect(phone.get_by_text("2 of 2 pictures are here")).to_be_visible()
    assert sent[offline:] == ["POST", "PUT", "PUT"]
    phone.get_by_role("button", name="Show the homeowner").click()
    expect(phone.locator(".notice-text figure")).to_have_count(2)
    expect(phone.locator(".notice-text")).to_contain_text("chalk 3 of 5")
    assert faults_of(phone) == []
    phone.get_by_label("Your name").fill("Ann Sample")
    phone.get_by_role("button", name="I have seen it").click()
    expect(phone.get_by_text("Acknowledged. The work may start.")).to_be_visible()


def test_an_answer_that_was_lost_is_asked_again(phone: Page) -> None:
    """The server took it, the phone never heard: it sends again, and there is still one."""
    phone.goto("/crew/")
    path = phone.locator("a[data-keep][href*='/walkthrough/']").first.get_attribute("href")
    phone.goto(path)
    phone.evaluate("navigator.serviceWorker.ready")
    lost: list[str] = []

    def lose(route: Any) -> None:
        if not lost:
            lost.append(route.fetch().text())
            route.abort()
        else:
            route.continue_()

    phone.context.route("**/api/walkthroughs/", lose)
    fill_in(phone)
    phone.get_by_role("button", name="Done: write it down").click()
    expect(phone.locator("#waiting")).to_contain_text("walkthroughs 1, pictures 0")
    phone.evaluate("window.dispatchEvent(new Event('online'))")
    expect(phone.get_by_text("Written down")).to_be_visible()
    assert '"id"' in lost[0]
    answer = phone.evaluate(
        "id => fetch('/crew/walkthrough/' + id + '/').then(page => page.text())", path.rstrip("/").split("/")[-1]
    )
    assert "0 of 0 pictures are here" in answer


def test_what_is_refused_is_said(phone: Page, tmp_path: Path) -> None:
    """A file that is no picture: the rest goes up, the page says what was not taken, and it can be thrown away."""
    phone.goto("/crew/")
    phone.goto(phone.locator("a[data-keep][href*='/walkthrough/']").nth(1).get_attribute("href"))
    phone.evaluate("navigator.serviceWorker.ready")
    fill_in(phone)
    (tmp_path / "zip.jpg").write_bytes(b"PK\x03\x04" + b"\0" * 100)
    phone.set_input_files("#photos", tmp_path / "zip.jpg")
    phone.get_by_role("button", name="Done: write it down").click()
    expect(phone.locator("#waiting")).to_contain_text("Not taken: This is no picture that we take")
    phone.get_by_role("button", name="Throw away what was not taken").click()
    expect(phone.locator("#waiting")).to_be_hidden()


def test_the_homeowner_far_away(phone: Page, browser: Browser, sent: DemoSite) -> None:
    """Nobody home, sent by email; the link opens without an account, in two languages, and takes one name."""
    phone.goto("/crew/")
    path = phone.locator("a[data-keep][href*='/walkthrough/']").nth(2).get_attribute("href")
    phone.goto(path)
    fill_in(phone)
    phone.get_by_role("button", name="Done: write it down").click()
    phone.get_by_role("button", name="Show the homeowner").click()
    phone.get_by_text("Nobody is home").click()
    phone.get_by_role("button", name="Send it and write that down").click()
    expect(phone.get_by_text("Written down. The work may start.")).to_be_visible()
    office = signed_in(browser, sent, "office")
    messages = office.new_page()
    messages.goto("/messages/")
    messages.goto(messages.locator("main tbody th a").first.get_attribute("href"))
    link = re.search(r"http\S+/notice/[^\s<\"]+", messages.content()).group(0)
    office.close()
    context = browser.new_context(viewport={"width": NARROW, "height": 800}, base_url=sent.address)
    page = context.new_page()
    page.goto(urlsplit(link).path)
    for language, button in (("es", "Lo he visto"), ("en", "I have seen it")):
        page.goto(re.sub(r"/(en|es)/$", f"/{language}/", page.url))
        assert faults_of(page) == []
        expect(page.get_by_role("button", name=button)).to_be_visible()
    page.get_by_label("Your name").fill("Ann Sample")
    page.get_by_role("button", name="I have seen it").click()
    expect(page.get_by_role("heading", name="Acknowledged")).to_be_visible()
    assert faults_of(page) == []
    context.close()
