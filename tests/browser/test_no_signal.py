"""A whole stop without a signal: walked, shown, acknowledged, started; once there is one, everything is there once."""

import re
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect

from jobs.work.models import Visit
from pricing.catalogue.models import Service
from routing.dispatch.services import plan_send_out
from shared import clock
from shared.people.models import User
from tests import factories
from tests.browser.chromium import NARROW, WIDE
from tests.browser.test_every_page import faults_of
from tests.browser.test_walkthrough import done, fill_in, open_form, open_walkthrough, picture, tap_spots

pytestmark = pytest.mark.browser


@pytest.fixture
def site(transactional_db: None, live_server: Any) -> Any:
    """Two houses with two walls each on the crew lead's route of today, whatever day it is, served by the product."""
    lead = factories.make_user(username="lead", role="crew_lead")
    crew = factories.make_crew(lead=lead)
    jobs = [factories.make_job() for _ in range(2)]
    for job in jobs:
        for name in ("north wall", "south wall"):
            factories.make_wall(property=job.property, name=name, area_sqft=500)
    today = clock.local_date(crew.yard.timezone, clock.now())
    plan_send_out(plan=factories.make_planned_day((crew, jobs), work_date=today), expected_version=1)
    return live_server


def window(browser: Browser, site: Any, client: Any, width: int = NARROW) -> BrowserContext:
    """A browser that is signed in as a test client is."""
    context = browser.new_context(viewport={"width": width, "height": 800}, base_url=site.url)
    session = client.cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": site.url}])
    context.set_default_timeout(15_000)
    return context


@pytest.fixture
def phone(browser: Browser, site: Any, client_of: Any) -> Any:
    context = window(browser, site, client_of(User.objects.get(username="lead")))
    yield context.new_page()
    context.close()


def card_of(page: Page, path: str) -> Locator:
    return page.locator(".stop-card", has=page.locator(f"a[href='{path}']"))


def button(card: Locator, name: str) -> Locator:
    return card.get_by_role("button", name=name, exact=True)


KEPT = """async (path) => {
  for (let tries = 0; !(await caches.match(path)); tries += 1) {
    if (tries > 300) {
      throw new Error(`${path} was not kept`);
    }
    await new Promise((done) => { setTimeout(done, 50); });
  }
}"""


def off(page: Page, *paths: str) -> None:
    """The signal goes once the route and these pages are on the phone."""
    for kept in ("/crew/", *paths):
        page.evaluate(KEPT, kept)
    page.context.set_offline(True)


def lines_on_screen(page: Page) -> str:
    return "\n".join(page.locator("#handover [data-line]").all_text_contents())


def calls(page: Page) -> list[str]:
    """What goes up from now on, in order: the last part of each address."""
    sent: list[str] = []

    def note(request: Any) -> None:
        if "/api/" in request.url and request.method != "GET":
            sent.append(re.sub(r"\?.*", "", request.url).rstrip("/").split("/")[-1])

    page.context.on("request", note)
    return sent


def asked(page: Page, path: str) -> Any:
    return page.evaluate("path => fetch(path).then((answer) => answer.json())", path)


