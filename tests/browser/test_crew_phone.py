"""The crew lead's route on a small phone: what a press led to is seen, wherever on the page it was pressed."""

from typing import Any

import pytest
from playwright.sync_api import Browser, expect
from pytest_django.live_server_helper import LiveServer

from routing.dispatch.models import SentStop
from routing.dispatch.services import plan_send_out
from shared import clock
from tests import factories as make
from tests.browser.chromium import NARROW

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_what_a_press_led_to_stays_in_sight(
    browser: Browser, live_server: LiveServer, client_of: Any, crew_lead: Any
) -> None:
    """The page goes back to the stop that was pressed, far below its own beginning, where such words stand."""
    wash = [{"service": make.make_service(needs_walkthrough=True)}]
    streets = [f"{number} Elm Street" for number in range(1, 6)]
    jobs = [make.make_job(property=make.make_property(street=street), lines=wash) for street in streets]
    today = clock.local_date("America/New_York", clock.now())
    plan = make.make_planned_day((make.make_crew(lead=crew_lead), jobs), work_date=today)
    plan_send_out(plan=plan, expected_version=1)
    last = SentStop.objects.order_by("position").last()
    assert last is not None
    context = browser.new_context(base_url=live_server.url, viewport={"width": NARROW, "height": 740})
    session = client_of(crew_lead).cookies["sessionid"].value
    context.add_cookies([{"name": "sessionid", "value": session, "url": live_server.url}])
    page = context.new_page()
    page.goto("/crew/")
    card = page.locator(f"#stop-{last.pk}")
    card.get_by_role("button", name="Arrived").click()
    expect(card.get_by_role("button", name="Started")).to_be_visible()
    expect(card.get_by_role("heading")).to_be_in_viewport()
    card.get_by_role("button", name="Started").click()
    expect(page.locator("#messages .notice")).to_be_in_viewport()
    expect(card.get_by_role("heading")).to_be_in_viewport(ratio=1)
    context.close()
