"""Planning again while the crews are out."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest

from routing.plans import services
from routing.solver import evaluate, parse_plan, parse_problem
from tests import factories

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("solve_here")]
SEVEN_THIRTY = datetime.fromisoformat("2026-06-03T07:30:00-04:00")


@pytest.fixture
def out(day: date, whole_day: dict[str, Any]) -> dict[str, Any]:
    """East, the cheap crew, has two stops and has finished the first; West has none."""
    yard = factories.make_yard(latitude=40.0, longitude=-82.0)
    east = factories.make_crew(yard=yard, code="east", wage_cents_per_hour=3_000)
    west = factories.make_crew(yard=yard, code="west", wage_cents_per_hour=6_000)
    for latitude in (40.01, 40.02):
        place = factories.make_property(latitude=latitude, longitude=-82.0)
        factories.make_job(windows=[whole_day], property=place)
    plan = factories.make_day_plan(yard=yard, jobs=[1], state="sent_out")
    first, second = (stop.job for stop in plan.routes.get().stops.all())
    for kind, minute in (("arrived", 4), ("started", 10), ("finished", 125)):
        at = SEVEN_THIRTY + timedelta(minutes=minute)
        factories.make_mark(job=first, crew=east, work_date=day, kind=kind, at=at)
    type(first).objects.filter(pk=first.pk).update(state="done")
    return {"yard": yard, "east": east, "west": west, "plan": plan, "first": first, "second": second}


def replan(out: dict[str, Any], day: date) -> dict[str, list[tuple[int, int]]]:
    """Plan again at 10:00: (job, begin) by crew."""
    plan = services.day_plan_make(yard=out["yard"], work_date=day, seconds=1, now=SEVEN_THIRTY + timedelta(minutes=150))
    assert evaluate(parse_problem(plan.problem), parse_plan(plan.plan)).faults == ()
    assert plan.state == "changed"
    return {r.crew.code: [(s.job_id, s.start_minute) for s in r.stops.all()] for r in plan.routes.all()}


def test_what_is_done_stays_and_the_rest_begins_from_now(out: dict[str, Any], day: date) -> None:
    """The first stop keeps its real start (7:40); the second, with the crew that was told, begins at 10:00 or later."""
    assert replan(out, day) == {"east": [(out["first"].pk, 460), (out["second"].pk, 600)]}


def test_a_crew_that_drops_out(out: dict[str, Any], day: date) -> None:
    """East goes home at 10:05: what it has done stays on its route, the other crew takes over the rest."""
    services.shift_exception_set(crew=out["east"], work_date=day, is_off=False, hours={"end_minute": 605})
    placed = replan(out, day)
    assert placed["east"] == [(out["first"].pk, 460)]
    assert placed["west"] == [(out["second"].pk, 600)]


def test_a_crew_that_is_gone_altogether(out: dict[str, Any], day: date) -> None:
    """Marked off for the day: its work that is done is not done again, the rest goes to the other crew."""
    services.shift_exception_set(crew=out["east"], work_date=day, is_off=True)
    assert replan(out, day) == {"west": [(out["second"].pk, 600)]}


def test_a_job_under_way_with_a_crew_that_is_gone(out: dict[str, Any], day: date) -> None:
    """Begun but not finished: somebody has to finish it."""
    at = SEVEN_THIRTY + timedelta(minutes=130)
    factories.make_mark(job=out["second"], crew=out["east"], work_date=day, kind="started", at=at)
    type(out["second"]).objects.filter(pk=out["second"].pk).update(state="on_site")
    services.shift_exception_set(crew=out["east"], work_date=day, is_off=True)
    assert replan(out, day) == {"west": [(out["second"].pk, 600)]}


def test_a_break_that_the_work_ran_over(out: dict[str, Any], day: date) -> None:
    """Begun at 10:50 and finished at 14:00, past the hours for the break: the break comes later, the plan stands."""
    for kind, minute in (("started", 200), ("finished", 390)):
        at = SEVEN_THIRTY + timedelta(minutes=minute)
        factories.make_mark(job=out["second"], crew=out["east"], work_date=day, kind=kind, at=at)
    now = SEVEN_THIRTY + timedelta(minutes=395)
    plan = services.day_plan_make(yard=out["yard"], work_date=day, seconds=1, now=now)
    route = plan.routes.get()
    assert [(s.start_minute, s.finish_minute) for s in route.stops.all()] == [(460, 575), (650, 840)]
    assert route.break_minute is not None
    assert any("runs late" in words for words in plan.notices)
