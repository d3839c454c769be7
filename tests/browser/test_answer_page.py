"""The homeowner's answer on a small phone without scripts, in English and in Spanish: each one works, and is said."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from jobs.reminders.links import answer_token
from jobs.reminders.models import DueHold, ReminderAnswer
from jobs.reminders.selectors import due_list
from jobs.reminders.services import reminders_queue
from pricing.catalogue.models import Service
from shared import clock
from tests import factories as make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
NARROW, TOUCH = 360, 44
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
def phone(browser: Browser, live_server: LiveServer) -> Iterator[Page]:
    context = browser.new_context(
        base_url=live_server.url, viewport={"width": NARROW, "height": 740}, java_script_enabled=False
    )
    context.set_default_timeout(60_000)
    yield context.new_page()
    context.close()


def reminded(language: str) -> Any:
    """A customer to whom a reminder about a wash on the rate card was written just now."""
    company = make.set_company(name="Sample Washing", timezone="America/New_York", phone_e164="+16145550100")
    now = clock.now()
    today = clock.local_date(company.timezone, now)
    person = make.make_customer(name="Ann Example", language=language)
    make.make_card()
    wash = Service.objects.get(code="house_wash")
    make.make_interval(property=make.make_property(customer=person), service=wash, next_due_on=today)
    reminders_queue(keys=[item.key for item in due_list(today=today)], actor=None, now=now, hold_back=False)
    return reverse("reminders:answer", args=[answer_token(person.pk, today)])


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
