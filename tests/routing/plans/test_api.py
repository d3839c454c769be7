"""The API of day plans: day-plan/1, runs, ETags, refusals as problem details."""

import json
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.test import Client

from routing.plans.models import DayPlan, PlanRun
from routing.solver import evaluate, parse_plan, parse_problem
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def plan(whole_day: dict[str, Any]) -> DayPlan:
    crew = factories.make_crew(code="north")
    for _ in range(2):
        factories.make_job(windows=[whole_day])
    return factories.make_day_plan(yard=crew.yard, jobs=[1])


@pytest.fixture
def api(client_of: Callable[[Any], Client], office: Any) -> Client:
    return client_of(office)


def post(api: Client, url: str, body: Any, **headers: str) -> Any:
    return api.post(url, json.dumps(body), content_type="application/json", headers=headers)


def test_read_a_plan(api: Client, plan: DayPlan) -> None:
    """The body is day-plan/1 that the evaluator accepts; what the product adds comes with it; the ETag names it."""
    response = api.get(f"/api/day-plans/{plan.pk}/")
    body = response.json()
    assert response["ETag"] == f'"{plan.pk}-1"'
    assert body["format"] == "day-plan/1"
    assert evaluate(parse_problem(plan.problem), parse_plan(body)).faults == ()
    assert (body["yard"], body["work_date"], body["version"]) == (plan.yard.code, "2026-06-03", 1)
    assert body["drive_source"] == "estimated (great circle)"


def test_list(api: Client, plan: DayPlan) -> None:
    """The latest day first; narrowed by yard and day; wrong values are a problem, not a crash."""
    other = factories.make_day_plan(work_date=date(2026, 6, 4))
    listed = api.get("/api/day-plans/").json()
    assert [row["id"] for row in listed["results"]] == [other.pk, plan.pk]
    by_yard = api.get("/api/day-plans/", {"yard": plan.yard.code, "work_date": "2026-06-03"}).json()
    assert [row["id"] for row in by_yard["results"]] == [plan.pk]
    wrong = api.get("/api/day-plans/", {"work_date": "soon"})
    assert (wrong.status_code, wrong["Content-Type"]) == (400, "application/problem+json")


@pytest.mark.usefixtures("solve_here")
def test_plan_a_day(api: Client, plan: DayPlan, django_capture_on_commit_callbacks: Any) -> None:
    """202 with the run; its address then says how it ended."""
    body = {"yard": plan.yard.code, "work_date": "2026-06-03", "seconds": 2, "seed": 3}
    with django_capture_on_commit_callbacks(execute=True):
        response = post(api, "/api/day-plans/", body)
    assert response.status_code == 202
    assert (response.json()["state"], response.json()["seconds_allowed"]) == ("waiting", 2)
    run = api.get(response["Location"]).json()
    assert (run["state"], run["seed"], run["problem_text"]) == ("done", 3, "")
    assert run["value_cents"] == DayPlan.objects.get().value_cents


def test_plan_a_day_twice_at_once(api: Client, plan: DayPlan) -> None:
    """409 while the first is waiting."""
    body = {"yard": plan.yard.code, "work_date": "2026-06-03"}
    assert post(api, "/api/day-plans/", body).status_code == 202
    second = post(api, "/api/day-plans/", body)
    assert (second.status_code, second.json()["type"]) == (409, "/problems/already_planning")
    assert PlanRun.objects.count() == 1


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"yard": "nowhere", "work_date": "2026-06-03"}, 404),
        ({"yard": "main", "work_date": "9999-12-31"}, 422),
        ({"work_date": "2026-06-03"}, 400),
        ({"yard": "x", "work_date": "2026-06-31"}, 400),
        ({"yard": "x", "work_date": "2026-06-03", "seconds": 601}, 400),
        ([], 400),
        (None, 400),
    ],
)
def test_what_cannot_be_planned(api: Client, body: Any, status: int) -> None:
    """Named in problem details."""
    factories.make_yard(code="main")
    response = post(api, "/api/day-plans/", body)
    assert (response.status_code, response["Content-Type"]) == (status, "application/problem+json")


