"""A week planned as one problem, looked at, and taken over day by day."""

import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from hypothesis import given, settings

from routing.plans import services
from routing.plans.domain.week import DayOfWeek, crew_and_date, crew_day, orders_by_day, week_problem
from routing.plans.errors import NothingToPlan
from routing.plans.models import DayPlan, Stop, WeekPlan
from routing.plans.selectors.weeks import week_on_page
from routing.plans.services import weeks
from routing.solver import (
    Problem,
    RoundLimit,
    SolverFailed,
    evaluate,
    parse_plan,
    parse_problem,
    problem_to_json,
    solve,
)
from shared import clock
from shared.errors import Stale
from tests import factories
from tests.routing.solver.strategies import day_problems

pytestmark = pytest.mark.django_db
MONDAY = date(2026, 6, 1)
SUNDAY_EVENING = datetime(2026, 5, 31, 22, 0, tzinfo=UTC)


@pytest.fixture
def town(solve_here: None, monkeypatch: pytest.MonkeyPatch) -> Any:
    """One crew, Monday to Friday. Six jobs of four hours that may be done on Monday or Tuesday: two a day fit.

    The seventh is promised for Wednesday.
    """
    monkeypatch.setattr(clock, "now", lambda: SUNDAY_EVENING)
    yard = factories.make_yard(latitude=40.0, longitude=-82.0)
    factories.make_crew(yard=yard, code="north-1", name="North")
    line = {"estimated_minutes": 235, "price_cents": 60_000}
    for number in range(6):
        place = factories.make_property(latitude=40.001 + number / 1000, longitude=-82.0)
        window = {"first_date": MONDAY, "last_date": MONDAY + timedelta(days=1)}
        factories.make_job(windows=[window], property=place, lines=[line])
    promised = {"first_date": date(2026, 6, 3), "last_date": date(2026, 6, 3), "promised": True}
    factories.make_job(windows=[promised], property=factories.make_property(latitude=40.01, longitude=-82.0))
    return yard


def stops_by_day() -> dict[date, int]:
    found: dict[date, int] = {}
    for stop in Stop.objects.select_related("route__plan"):
        found[stop.route.plan.work_date] = found.get(stop.route.plan.work_date, 0) + 1
    return found


def test_a_week_is_proposed_and_taken_over(town: Any) -> None:
    """Two jobs on Monday, two on Tuesday, the promise on Wednesday; nothing changes before the take-over."""
    week = services.week_plan_make(yard=town, day=date(2026, 6, 3), seconds=1)
    assert (week.first_day, week.state, week.days[0]) == (MONDAY, "done", "2026-06-01")
    assert evaluate(parse_problem(week.problem), parse_plan(week.plan)).faults == ()
    page = week_on_page(yard=town, first_day=MONDAY, week=week)
    assert [(day.work_date.day, day.stop_count) for day in page.days] == [(1, 2), (2, 2), (3, 1)]
    assert page.days[0].routes[0].crew == "North"
    assert page.days[1].routes[0].stops[0].start.endswith("am")
    assert not DayPlan.objects.exists()

    services.week_take_over(week_id=week.pk)
    assert stops_by_day() == {MONDAY: 2, date(2026, 6, 2): 2, date(2026, 6, 3): 1}
    assert Stop.objects.values("job").distinct().count() == 5
    for plan in DayPlan.objects.all():
        assert evaluate(parse_problem(plan.problem), parse_plan(plan.plan)).faults == ()
    with pytest.raises(Stale):
        services.week_take_over(week_id=week.pk)


def test_drafts_are_planned_anew_and_sent_days_are_left_alone(town: Any, morning: datetime) -> None:
    """Tuesday's draft gives its jobs back; Monday was sent out, so its jobs and its crew stay out of the week."""
    monday = services.day_plan_make(yard=town, work_date=MONDAY, seconds=1, now=SUNDAY_EVENING)
    services.day_plan_make(yard=town, work_date=date(2026, 6, 2), seconds=1, now=SUNDAY_EVENING)
    DayPlan.objects.filter(pk=monday.pk).update(state="sent_out")
    week = services.week_plan_make(yard=town, day=MONDAY, seconds=1)
    assert "2026-06-01" not in week.days
    orders = orders_by_day(parse_plan(week.plan))
    assert {day.day: sum(map(len, crews.values())) for day, crews in orders.items()} == {2: 2, 3: 1}
    services.week_take_over(week_id=week.pk)
    assert stops_by_day() == {MONDAY: 2, date(2026, 6, 2): 2, date(2026, 6, 3): 1}
    assert DayPlan.objects.get(pk=monday.pk).version == monday.version