def test_a_whole_stop_without_a_signal(phone: Page, tmp_path: Path) -> None:
    """The start opens when the name is typed; what is stored is what was on the screen, and each thing once."""
    path = open_walkthrough(phone)
    job = path.rstrip("/").split("/")[-1]
    off(phone, path)
    phone.goto("/crew/")
    card = card_of(phone, path)
    button(card, "Arrived").click()
    expect(card.get_by_text("waits on this phone")).to_be_visible()
    expect(button(card, "Started")).to_be_disabled()
    phone.goto(path)
    fill_in(phone)
    phone.locator("[data-wall] input[type=file]").first.set_input_files(picture(tmp_path, "one.jpg"))
    expect(phone.locator("[data-chosen] figure")).to_have_count(1)
    done(phone)
    expect(phone.locator("#handover [data-line]").first).to_be_visible()
    phone.goto("/crew/")
    expect(button(card, "Started")).to_be_disabled()
    expect(card.get_by_text("first show the homeowner what you found")).to_be_visible()
    phone.goto(path)
    phone.get_by_role("button", name="Español").click()
    expect(phone.locator("#handover")).to_contain_text("Un lavado normal no quita la tiza")
    expect(phone.get_by_role("button", name="Lo he visto")).to_be_visible()
    assert faults_of(phone) == []
    phone.get_by_role("button", name="English").click()
    expect(phone.locator("#handover canvas")).to_have_count(1)
    seen = lines_on_screen(phone)
    for words in ("chalk 3 of 5", "outlet without a cover", "cannot be reached", "Picture 1: ",
                  "A normal wash does not remove chalk"):  # fmt: skip
        assert words in seen, words
    assert faults_of(phone) == []
    phone.locator("#handover").get_by_label("Your name").locator("visible=true").fill("Ann Sample")
    phone.get_by_role("button", name="I have seen it").click()
    expect(phone.locator("#handover")).to_contain_text("Ann Sample acknowledged the notice on this phone.")
    expect(phone.locator("#waiting")).to_contain_text("walkthroughs 1, pictures 1, answers 1, entries 1")
    phone.goto("/crew/")
    button(card, "Started").click()
    expect(card.locator("[data-made]")).to_contain_text("started")
    assert faults_of(phone) == []
    sent = calls(phone)
    with phone.expect_navigation():
        phone.context.set_offline(False)
    expect(card.get_by_text("Ann Sample acknowledged the notice.")).to_be_visible()
    expect(card.get_by_role("link", name="Finished")).to_be_visible()
    assert [name for name in sent if len(name) != 36] == ["marks", "walkthroughs", "acknowledgement", "marks"]
    assert len(sent) == 5  # and the picture, by its key
    stored = asked(phone, f"/api/jobs/{job}/walkthroughs/")
    offline = stored["walkthroughs"][0]["notices"][0]["acknowledgement"]["offline"]
    assert (stored["gate"]["state"], offline["differs"], offline["text"]) == ("acknowledged", False, seen)
    assert offline["expected"] == seen
    phone.evaluate("window.dispatchEvent(new Event('online'))")
    phone.wait_for_timeout(500)
    assert len(sent) == 5
    phone.goto(path)
    expect(phone.locator("#handover")).to_be_hidden()
    phone.wait_for_function("wallday.own().then((all) => all.every((item) => item.kind === 'mark'))")


def stop_of(page: Page, path: str) -> Locator:
    """The card by its stop: it stays the same when nothing is left to be done there."""
    return page.locator(f"#{card_of(page, path).get_attribute('id')}")


def finish_page_of(card: Locator) -> str:
    return str(card.locator("a[data-finish]").get_attribute("href"))


def test_a_stop_is_finished_without_a_signal(phone: Page) -> None:
    """The next stop becomes the next; everything goes up once, in order; the finish is booked as it was entered."""
    path = open_walkthrough(phone)
    phone.goto("/crew/")
    card = stop_of(phone, path)
    finish = finish_page_of(card)
    off(phone, path, finish)
    phone.goto(path)
    for wall in open_form(phone):
        tap_spots(wall, ("0", "0", "1"))
    done(phone)
    phone.goto("/crew/")
    other = phone.locator(f".stop-card:not(#{card_of(phone, path).get_attribute('id')})")
    expect(button(other, "Arrived")).to_have_class(re.compile("btn-quiet"))
    button(card, "Arrived").click()
    button(card, "Started").click()
    card.get_by_role("link", name="Finished").click()
    expect(phone.get_by_label("Minutes")).to_have_value("1")
    phone.get_by_label("Minutes").fill("95")
    phone.get_by_label("Materials used, in money").fill("25.10")
    phone.get_by_label("Note for the office").fill("hose bib leaks")
    assert faults_of(phone) == []
    phone.get_by_role("button", name="Finished: book it").click()
    phone.wait_for_url("**/crew/#stop-*")
    expect(card.get_by_text(re.compile("finished .*waits on this phone"))).to_be_visible()
    expect(card.get_by_role("link", name="Finished")).to_be_hidden()
    expect(button(other, "Arrived")).not_to_have_class(re.compile("btn-quiet"))
    assert faults_of(phone) == []
    phone.goto(finish)
    expect(phone.get_by_role("button", name="Finished: book it")).to_be_disabled()
    expect(phone.get_by_label("Note for the office")).to_have_value("hose bib leaks")
    phone.goto("/crew/")
    sent = calls(phone)
    with phone.expect_navigation():
        phone.context.set_offline(False)
    expect(card.get_by_text("done", exact=True)).to_be_visible()
    assert sent == ["walkthroughs", "marks", "marks", "marks"]
    phone.evaluate("window.dispatchEvent(new Event('online'))")
    phone.wait_for_timeout(500)
    assert len(sent) == 4
    visit = Visit.objects.get()
    assert (visit.on_site_minutes, visit.note) == (95, "hose bib leaks")
    assert visit.lines.get().materials_cents == 2_510


