"""From rows to a stored plan, worked by hand."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from routing.plans import services
from routing.plans.domain.hourly import hourly_of
from routing.plans.errors import NothingToPlan
from routing.plans.models import DayPlan, LeftOut, PlanRun, Stop
from routing.plans.selectors import day_plan_get, day_problem, plan_as_json
from routing.solver import evaluate, parse_plan, parse_problem
from shared.events.models import Event
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def town(day: date, whole_day: dict[str, Any]) -> dict[str, Any]:
    """One crew, three jobs. Yard and houses lie on one meridian.

    0.01 degrees of latitude are 1111.95 m through the air. All legs are below 5 km: x 1.417.
      yard 40.00 - near 40.01    1111.95 x 1.417 = 1575.6 -> 1576 m, at 500 m/min 3.2 -> 4 min
      near 40.01 - far  40.02    the same                  1576 m, 4 min
      yard 40.00 - far  40.02    2223.90 x 1.417 = 3151.3 -> 3152 m: 2000 m in 4 min, 1152 m at 833.3 -> 5.4 -> 6 min
    """
    factories.make_target(reserve_cents_per_crew_hour=4_500)
    yard = factories.make_yard(latitude=40.0, longitude=-82.0)
    truck = factories.make_truck(yard=yard, cents_per_km=50)
    roof = factories.make_skill(code="roof")
    crew = factories.make_crew(yard=yard, code="north", truck=truck, wage_cents_per_hour=4_800, fixed_cents=1_000)
    near = factories.make_property(latitude=40.01, longitude=-82.0)
    far = factories.make_property(latitude=40.02, longitude=-82.0)
    line = {"price_cents": 40_000, "materials_cents": 2_000, "estimated_minutes": 120}
    return {
        "yard": yard,
        "crew": crew,
        "near": factories.make_job(property=near, windows=[whole_day], lines=[line], discount_cents=3_000),
        "far": factories.make_job(property=far, windows=[whole_day | {"promised": True, "start_minute": 600}]),
        "roof": factories.make_job(
            property=far, windows=[whole_day], lines=[{"service": factories.make_service(skills=[roof])}]
        ),
    }


def test_a_day_by_hand(town: dict[str, Any], day: date, morning: datetime) -> None:
    """Times, driving, paid minutes and value of the only sensible plan, computed with pencil and paper.

    Cost of a minute: 4800 c/h x 1.12 burden / 60 = 89.6 -> 90 c; the reserve of 4500 c/h = 75 c is less.
    near: arrive and start 7:30 + 4 = 7:34 (454), 120 min, finish 9:34 (574).
    far: promised from 10:00 (600): arrive 574 + 4 = 578, wait, start 600, finish 720.
    back: 720 + 6 = 726 would be 12:06, but the break (30 min, begins 11:00 to 13:30) is due before that, unpaid:
    taken at the end or the start of the drive home, back at 756. Paid 756 - 450 - 30 = 276 min.
    Gain: near 40000 - 3000 - 2000 = 35000; far 40000 - 2000 = 38000.
    Driving 4 + 4 + 6 = 14 min, 1576 + 1576 + 3152 = 6304 m: 50 x 6.304 = 315.2 c.
    Value 73000 - 1000 - 315.2 - 90 x 276 = 46844.8 c.
    """
    plan = services.day_plan_make(yard=town["yard"], work_date=day, seconds=1, now=morning)
    (route,) = plan.routes.all()
    stops = [(s.job_id, s.position, s.arrive_minute, s.start_minute, s.finish_minute) for s in route.stops.all()]
    assert stops == [(town["near"].pk, 1, 454, 454, 574), (town["far"].pk, 2, 578, 600, 720)]
    assert (route.leave_minute, route.back_minute) == (450, 756)
    assert (route.drive_minutes, route.drive_metres, route.paid_minutes) == (14, 6304, 276)
    assert route.value_cents == pytest.approx(46_844.8)
    assert plan.value_cents == pytest.approx(46_844.8)
    assert plan.upper_bound_cents >= plan.value_cents
    assert plan.drive_source == "estimated (great circle)"


def test_driving_is_shared_out(town: dict[str, Any], day: date, morning: datetime) -> None:
    """Without near the crew would drive 6 + 6 = 12 of 14 min: it saves 2. Without far 4 + 4 = 8: it saves 6.

    The 14 minutes are shared 2 : 6, that is 3.5 and 10.5; the half that is left goes to the earlier stop: 4 and 10.
    """
    plan = services.day_plan_make(yard=town["yard"], work_date=day, seconds=1, now=morning)
    shares = dict(Stop.objects.filter(route__plan=plan).values_list("job_id", "drive_minutes"))
    assert shares == {town["near"].pk: 4, town["far"].pk: 10}
    metres = Stop.objects.filter(route__plan=plan).values_list("drive_metres", flat=True)
    assert sum(metres) == 6304


@pytest.mark.usefixtures("solve_here")
def test_left_out_says_why(town: dict[str, Any], day: date, morning: datetime) -> None:
    """No crew can work on a roof, so the roof job is left out with that reason."""
    plan = services.day_plan_make(yard=town["yard"], work_date=day, seconds=1, now=morning)
    (left,) = plan.left_out.all()
    assert (left.job_id, left.reason) == (town["roof"].pk, "no_crew_with_skill")


@pytest.mark.usefixtures("solve_here")
def test_what_is_stored_passes_the_evaluator(town: dict[str, Any], day: date, morning: datetime) -> None:
    """The stored problem and plan are day-problem/1 and day-plan/1, without a fault, with the digest of the inputs."""
    inputs = day_problem(yard=town["yard"], work_date=day, now=morning)
    plan = services.day_plan_make(yard=town["yard"], work_date=day, seconds=1, now=morning)
    verdict = evaluate(parse_problem(plan.problem), parse_plan(plan.plan))
    assert verdict.faults == ()
    assert verdict.value_cents == pytest.approx(plan.value_cents)
    assert plan.inputs_digest == inputs.digest
    assert parse_plan(plan_as_json(plan)) == parse_plan(plan.plan)


@pytest.mark.usefixtures("solve_here")
def test_run_and_event_are_recorded(town: dict[str, Any], day: date, morning: datetime, office: Any) -> None:
    """The run says how it ended; the history says who made which version."""
    plan = services.day_plan_make(yard=town["yard"], work_date=day, seconds=1, now=morning, actor=office)
    run = PlanRun.objects.get()
    assert (run.state, run.inputs_digest, run.requested_by) == ("done", plan.inputs_digest, office)
    assert run.value_cents == pytest.approx(plan.value_cents)
    event = Event.objects.get(kind="plan.made")
    assert (event.subject_id, event.actor, event.data["version"]) == (plan.pk, office, 1)


@pytest.mark.usefixtures("solve_here")
def test_planning_again_keeps_rows(town: dict[str, Any], day: date, morning: datetime) -> None:
    """The same inputs give the same plan: a new version, the same ids of routes and stops."""
    first = services.day_plan_make(yard=town["yard"], work_date=day, seconds=1, now=morning)
    routes, stops = [r.pk for r in first.routes.all()], list(Stop.objects.order_by("pk").values_list("pk", flat=True))
    second = services.day_plan_make(yard=town["yard"], work_date=day, seconds=1, now=morning)
    assert (second.pk, second.version, second.inputs_digest) == (first.pk, 2, first.inputs_digest)
    assert [r.pk for r in second.routes.all()] == routes
    assert list(Stop.objects.order_by("pk").values_list("pk", flat=True)) == stops


@pytest.mark.usefixtures("solve_here")
def test_sent_out_and_planned_again(town: dict[str, Any], day: date, morning: datetime) -> None:
    """The same routes once more are no news for the crews; other ones are."""
    services.day_plan_make(yard=town["yard"], work_date=day, seconds=1, now=morning)
    DayPlan.objects.update(state="sent_out")
    same = services.day_plan_make(yard=town["yard"], work_date=day, seconds=1, now=morning)
    assert same.state == "sent_out"
    town["near"].windows.update(start_minute=800)
    other = services.day_plan_make(yard=town["yard"], work_date=day, seconds=1, now=morning)
    assert other.state == "changed"


@pytest.mark.usefixtures("solve_here")
def test_a_promise_that_cannot_be_kept(town: dict[str, Any], day: date, morning: datetime, whole_day: Any) -> None:
    """A promised roof job without a roof crew: the best plan without it is stored, and says so in words."""
    town["roof"].windows.update(promised=True)
    plan = services.day_plan_make(yard=town["yard"], work_date=day, seconds=1, now=morning)
    assert plan.plan["status"] == "infeasible"
    assert plan.routes.get().stops.count() == 2
    (words,) = plan.plan["reasons"]
    job = f"Job {town['roof'].pk}, {town['roof'].property.street}"
    assert words == f"{job} cannot be kept: no crew with roof may do it"


@pytest.mark.usefixtures("solve_here")
def test_no_crew_on_shift(day: date, morning: datetime, whole_day: dict[str, Any]) -> None:
    """Nothing can be planned; the message names the promise that falls with it, and no plan is stored."""
    yard = factories.make_yard()
    job = factories.make_job(windows=[whole_day | {"promised": True}])
    with pytest.raises(NothingToPlan) as error:
        services.day_plan_make(yard=yard, work_date=day, seconds=1, now=morning)
    assert "No crew" in error.value.message
    assert job.property.street in error.value.message
    assert PlanRun.objects.get().problem_text == error.value.message
    assert not DayPlan.objects.exists()


@pytest.mark.usefixtures("solve_here")
def test_no_job(day: date, morning: datetime) -> None:
    """A crew but nothing to do: said in words, the run failed."""
    crew = factories.make_crew()
    with pytest.raises(NothingToPlan, match="No agreed job"):
        services.day_plan_make(yard=crew.yard, work_date=day, seconds=1, now=morning)
    assert PlanRun.objects.get().state == "failed"


@pytest.mark.usefixtures("solve_here")
def test_property_without_a_place(day: date, morning: datetime, town: dict[str, Any], whole_day: Any) -> None:
    """A job at a house that is nowhere on the map is listed with that reason; promised, it is a notice too."""
    nowhere = factories.make_property(latitude=None, longitude=None)
    job = factories.make_job(property=nowhere, windows=[whole_day | {"promised": True}])
    plan = services.day_plan_make(yard=town["yard"], work_date=day, seconds=1, now=morning)
    assert LeftOut.objects.get(job=job).reason == "no_place"
    assert any(nowhere.street in words for words in plan.notices)
    assert plan_as_json(plan)["not_in_problem"] == [{"job": f"J{job.pk}", "reason": "no_place", "note": ""}]


@pytest.mark.usefixtures("solve_here")
@pytest.mark.parametrize(
    ("day", "real_start"),
    [
        # 7:30 on the wall. Clocks went forward at 2:00, so only 6 h 30 min have passed since midnight.
        (date(2026, 3, 8), 390),
        # Clocks went back at 2:00, so 8 h 30 min have passed.
        (date(2026, 11, 1), 510),
        (date(2026, 6, 3), 450),
    ],
    ids=["spring forward", "fall back", "plain"],
)
def test_days_of_23_and_25_hours(day: date, real_start: int) -> None:
    """A shift is written as clocks show it and planned in real minutes since midnight."""
    crew = factories.make_crew(yard=factories.make_yard(latitude=40.0, longitude=-82.0))
    at_the_yard = factories.make_property(latitude=40.0, longitude=-82.0)
    job = factories.make_job(property=at_the_yard, windows=[{"first_date": day, "last_date": day, "end_minute": 480}])
    before = datetime(day.year, day.month, day.day, tzinfo=UTC)
    plan = services.day_plan_make(yard=crew.yard, work_date=day, seconds=1, now=before)
    stop = Stop.objects.get(route__plan=plan)
    assert (stop.job_id, stop.start_minute, stop.finish_minute) == (job.pk, real_start, real_start + 120)
    shown = plan.problem["jobs"][0]["windows"]
    assert shown == [[0, real_start + 30]]  # the window closes at 8:00 on the wall


def test_the_plan_of_a_day_that_has_none(day: date) -> None:
    """None, not an error."""
    assert day_plan_get(yard=factories.make_yard(), work_date=day) is None


@pytest.mark.usefixtures("solve_here")
def test_a_day_for_the_most_profit_per_paid_crew_hour(day: date, morning: datetime, whole_day: dict[str, Any]) -> None:
    """The near, well-paid job alone earns most per hour; the far one adds to the day. Both figures are stored."""
    yard = factories.make_yard(latitude=40.0, longitude=-82.0)
    factories.make_crew(yard=yard)
    places = [factories.make_property(latitude=latitude, longitude=-82.0) for latitude in (40.01, 40.2)]
    lines = [{"price_cents": price} for price in (90_000, 40_000)]
    near, _far = (
        factories.make_job(windows=[whole_day], property=place, lines=[line])
        for place, line in zip(places, lines, strict=True)
    )
    asked = {"yard": yard, "work_date": day, "seconds": 1, "now": morning}
    most = services.day_plan_make(**asked)
    assert Stop.objects.filter(route__plan=most).count() == 2
    plan = services.day_plan_make(**asked, objective="ratio")
    assert [stop.job_id for stop in Stop.objects.filter(route__plan=plan)] == [near.pk]
    found = plan.plan["best_ratio"]
    assert found["most_value"]["value_cents"] == pytest.approx(most.value_cents)
    assert found["cents_per_crew_hour"] > found["most_value"]["cents_per_crew_hour"]
    assert hourly_of(plan.problem, plan.plan).cents_per_crew_hour == pytest.approx(found["cents_per_crew_hour"])
    assert plan.value_cents < most.value_cents
