"""A crew drops out or starts late: what stays, who moves, who must be called."""

import json
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from io import StringIO
from types import SimpleNamespace
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from routing.dispatch.services import plan_send_out
from routing.plans import services
from routing.plans.domain.replans import CHANGE_CENTS, Told, in_the_open, least_disruptive, moved_stops, with_times_held
from routing.plans.models import DayPlan, PlanRun, ShiftException
from routing.plans.selectors.moves import moves_since_sent
from routing.plans.services import replanning
from routing.solver import (
    Plan,
    Problem,
    RoundLimit,
    SolverFailed,
    SolverKilled,
    SolverProcess,
    child,
    evaluate,
    parse_plan,
    parse_problem,
    solve,
)
from shared import clock
from shared.errors import NotFound, Refused, Stale
from tests import factories
from tests.routing.plans.conftest import nothing_decided
from tests.routing.solver.days import four_stop_day

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("solve_here")]
SEVEN_THIRTY = datetime.fromisoformat("2026-06-03T07:30:00-04:00")
TEN = SEVEN_THIRTY + timedelta(minutes=150)


@pytest.fixture
def sent(day: date, whole_day: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> DayPlan:
    """East, the cheap crew, has three stops of two hours each, told to the customers; West has none. It is 10:00.

    East leaves at 7:30: the first stop begins about 7:34, the second about 9:38, the third, promised for 12:00 to
    1:00 pm, after the break.
    """
    monkeypatch.setattr(clock, "now", lambda: TEN)
    yard = factories.make_yard(latitude=40.0, longitude=-82.0)
    factories.make_crew(yard=yard, code="east", name="East", wage_cents_per_hour=3_000)
    factories.make_crew(yard=yard, code="west", name="West", wage_cents_per_hour=3_100)
    noon = {**whole_day, "start_minute": 720, "end_minute": 780, "promised": True}
    for latitude, window in ((40.01, whole_day), (40.02, whole_day), (40.03, noon)):
        factories.make_job(windows=[window], property=factories.make_property(latitude=latitude, longitude=-82.0))
    plan = factories.make_day_plan(yard=yard, jobs=[1])
    plan_send_out(plan=plan, expected_version=1, now=SEVEN_THIRTY)
    return DayPlan.objects.get()


def stops(plan: DayPlan) -> dict[str, list[int]]:
    """Begin of each stop, by crew."""
    return {r.crew.code: [stop.start_minute for stop in r.stops.all()] for r in plan.routes.all()}


def drop_out(plan: DayPlan, at: time = time(10, 0), **more: Any) -> DayPlan:
    news = services.News("east", "drops_out", at)
    after = services.day_replan(plan_id=plan.pk, news=news, expected_version=plan.version, now=TEN, **more)
    assert evaluate(parse_problem(after.problem), parse_plan(after.plan)).faults == ()
    return after


def test_a_crew_drops_out_at_ten(sent: DayPlan) -> None:
    """Nothing was marked: two stops count as begun and stay with East, the third goes to West at its time."""
    before = stops(sent)["east"]
    after = drop_out(sent)
    assert stops(after)["east"] == before[:2]
    (moved,) = stops(after)["west"]
    assert abs(moved - before[2]) <= 30
    assert after.state == "changed"
    (move,) = moves_since_sent(after)
    assert not move.must_be_called
    assert "West comes instead of East" in move.words
    assert ShiftException.objects.get().end_minute == 600


def test_marks_of_the_crew_say_what_has_begun(sent: DayPlan, day: date) -> None:
    """East has only arrived at its first stop: that one stays, both others go to West from 10:00 on."""
    route = sent.routes.get()
    first = route.stops.order_by("position").first().job  # type: ignore[union-attr]
    factories.make_mark(job=first, crew=route.crew, work_date=day, kind="arrived", at=SEVEN_THIRTY)
    after = drop_out(sent)
    assert len(stops(after)["east"]) == 1
    assert len(stops(after)["west"]) == 2
    assert min(stops(after)["west"]) >= 600
    assert [move.move.changes_crew for move in moves_since_sent(after)] == [True, True]


def test_a_crew_that_does_not_come_at_all(sent: DayPlan) -> None:
    """Out from 7:30: it has no stop any more, and nothing of it counts as begun."""
    after = drop_out(sent, time(7, 30))
    assert set(stops(after)) == {"west"}
    assert ShiftException.objects.get().is_off


def test_a_crew_starts_late(sent: DayPlan, day: date) -> None:
    """East comes at noon: others are told, and nothing begins before 10:00."""
    news = services.News("east", "starts_late", time(12, 0))
    after = services.day_replan(plan_id=sent.pk, news=news, expected_version=sent.version, now=TEN)
    assert ShiftException.objects.get().start_minute == 720
    moves = moves_since_sent(after)
    assert moves
    assert all(begin >= 600 for begins in stops(after).values() for begin in begins)


@pytest.mark.parametrize(
    ("crew", "kind", "at", "error"),
    [
        ("north", "drops_out", time(10, 0), NotFound),
        ("east", "drops_out", time(18, 0), Refused),
        ("east", "starts_late", time(6, 0), Refused),
    ],
)
def test_what_is_refused_changes_nothing(sent: DayPlan, crew: str, kind: str, at: time, error: type[Exception]) -> None:
    with pytest.raises(error):
        services.day_replan(plan_id=sent.pk, news=services.News(crew, kind, at), expected_version=sent.version, now=TEN)
    assert not ShiftException.objects.exists()
    assert DayPlan.objects.get().version == sent.version


def test_a_failure_leaves_hours_and_plan_as_they_were(sent: DayPlan, monkeypatch: pytest.MonkeyPatch) -> None:
    solver_that_raises(monkeypatch, SolverFailed("it fell over"))
    with pytest.raises(Exception, match="it fell over"):
        drop_out(sent)
    assert not ShiftException.objects.exists()
    assert DayPlan.objects.get().version == sent.version
    assert PlanRun.objects.get().state == "failed"


def solver_that_raises(monkeypatch: pytest.MonkeyPatch, error: Exception) -> None:
    def broken(problem: Problem, **_more: Any) -> Plan:
        raise error

    monkeypatch.setattr(replanning, "ready_process", lambda: nullcontext(SimpleNamespace(solve=broken)))


def test_a_solver_that_is_too_late_is_not_waited_for(sent: DayPlan, monkeypatch: pytest.MonkeyPatch) -> None:
    """The machine is too busy for any search: West takes over what East had, by insertion alone."""
    solver_that_raises(monkeypatch, SolverKilled("stopped at its limit"))
    after = drop_out(sent)
    assert {crew: len(begins) for crew, begins in stops(after).items()} == {"east": 2, "west": 1}
    assert after.plan["status"] == "feasible"
    assert PlanRun.objects.latest("pk").state == "done"


def test_what_is_not_decided_in_time_changes_nothing(
    sent: DayPlan, client_of: Callable[[Any], Client], office: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Time was over before anything kept the promise or refuted it: page, API and command say so; the crews' plan and
    hours are as before."""
    monkeypatch.setattr(replanning, "ready_process", lambda: nullcontext(SimpleNamespace(solve=nothing_decided)))
    client, words = client_of(office), "Not decided in time whether all promises can be kept"
    body = {"crew": "east", "kind": "drops_out", "at": "10:00"}
    page = client.post(f"/day-plans/{sent.pk}/replan/", {**body, "version": sent.version})
    assert (page.status_code, words in page.content.decode()) == (409, True)
    tag = client.get(f"/api/day-plans/{sent.pk}/")["ETag"]
    told = client.post(
        f"/api/day-plans/{sent.pk}/replans/",
        json.dumps(body),
        content_type="application/json",
        headers={"If-Match": tag},
    )
    assert (told.status_code, told.json()["type"]) == (409, "/problems/not_decided_in_time")
    assert words in told.json()["detail"]
    with pytest.raises(CommandError, match=words):
        call_command("replan_day", "--date", "2026-06-03", "--crew", "east", "--drops-out", "10:00")
    after = DayPlan.objects.get()
    assert (after.version, after.plan, after.state) == (sent.version, sent.plan, sent.state)
    assert not ShiftException.objects.exists()


def test_a_clash_with_the_times_that_were_told_proves_nothing() -> None:
    """J1 cannot begin at the told time, but at others: in the open day that is not decided; where the open day's own
    plan proves a clash, its words are said."""
    problem = parse_problem(four_stop_day())
    promised = problem.replace(jobs=tuple(replace(job, must_do=job.id == "J1") for job in problem.jobs))
    early = replace(promised.job_by_id["J1"], windows=((0, 5),))
    held = solve(promised.replace(jobs=(early, *promised.jobs[1:])), stop=RoundLimit(0))
    assert held.status == "infeasible"
    nothing = nothing_decided(promised)
    for open_plan, status in ((nothing, "undecided"), (replace(held, reasons=("J1 cannot",)), "infeasible")):
        opened = in_the_open(held, open_plan)
        assert (opened.status, opened.reasons) == (status, open_plan.reasons)
        assert evaluate(promised, opened).faults == ()


def test_with_a_solver_in_a_process_of_its_own(sent: DayPlan, monkeypatch: pytest.MonkeyPatch) -> None:
    """One process answers both problems, the open day and the one with times held."""
    answered: list[Problem] = []

    class Counting(SolverProcess):
        def solve(self, problem: Problem, **more: Any) -> Plan:
            answered.append(problem)
            return super().solve(problem, **{**more, "seconds": 20.0, "grace_seconds": 20.0})

    monkeypatch.setattr(child, "SolverProcess", Counting)
    monkeypatch.setattr(replanning, "ready_process", child.solver_process)
    after = drop_out(sent)
    assert {crew: len(begins) for crew, begins in stops(after).items()} == {"east": 2, "west": 1}
    assert after.plan["status"] == "optimal"
    open_day, held = answered
    assert open_day.jobs != held.jobs


@pytest.mark.parametrize(("days_later", "expected"), [(0, 1), (1, 0)])
def test_a_solver_waits_for_who_looks_at_the_day(
    sent: DayPlan,
    client_of: Callable[[Any], Client],
    office: Any,
    monkeypatch: pytest.MonkeyPatch,
    days_later: int,
    expected: int,
) -> None:
    """The page and the API's plan have one loaded where the day is under way, and only there."""
    ready: list[None] = []
    monkeypatch.setattr(clock, "now", lambda: TEN + timedelta(days=days_later))
    monkeypatch.setattr(replanning, "keep_ready", lambda: ready.append(None))
    for url in (f"/day/{sent.yard.code}/2026-06-03/", f"/api/day-plans/{sent.pk}/"):
        assert client_of(office).get(url).status_code == 200
    assert len(ready) == 2 * expected


def test_an_older_version_is_refused(sent: DayPlan) -> None:
    drop_out(sent)
    with pytest.raises(Stale):
        drop_out(sent)


def test_the_page(sent: DayPlan, client_of: Callable[[Any], Client], office: Any) -> None:
    """The form is on the day's page; after it the page says who moved; a wrong hour is said and nothing is lost."""
    client = client_of(office)
    url = f"/day/{sent.yard.code}/2026-06-03/"
    assert "A crew drops out or starts late" in client.get(url).content.decode()
    body = {"crew": "east", "kind": "drops_out", "at": "10:00", "version": sent.version}
    wrong = client.post(f"/day-plans/{sent.pk}/replan/", {**body, "at": "19:00"})
    assert (wrong.status_code, ShiftException.objects.count()) == (422, 0)
    assert client.post(f"/day-plans/{sent.pk}/replan/", {**body, "at": ""}).status_code == 422
    done = client.post(f"/day-plans/{sent.pk}/replan/", body, follow=True)
    assert "Changed since it was sent out" in done.content.decode()
    assert "no call needed" in done.content.decode()


def test_the_api(sent: DayPlan, client_of: Callable[[Any], Client], office: Any) -> None:
    client = client_of(office)
    url, body = f"/api/day-plans/{sent.pk}/replans/", json.dumps({"crew": "east", "kind": "drops_out", "at": "10:00"})
    kind = "application/json"
    assert client.post(url, body, content_type=kind).status_code == 428
    tag = client.get(f"/api/day-plans/{sent.pk}/")["ETag"]
    done = client.post(url, body, content_type=kind, headers={"If-Match": tag})
    assert done.status_code == 200
    (move,) = done.json()["moves"]
    assert (move["crew_before"], move["crew"], move["must_be_called"]) == ("east", "west", False)
    assert client.post(url, body, content_type=kind, headers={"If-Match": tag}).status_code == 412
    bad = client.post(url, "{}", content_type=kind, headers={"If-Match": done["ETag"]})
    assert bad.status_code == 400


def test_the_command(sent: DayPlan) -> None:
    out = StringIO()
    call_command("replan_day", "--date", "2026-06-03", "--crew", "east", "--drops-out", "10:00", stdout=out)
    assert "West comes instead of East" in out.getvalue()
    with pytest.raises(CommandError, match="not planned"):
        call_command("replan_day", "--date", "2026-06-04", "--crew", "east", "--drops-out", "10:00")


def test_held_windows_and_the_price_of_a_call() -> None:
    """J1 may begin 0-120 and was told 100: held to 70-120. Half an hour and more is worth a call."""
    problem = parse_problem(four_stop_day())
    told = {"J1": Told("A", 100), "J2": Told("A", 400)}
    held = with_times_held(problem, told)
    assert held.job_by_id["J1"].windows == ((70, 120),)
    assert held.job_by_id["J2"].windows == ((370, 430),)
    assert held.job_by_id["J3"] == problem.job_by_id["J3"]
    now = {"J1": Told("A", 131), "J2": Told("B", 400)}
    late, other = moved_stops(told, now)
    assert (late.job, late.must_be_called) == ("J1", True)
    assert (other.job, other.must_be_called, other.changes_crew) == ("J2", False, True)
    gone = moved_stops(told, {"J2": told["J2"]})
    assert [(move.job, move.must_be_called) for move in gone] == [("J1", True)]


@pytest.mark.parametrize(("more_cents", "kept"), [(CHANGE_CENTS - 1, "keeps"), (CHANGE_CENTS + 1, "moves")])
def test_a_call_is_made_where_it_pays(more_cents: int, kept: str) -> None:
    def plan(name: str, value: float, start: int) -> Plan:
        stop = {"job": "J1", "arrive": start, "start": start, "finish": start + 60}
        route = {"crew": "A", "leave": 0, "back": 500, "drive_minutes": 0, "drive_metres": 0, "paid_minutes": 500,
                 "value_cents": value, "stops": [stop]}  # fmt: skip
        data = {"format": "day-plan/1", "status": "feasible", "value_cents": value, "upper_bound_cents": value,
                "gap": 0.0, "routes": [route], "left_out": [], "seconds": 0, "solver": {"name": name}}  # fmt: skip
        return parse_plan(data)

    plans = [plan("moves", 10_000.0 + more_cents, 300), plan("keeps", 10_000.0, 110)]
    assert least_disruptive(plans, {"J1": Told("A", 100)}).solver["name"] == kept