def test_all_days_or_none(town: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The last day cannot be stored: none is, the proposal stays, and the row says why."""
    week = services.week_plan_make(yard=town, day=MONDAY, seconds=1)
    real = weeks.plan_store

    def failing(run: Any, inputs: Any, content: Any) -> Any:
        if inputs.work_date == date(2026, 6, 3):
            raise Stale("somebody was faster")
        return real(run, inputs, content)

    monkeypatch.setattr(weeks, "plan_store", failing)
    with pytest.raises(Stale):
        services.week_take_over(week_id=week.pk)
    assert not DayPlan.objects.exists()
    week.refresh_from_db()
    assert (week.state, week.problem_text) == ("done", "somebody was faster")


def test_what_goes_wrong_is_on_the_row(town: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(problem: Problem, **_more: Any) -> Any:
        raise SolverFailed("it fell over")

    monkeypatch.setattr(weeks, "solve_in_child", broken)
    with pytest.raises(Exception, match="it fell over"):
        services.week_plan_make(yard=town, day=MONDAY, seconds=1)
    assert WeekPlan.objects.get().state == "failed"
    with pytest.raises(NothingToPlan):
        services.week_plan_make(yard=town, day=date(2026, 5, 20), seconds=1)


def test_a_week_plan_whose_process_died_is_given_up(town: Any) -> None:
    week = services.week_plan_make(yard=town, day=MONDAY, seconds=1)
    late = SUNDAY_EVENING + timedelta(hours=2)
    WeekPlan.objects.filter(pk=week.pk).update(state="taking_over", started_at=SUNDAY_EVENING)
    services.week_plans_reap(now=late)
    assert WeekPlan.objects.get().state == "done"
    WeekPlan.objects.filter(pk=week.pk).update(state="running")
    services.week_plans_reap(now=late)
    assert WeekPlan.objects.get().state == "failed"


def test_the_pages(town: Any, client_of: Callable[[Any], Client], office: Any, crew_lead: Any) -> None:
    client, url = client_of(office), f"/week/{town.code}/2026-06-03/"
    assert "This week is not planned yet." in client.get(url).content.decode()
    week = services.week_plan_make(yard=town, day=MONDAY, seconds=1)
    page = client.get(url).content.decode()
    assert "Take over these days" in page
    assert Stop.objects.count() == 0
    assert client.post(url + "make/", {"seconds": 0}).status_code == 422
    assert client.get(f"/week-plans/{week.pk}/").status_code == 302
    WeekPlan.objects.filter(pk=week.pk).update(state="running")
    part = client.get(f"/week-plans/{week.pk}/", headers={"HX-Request": "true"}).content.decode()
    assert "Best so far" in part
    assert client_of(crew_lead).get(url).status_code == 403


def test_the_api(town: Any, client_of: Callable[[Any], Client], office: Any) -> None:
    client, kind = client_of(office), "application/json"
    made = client.post("/api/week-plans/", json.dumps({"yard": town.code, "day": "2026-06-03"}), content_type=kind)
    assert made.status_code == 202
    again = client.post("/api/week-plans/", json.dumps({"yard": town.code, "day": "2026-06-03"}), content_type=kind)
    assert again.status_code == 409
    services.week_plan_execute(week_id=made.json()["id"])
    found = client.get(made["Location"]).json()
    assert (found["state"], found["plan"]["format"]) == ("done", "day-plan/1")
    taken = client.post(made["Location"] + "take-over/", content_type=kind)
    assert (taken.status_code, taken.json()["state"]) == (202, "taking_over")
    assert client.get("/api/week-plans/999/").status_code == 404


def test_the_command(town: Any) -> None:
    out = StringIO()
    call_command("plan_week", "--date", "2026-06-01", "--seconds", "1", "--take-over", stdout=out)
    assert "taken over" in out.getvalue()
    assert "2026-06-01: 2 stops" in out.getvalue()
    assert DayPlan.objects.filter(routes__stops__isnull=False).distinct().count() == 3


@settings(max_examples=60, deadline=None)
@given(day_problems(max_jobs=3, max_crews=2))
def test_two_days_with_other_jobs_are_worth_their_sum(problem: Problem) -> None:
    """A week whose days share no job is worth what its days are worth; ids of crew-days lead back to crew and day."""
    other = problem_to_json(problem)
    for job in other["jobs"]:
        job["id"] = f"K{job['id']}"
    other["fixed"] = {crew: [f"K{job}" for job in jobs] for crew, jobs in other["fixed"].items()}
    tuesday = MONDAY + timedelta(days=1)
    week = week_problem([DayOfWeek(MONDAY, 0, problem), DayOfWeek(tuesday, 1440, parse_problem(other))])
    assert crew_and_date(crew_day("a-b", tuesday)) == ("a-b", tuesday)
    whole = solve(week, stop=RoundLimit(40))
    day = solve(problem, stop=RoundLimit(40))
    assert evaluate(week, whole).faults == ()
    if day.status == "optimal":
        assert whole.value_cents == pytest.approx(2 * day.value_cents, abs=0.01)