def test_change_under_if_match(api: Client, plan: DayPlan) -> None:
    """The new state comes back with its ETag."""
    first = plan.routes.get().stops.first()
    body = {"kind": "move", "job": first.job_id, "crew": "north", "position": 2}
    response = post(api, f"/api/day-plans/{plan.pk}/changes/", body, if_match=f'"{plan.pk}-1"')
    assert (response.status_code, response["ETag"]) == (200, f'"{plan.pk}-2"')
    stops = response.json()["routes"][0]["stops"]
    assert stops[1]["job"] == f"J{first.job_id}"


@pytest.mark.parametrize(
    ("headers", "body", "status", "code"),
    [
        ({}, {"kind": "lock"}, 428, "precondition_missing"),
        ({"if_match": '"{plan}-9"'}, {"kind": "lock"}, 412, "stale"),
        ({"if_match": '"{plan}-1"'}, {"kind": "move"}, 400, "invalid"),
        ({"if_match": '"{plan}-1"'}, {"kind": "dance"}, 400, "invalid"),
        ({"if_match": '"{plan}-1"'}, {"kind": "move", "crew": "south"}, 422, "refused"),
        ({"if_match": '"{plan}-1"'}, {"kind": "lock", "job": 2**63 - 1}, 404, "not_found"),
        ({"if_match": '"{plan}-1"'}, {"kind": "lock", "job": 2**63}, 400, "invalid"),
    ],
)
def test_changes_that_are_refused(
    api: Client, plan: DayPlan, headers: dict[str, str], body: dict[str, Any], status: int, code: str
) -> None:
    """Each with its status and code; nothing is saved."""
    sent = {"job": plan.routes.get().stops.first().job_id, **body}
    named = {name: value.format(plan=plan.pk) for name, value in headers.items()}
    response = post(api, f"/api/day-plans/{plan.pk}/changes/", sent, **named)
    assert (response.status_code, response.json()["type"]) == (status, f"/problems/{code}")
    assert DayPlan.objects.get().version == 1


def test_a_broken_rule_is_said_in_words(api: Client, plan: DayPlan) -> None:
    """A promise cannot be broken by hand: 422 with the job's street."""
    job = plan.routes.get().stops.first().job
    problem = plan.problem
    for entry in problem["jobs"]:
        entry["must_do"] = True
    DayPlan.objects.update(problem=problem)
    response = post(
        api, f"/api/day-plans/{plan.pk}/changes/", {"kind": "take_out", "job": job.pk}, if_match=f'"{plan.pk}-1"'
    )
    assert (response.status_code, response.json()["type"]) == (422, "/problems/broken_rule")
    assert job.property.street in response.json()["detail"]


def test_crew_leads_are_refused(client_of: Callable[[Any], Client], crew_lead: Any, plan: DayPlan) -> None:
    """Every operation is the office's."""
    lead = client_of(crew_lead)
    run = PlanRun.objects.create(
        yard=plan.yard, work_date=plan.work_date, seconds_allowed=1, created_at=factories.MOMENT
    )
    for url in ("/api/day-plans/", f"/api/day-plans/{plan.pk}/", f"/api/plan-runs/{run.pk}/"):
        assert lead.get(url).status_code == 403
    for url in ("/api/day-plans/", f"/api/day-plans/{plan.pk}/changes/"):
        assert post(lead, url, {}).status_code == 403


def test_query_counts(api: Client, plan: DayPlan, assert_query_count: Any) -> None:
    """The list does not ask once per plan."""
    for number in range(4, 8):
        factories.make_day_plan(work_date=date(2026, 6, number))
    with assert_query_count("api day plans"):
        assert len(api.get("/api/day-plans/").json()["results"]) == 5