def test_a_refused_finish_is_put_right(phone: Page) -> None:
    """It names the house and the reason, comes back into the form as it was entered, and goes up once it is right."""
    Service.objects.update(needs_walkthrough=False)
    path = open_walkthrough(phone)
    phone.goto("/crew/")
    card = stop_of(phone, path)
    finish, house = finish_page_of(card), card.locator("h3").inner_text().partition(" ")[2]
    for name in ("Arrived", "Started"):
        with phone.expect_navigation():
            button(card, name).click()
    off(phone, path, finish)
    card.get_by_role("link", name="Finished").click()
    phone.get_by_label("Minutes").fill("95")
    phone.get_by_label("Materials used, in money").fill("2000000")
    phone.get_by_role("button", name="Finished: book it").click()
    phone.wait_for_url("**/crew/#stop-*")
    phone.context.set_offline(False)
    expect(phone.locator("#waiting")).to_contain_text(f"Not taken: {house}")
    expect(phone.locator("#waiting")).to_contain_text("less than or equal to 100000000")
    assert faults_of(phone) == []
    phone.get_by_role("button", name="Put it right").click()
    phone.wait_for_url(f"**{finish}")
    expect(phone.get_by_label("Minutes")).to_have_value("95")
    expect(phone.get_by_label("Materials used, in money")).to_have_value("2000000")
    phone.get_by_label("Materials used, in money").fill("20")
    phone.get_by_role("button", name="Finished: book it").click()
    phone.wait_for_url("**/crew/#stop-*")
    expect(card.get_by_text("done", exact=True)).to_be_visible()
    expect(phone.locator("#waiting")).to_be_hidden()
    visit = Visit.objects.get()
    assert (visit.on_site_minutes, visit.lines.get().materials_cents) == (95, 2_000)


def test_nothing_found_may_start(phone: Page) -> None:
    """No notice, and the start is open at once."""
    path = open_walkthrough(phone)
    off(phone, path)
    for wall in open_form(phone):
        tap_spots(wall, ("0", "0", "1"))
    done(phone)
    expect(phone.locator("#waiting")).to_contain_text("walkthroughs 1")
    expect(phone.locator("#handover")).to_be_hidden()
    phone.goto("/crew/")
    card = card_of(phone, path)
    button(card, "Arrived").click()
    expect(button(card, "Started")).to_be_enabled()
    expect(card.get_by_text("Walkthrough on this phone: nothing to show.")).to_be_visible()


def test_nobody_home(phone: Page) -> None:
    """Written down without a signal: the start waits until our notice has gone out."""
    path = open_walkthrough(phone)
    off(phone, path)
    fill_in(phone)
    done(phone)
    phone.locator("#handover").get_by_text("Nobody is home").click()
    phone.get_by_role("button", name="Write that down").click()
    expect(phone.locator("#handover")).to_contain_text("Nobody was home.")
    phone.goto("/crew/")
    card = card_of(phone, path)
    button(card, "Arrived").click()
    expect(button(card, "Started")).to_be_disabled()
    with phone.expect_navigation():
        phone.context.set_offline(False)
    expect(card.get_by_text("Nobody was home; the notice was sent.")).to_be_visible()
    expect(button(card, "Started")).to_be_enabled()


def test_another_text_is_told_to_the_office(phone: Page, browser: Browser, site: Any, client_of: Any) -> None:
    """Old sentences on the phone: kept as seen, the start stays shut, the office sees both and lets it count."""
    path = open_walkthrough(phone)
    job = path.rstrip("/").split("/")[-1]
    off(phone, path)
    fill_in(phone)
    done(phone)
    expect(phone.locator("#handover [data-line]").first).to_be_visible()
    phone.evaluate("document.querySelector('#handover [data-line]').textContent = 'What we once called it'")
    phone.locator("#handover").get_by_label("Your name").locator("visible=true").fill("Ann Sample")
    phone.locator("#handover form[data-language]").locator("visible=true").get_by_role("button").click()
    expect(phone.locator("#waiting")).to_contain_text("answers 1")
    with phone.expect_navigation():
        phone.context.set_offline(False)
    expect(phone.locator("header, main").get_by_text("differs from our text").first).to_be_visible()
    expect(phone.get_by_role("button", name="Show the homeowner")).to_be_visible()
    office = window(browser, site, client_of(factories.make_user(username="office", role="office")), WIDE)
    page = office.new_page()
    page.goto(f"/jobs/{job}/")
    expect(page.get_by_text("The job may not start until that is settled")).to_be_visible()
    page.get_by_text("Both texts").click()
    expect(page.get_by_text("What we once called it")).to_be_visible()
    assert faults_of(page) == []
    page.get_by_label("Let it count: why").fill("same meaning")
    page.get_by_role("button", name="Let it count", exact=True).click()
    expect(page.get_by_text("same meaning").first).to_be_visible()
    assert asked(page, f"/api/jobs/{job}/walkthroughs/")["gate"]["state"] == "acknowledged"
    office.close()
