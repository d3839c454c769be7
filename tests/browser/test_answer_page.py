"""The homeowner's answer on a small phone, with and without scripts, in English and in Spanish: each one works, is
said, and reaches the office.
"""

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Locator, Page, expect
from pytest_django.live_server_helper import LiveServer

from jobs.reminders.answers import answer_settings_set
from jobs.reminders.links import answer_token
from jobs.reminders.models import DueHold, ReminderAnswer
from jobs.reminders.selectors import due_list
from jobs.reminders.services import reminders_queue
from jobs.work.models import Job, JobWindow
from pricing.catalogue.models import Service
from routing.plans.models import ShiftPattern
from shared import clock
from tests import factories as make
from tests.browser.chromium import NARROW, WIDE

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
TOUCH = 44
# The button, and what the page says afterwards.
ANSWERS = {
    ("not_now", "en"): ("Not now", "We will not ask again before"),
    ("not_now", "es"): ("Ahora no", "No volveremos a preguntar antes"),
    ("sold", "en"): ("We sold the house", "not write about this house"),
    ("sold", "es"): ("Vendimos la casa", "esta casa"),
    ("never", "en"): ("Never write to me again", "no more messages"),
    ("never", "es"): ("No me escriban nunca más", "más mensajes"),
}


@pytest.fixture
def phone(request: pytest.FixtureRequest, browser: Browser, live_server: LiveServer) -> Iterator[Page]:
    """Without scripts, unless a test asks for both."""
    context = browser.new_context(
        base_url=live_server.url,
        viewport={"width": NARROW, "height": 740},
        java_script_enabled=getattr(request, "param", "off") == "on",
    )
    context.set_default_timeout(60_000)
    yield context.new_page()
    context.close()


@pytest.fixture
def desk(browser: Browser, live_server: LiveServer, client_of: Any, office: Any) -> Iterator[Page]:
    """The office, signed in."""
    context = browser.new_context(base_url=live_server.url, viewport={"width": WIDE, "height": 800})
    session = client_of(office).cookies["sessionid"].value
    context.add_cookies([{"name": "sessionid", "value": session, "url": live_server.url}])
    context.set_default_timeout(60_000)
    yield context.new_page()
    context.close()


def here() -> date:
    return clock.local_date("America/New_York", clock.now())


def reminded(language: str = "en", *, days_ago: int = 0) -> str:
    """Where a customer answers to whom a reminder about a wash on the rate card was written, just now or earlier."""
    make.set_company(name="Sample Washing", timezone="America/New_York", phone_e164="+16145550100")
    now = clock.now() - timedelta(days=days_ago)
    today = here() - timedelta(days=days_ago)
    person = make.make_customer(name="Ann Example", language=language)
    make.make_card()
    wash = Service.objects.get(code="house_wash")
    place = make.make_property(customer=person, street="12 Alder Street", latitude=40.0, longitude=-82.0)
    make.make_wall(property=place, area_sqft=1200)
    make.make_interval(property=place, service=wash, next_due_on=today)
    reminders_queue(keys=[item.key for item in due_list(today=today)], actor=None, now=now, hold_back=False)
    return reverse("reminders:answer", args=[answer_token(person.pk, today)])


def crew_is_near(day: date) -> None:
    """A crew works every day, and on this one it is next door."""
    next_door = make.make_property(latitude=40.001, longitude=-82.001)
    job = make.make_job(property=next_door, state="agreed")
    JobWindow.objects.create(job=job, first_date=day, last_date=day, promised=True)
    make.make_crew(yard=make.make_yard(latitude=40.0, longitude=-82.0))


@pytest.mark.parametrize(("kind", "language"), ANSWERS)
def test_each_answer_works_without_scripts(phone: Page, kind: str, language: str) -> None:
    """One tap, large enough for a thumb; the page says what follows and cannot be answered again."""
    button, said = ANSWERS[kind, language]
    phone.goto(reminded(language))
    assert phone.evaluate("document.documentElement.scrollWidth") <= NARROW
    box = phone.get_by_role("button", name=button, exact=True).bounding_box()
    assert box is not None
    assert box["height"] >= TOUCH
    assert not ReminderAnswer.objects.exists()
    phone.get_by_role("button", name=button, exact=True).click()
    expect(phone.locator("main")).to_contain_text(said)
    expect(phone.locator("main form")).to_have_count(0)
    assert ReminderAnswer.objects.get().kind == kind
    assert DueHold.objects.count() == (kind != "never")


