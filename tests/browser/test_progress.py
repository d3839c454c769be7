"""A day is being planned while somebody looks: value and bound move on the page, and all or nothing is stored.

The solver is a stand-in that reports and ends when the test says so; everything else is the product: its pages, its
thread for background work, its database.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from queue import Queue
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.db import connections
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, Page, expect
from pytest_django.live_server_helper import LiveServer

from routing.plans.models import DayPlan, PlanRun
from routing.plans.services import runs
from routing.solver import Plan, Problem, RoundLimit, SolverKilled, evaluate, parse_plan, parse_problem, solve
from shared import clock
from shared.background import services as background
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
DAY = date(2026, 6, 3)
MORNING = datetime.fromisoformat("2026-06-03T05:00:00-04:00")
PATIENCE_SECONDS = 60
NARROW = 360


@dataclass
class SolverOnCue:
    """Reports each (value, bound) that it is told, and ends when it is told to."""

    cues: "Queue[tuple[float, float] | str]" = field(default_factory=Queue)

    def solve(self, problem: Problem, *, on_progress: Callable[[Plan], None], **_more: Any) -> Plan:
        plan = solve(problem, stop=RoundLimit(0))
        while isinstance(cue := self.cues.get(timeout=PATIENCE_SECONDS), tuple):
            on_progress(replace(plan, value_cents=cue[0], upper_bound_cents=cue[1]))
        if cue == "die":
            raise SolverKilled("stopped at its limit")
        return plan


@pytest.fixture
def solver(monkeypatch: pytest.MonkeyPatch, settings: Any) -> Iterator[SolverOnCue]:
    """The test's own solver, waited for at the end so that no thread writes into the next test's database."""
    settings.WALLDAY_BACKGROUND = "thread"
    stand_in = SolverOnCue()
    monkeypatch.setattr(runs, "solve_in_child", stand_in.solve)
    monkeypatch.setattr(runs, "PROGRESS_SECONDS", 0)
    monkeypatch.setattr(clock, "now", lambda: MORNING)
    yield stand_in
    stand_in.cues.put("die")
    background._thread.submit(connections.close_all).result(PATIENCE_SECONDS)


@pytest.fixture
def day_path(db: None) -> str:
    """A yard with one crew and two agreed jobs that may be done on DAY."""
    yard = factories.make_yard(code="main", latitude=40.0, longitude=-82.0)
    factories.make_crew(yard=yard)
    for latitude in (40.01, 40.02):
        place = factories.make_property(latitude=latitude, longitude=-82.0)
        factories.make_job(windows=[{"first_date": DAY, "last_date": DAY}], property=place)
    return f"/day/main/{DAY}/"


@pytest.fixture(params=[(1280, True), (NARROW, True), (NARROW, False)], ids=["wide", "narrow", "without scripts"])
def window(request: pytest.FixtureRequest, browser: Browser, live_server: LiveServer, office: Any) -> Iterator[Any]:
    """The office's browser, signed in."""
    width, scripts = request.param
    client = Client()
    client.force_login(office)
    name = django_settings.SESSION_COOKIE_NAME
    context = browser.new_context(
        base_url=live_server.url, viewport={"width": width, "height": 800}, java_script_enabled=scripts
    )
    context.set_default_timeout(PATIENCE_SECONDS * 1000)
    context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
    context.route("**/api/**", lambda route: route.abort())  # the ground of the map is not what is looked at
    yield Window(context, scripts)
    context.close()


@dataclass(frozen=True)
class Window:
    context: BrowserContext
    scripts: bool

    def sees(self, page: Page, words: str) -> None:
        """The page looks again by itself each second; without scripts a person presses the link."""
        shown = page.locator("#plan", has_text=words)
        for _ in range(0 if self.scripts else PATIENCE_SECONDS):
            if shown.count():
                break
            page.wait_for_timeout(200)
            page.get_by_role("link", name="Look again").click()
        expect(shown).to_be_visible(timeout=PATIENCE_SECONDS * 1000)


def begin(window: Window, day_path: str) -> Page:
    page = window.context.new_page()
    page.goto(day_path)
    page.get_by_role("button", name="Plan the day").click()
    window.sees(page, "Planning.")
    return page


def test_value_and_bound_move_until_the_plan_is_there(window: Window, day_path: str, solver: SolverOnCue) -> None:
    """Nothing is stored while it works; then the page shows what is stored, and that keeps every rule."""
    page = begin(window, day_path)
    window.sees(page, "It may take")
    for value, bound, words in (
        (10_000.0, 90_000.0, "$100.00, no plan is worth more than $900.00"),
        (20_000.0, 90_000.0, "$200.00, no plan is worth more than $900.00"),
        (20_000.0, 50_000.0, "$200.00, no plan is worth more than $500.00"),
    ):
        solver.cues.put((value, bound))
        window.sees(page, words)
        assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
        assert not DayPlan.objects.exists()
    solver.cues.put("end")
    expect_stored(window, page, day_path)


def expect_stored(window: Window, page: Page, day_path: str) -> None:
    again = page.get_by_role("button", name="Plan the day again")
    for _ in range(0 if window.scripts else PATIENCE_SECONDS):
        if again.count():
            break
        page.wait_for_timeout(200)
        page.goto(day_path)
    expect(again).to_be_visible(timeout=PATIENCE_SECONDS * 1000)
    expect(page.locator("#run")).to_have_text("")
    plan = DayPlan.objects.get()
    assert evaluate(parse_problem(plan.problem), parse_plan(plan.plan)).faults == ()
    assert PlanRun.objects.get().state == "done"
    assert page.locator("#plan li.stop-card").count() == len(plan.plan["routes"][0]["stops"]) == 2
    expect(page.locator("#plan dl")).to_contain_text(f"${plan.value_cents / 100:,.2f}")


def test_closing_the_page_stops_nothing(window: Window, day_path: str, solver: SolverOnCue) -> None:
    """Who comes back finds how far it is, and then the plan as a whole."""
    begin(window, day_path).close()
    solver.cues.put((10_000.0, 90_000.0))
    page = window.context.new_page()
    page.goto(day_path)
    window.sees(page, "$100.00, no plan is worth more than $900.00")
    page.close()
    assert not DayPlan.objects.exists()
    solver.cues.put("end")
    page = window.context.new_page()
    page.goto(day_path)
    expect_stored(window, page, day_path)


def test_a_solver_that_is_stopped_leaves_nothing_behind(window: Window, day_path: str, solver: SolverOnCue) -> None:
    """Though plans were reported: the page says that it ended without one, and the day can be planned again."""
    page = begin(window, day_path)
    solver.cues.put((10_000.0, 90_000.0))
    window.sees(page, "$100.00, no plan is worth more than $900.00")
    solver.cues.put("die")
    window.sees(page, "The solver ended without a plan: stopped at its limit.")
    expect(page.get_by_role("button", name="Plan the day", exact=True)).to_be_visible()
    assert not DayPlan.objects.exists()
    assert PlanRun.objects.get().state == "failed"