@pytest.mark.parametrize("phone", ["on", "off"], indirect=True)
@pytest.mark.parametrize(
    ("makes", "language", "before", "near", "button", "after"),
    [
        ("lead", "en", "We call you to settle", "a crew is near you", "Yes, please", "We call you to settle it"),
        ("agreed", "es", "queda acordado", "anda cerca", "Sí, por favor", "Queda acordado: iremos el"),
    ],
)
def test_a_tap_on_a_day_reaches_the_office(
    phone: Page, desk: Page, owner: Any, makes: str, language: str, before: str, near: str, button: str, after: str
) -> None:
    """Three or four days with room, the one beside other work marked; the office finds the job with day and price."""
    answer_settings_set(makes=makes, actor=owner)
    day = here() + timedelta(days=6)
    address = reminded(language)
    crew_is_near(day)
    phone.goto(address)
    days = phone.locator("input[name=day]:not([value=''])")
    assert days.count() in (3, 4)
    assert all(heights(phone.locator("fieldset label"), TOUCH))
    widths = phone.locator("fieldset input").evaluate_all("all => all.map(one => one.offsetWidth)")
    assert set(widths) == {24}  # also beside a text that takes two lines
    price = phone.locator("fieldset .strong").inner_text()
    assert price.startswith("$")
    expect(phone.locator("main")).to_contain_text(before)
    chosen = phone.locator("label").filter(has=phone.locator(f"input[value='{day.isoformat()}']"))
    expect(chosen).to_contain_text(near)
    chosen.click()
    phone.get_by_role("button", name=button, exact=True).click()
    expect(phone.locator("main")).to_contain_text(after)
    expect(phone.locator("main")).to_contain_text(price)
    assert phone.evaluate("document.documentElement.scrollWidth") <= NARROW

    job = Job.objects.get(source="reminder")
    assert (job.state, job.windows.get().promised) == (makes, makes == "agreed")
    desk.goto("/due/answers/")
    row = desk.locator("li").filter(has_text="Ann Example").first
    expect(row).to_contain_text("wants it")
    row.get_by_role("link", name=f"job {job.pk}").click()
    expect(desk.locator("main")).to_contain_text("12 Alder Street")
    expect(desk.locator("main")).to_contain_text(makes)
    expect(desk.locator("main")).to_contain_text(f"{day:%b} {day.day}")


def heights(boxes: Locator, least: int) -> list[bool]:
    """Whether each is at least so high."""
    found = [each.bounding_box() for each in boxes.all()]
    assert found
    return [box is not None and box["height"] >= least for box in found]


def test_a_link_works_once(phone: Page) -> None:
    """Two windows are open; the second one hears what was answered in the first, and changes nothing."""
    address = reminded()
    second = phone.context.new_page()
    for page in (phone, second):
        page.goto(address)
    phone.get_by_role("button", name="We sold the house").click()
    second.get_by_role("button", name="Yes, please").click()
    expect(second.locator("main")).to_contain_text("This was answered already. Nothing was changed.")
    expect(second.locator("main")).to_contain_text("not write about this house")
    expect(second.locator("main form")).to_have_count(0)
    assert (ReminderAnswer.objects.get().kind, Job.objects.count()) == ("sold", 0)


def test_a_link_ends_and_an_altered_one_opens_nothing(phone: Page) -> None:
    """The page says what to do; messages can be stopped from an old link, and nothing is told from an altered one."""
    address = reminded(days_ago=60)
    phone.goto(address)
    expect(phone.locator("main")).to_contain_text("The time of this link is over")
    expect(phone.locator("footer")).to_contain_text("(614) 555-0100")
    phone.get_by_role("link", name="Stop our messages").click()
    phone.get_by_role("button", name="No messages of any kind").click()
    expect(phone.locator("main")).to_contain_text("You will get no more messages from us.")
    answer = phone.goto(address.replace("/a/", "/a/1"))
    assert answer is not None
    assert answer.status == 404
    expect(phone.locator("main")).to_contain_text("This link is not complete")
    expect(phone.get_by_role("link", name="Stop our messages")).to_have_count(0)
    assert not ReminderAnswer.objects.exists()


def test_a_day_that_is_gone_is_said_and_the_note_stays(phone: Page) -> None:
    """Nobody types twice on a phone."""
    address = reminded()
    crew_is_near(here() + timedelta(days=6))
    phone.goto(address)
    phone.locator("input[name=day]").first.check()
    phone.fill("#note", "The gate code is 1234")
    ShiftPattern.objects.all().delete()
    phone.get_by_role("button", name="Yes, please").click()
    expect(phone.locator("main")).to_contain_text("We cannot offer this day any more")
    expect(phone.locator("#note")).to_have_value("The gate code is 1234")
    phone.get_by_role("button", name="Yes, please").click()
    expect(phone.locator("main")).to_contain_text("We have it, and call you to settle a day.")
    assert Job.objects.get(source="reminder").note == "The gate code is 1234"
