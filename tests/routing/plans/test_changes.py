"""Changes by hand: orders, times, words for broken rules, versions."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from routing.plans import services
from routing.plans.errors import BrokenRule
from routing.plans.models import DayPlan, LeftOut, Stop
from routing.solver import evaluate, parse_plan, parse_problem
from shared.errors import NotFound, Refused, Stale
from shared.events.models import Event
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def made(day: date, whole_day: dict[str, Any]) -> dict[str, Any]:
    """Two crews, the first with two jobs, the second (the roof crew) with one; one small job left out.

    Houses A and B are 0.01 and 0.02 degrees north of the yard, R as far south: legs of 4 and 6 minutes as worked out
    in test_make. The job left out earns nothing.
    """
    yard = factories.make_yard(latitude=40.0, longitude=-82.0)
    roof = factories.make_skill(code="roof")
    east = factories.make_crew(yard=yard, code="east", name="East", wage_cents_per_hour=3_000)
    west = factories.make_crew(yard=yard, code="west", name="West", wage_cents_per_hour=6_000, skills=[roof])

    def job(latitude: float, **over: Any) -> Any:
        place = factories.make_property(latitude=latitude, longitude=-82.0)
        over.setdefault("windows", [whole_day])
        return factories.make_job(property=place, **over)

    a, b = job(40.01), job(40.02)
    r = job(39.99, lines=[{"service": factories.make_service(skills=[roof]), "estimated_minutes": 60}])
    small = job(40.02, lines=[{"price_cents": 0, "materials_cents": 0, "estimated_minutes": 30}])
    plan = factories.make_day_plan(yard=yard, jobs=[a, b, r, small])
    return {"yard": yard, "east": east, "west": west, "a": a, "b": b, "r": r, "small": small, "plan": plan}


def orders(plan: DayPlan) -> dict[str, list[int]]:
    return {route.crew.code: [stop.job_id for stop in route.stops.all()] for route in plan.routes.all()}


def faults(plan: DayPlan) -> tuple[str, ...]:
    return evaluate(parse_problem(plan.problem), parse_plan(plan.plan)).faults


def test_the_plan_before(made: dict[str, Any]) -> None:
    """What the tests below start from: the cheap crew has A and B, the roof crew R, the small job is out."""
    a, b, r, small = (made[name].pk for name in ("a", "b", "r", "small"))
    placed = orders(made["plan"])
    assert sorted(placed["east"]) == [a, b]
    assert placed["west"] == [r]
    assert [left.job_id for left in made["plan"].left_out.all()] == [small]


def test_move_within_a_route(made: dict[str, Any], office: Any) -> None:
    """B first: 6 min to B, 120 min, 4 min to A. The times follow, the version grows, the history knows who."""
    plan = services.stop_move(
        plan_id=made["plan"].pk, job_id=made["b"].pk, crew_code="east", position=1, expected_version=1, actor=office
    )
    assert orders(plan)["east"] == [made["b"].pk, made["a"].pk]
    times = [(s.start_minute, s.finish_minute) for s in Stop.objects.filter(route__crew=made["east"])]
    assert times == [(456, 576), (580, 700)]
    assert (plan.version, plan.state) == (2, "draft")
    assert faults(plan) == ()
    event = Event.objects.get(kind="plan.stop_moved")
    assert (event.actor, event.data["version"], event.data["job"]) == (office, 2, made["b"].pk)


def test_move_to_another_crew(made: dict[str, Any]) -> None:
    """A goes to the end of the other crew; both routes are timed and valued again."""
    plan = services.stop_move(
        plan_id=made["plan"].pk, job_id=made["a"].pk, crew_code="west", position=99, expected_version=1
    )
    assert orders(plan) == {"east": [made["b"].pk], "west": [made["r"].pk, made["a"].pk]}
    assert plan.value_cents == pytest.approx(sum(route.value_cents for route in plan.routes.all()))
    assert plan.value_cents < made["plan"].value_cents
    assert faults(plan) == ()


def test_a_crew_left_without_stops_has_no_route(made: dict[str, Any]) -> None:
    """The route disappears with its last stop, and the crew costs nothing."""
    plan = services.stop_take_out(plan_id=made["plan"].pk, job_id=made["r"].pk, expected_version=1)
    assert set(orders(plan)) == {"east"}
    assert faults(plan) == ()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        # R needs the roof skill, East lacks it.
        (("r", "east", 1), ["East", "roof", "job {r}"]),
    ],
)
def test_a_broken_rule_is_said_in_words(made: dict[str, Any], change: tuple[str, str, int], words: list[str]) -> None:
    """The message names crew, job and what is lacking; nothing is saved."""
    job, crew, position = change
    with pytest.raises(BrokenRule) as error:
        services.stop_move(
            plan_id=made["plan"].pk, job_id=made[job].pk, crew_code=crew, position=position, expected_version=1
        )
    said = error.value.message.lower()
    assert all(word.format(r=made["r"].pk).lower() in said for word in words), said
    after = DayPlan.objects.get(pk=made["plan"].pk)
    assert (after.version, after.plan) == (1, made["plan"].plan)


def test_how_late_it_would_be(made: dict[str, Any], day: date) -> None:
    """B must begin by 8:00 am. After A (7:34 to 9:34) and 4 min of driving the crew is there at 9:38 am."""
    made["b"].windows.update(end_minute=480)
    DayPlan.objects.all().delete()
    plan = factories.make_day_plan(yard=made["yard"], jobs=[made["b"]])
    assert orders(plan)["east"] == [made["b"].pk, made["a"].pk]
    with pytest.raises(BrokenRule) as error:
        services.stop_move(plan_id=plan.pk, job_id=made["b"].pk, crew_code="east", position=2, expected_version=1)
    assert "8:00 am" in error.value.message
    assert "9:38 am" in error.value.message
    assert made["b"].property.street in error.value.message


def test_take_out_and_put_in_again(made: dict[str, Any], day: date, morning: datetime) -> None:
    """What was taken out by hand stays out when the day is planned again, until a person puts it in."""
    plan = services.stop_take_out(plan_id=made["plan"].pk, job_id=made["a"].pk, expected_version=1)
    assert LeftOut.objects.get(plan=plan, job=made["a"]).reason == "taken_out"
    entry = next(left for left in plan.plan["left_out"] if left["job"] == f"J{made['a'].pk}")
    assert entry["note"] == "taken_out"
    again = services.day_plan_make(yard=made["yard"], work_date=day, seconds=1, now=morning)
    assert LeftOut.objects.get(plan=again, job=made["a"]).reason == "taken_out"
    back = services.job_put_in(
        plan_id=plan.pk, job_id=made["a"].pk, crew_code="east", position=1, expected_version=again.version
    )
    assert orders(back)["east"] == [made["a"].pk, made["b"].pk]
    assert faults(back) == ()
    assert not LeftOut.objects.filter(reason="taken_out").exists()


def test_put_in_a_job_that_loses_money(made: dict[str, Any]) -> None:
    """A person may: the value falls, the plan is still checked and stored."""
    plan = services.job_put_in(
        plan_id=made["plan"].pk, job_id=made["small"].pk, crew_code="west", position=1, expected_version=1
    )
    assert orders(plan)["west"] == [made["small"].pk, made["r"].pk]
    assert plan.value_cents < made["plan"].value_cents
    assert faults(plan) == ()


def test_a_promised_job_cannot_be_taken_out(made: dict[str, Any], day: date) -> None:
    """The promise has to be changed first; the words say so."""
    made["a"].windows.update(promised=True)
    DayPlan.objects.all().delete()
    plan = factories.make_day_plan(yard=made["yard"], jobs=[made["a"]])
    with pytest.raises(BrokenRule, match="promised"):
        services.stop_take_out(plan_id=plan.pk, job_id=made["a"].pk, expected_version=1)


def test_a_locked_stop_stays_with_its_crew(
    made: dict[str, Any], day: date, morning: datetime, solve_here: None
) -> None:
    """Locked to the dear crew, it stays there when the day is planned again; unlocked, it may go back."""
    plan = services.stop_move(
        plan_id=made["plan"].pk, job_id=made["a"].pk, crew_code="west", position=1, expected_version=1
    )
    plan = services.stop_lock(plan_id=plan.pk, job_id=made["a"].pk, expected_version=2)
    assert plan.version == 3
    again = services.day_plan_make(yard=made["yard"], work_date=day, seconds=1, now=morning)
    assert made["a"].pk in orders(again)["west"]
    assert Stop.objects.get(job=made["a"]).is_locked
    plan = services.stop_unlock(plan_id=plan.pk, job_id=made["a"].pk, expected_version=again.version)
    again = services.day_plan_make(yard=made["yard"], work_date=day, seconds=1, now=morning)
    assert made["a"].pk in orders(again)["east"]


def test_two_changes_of_one_version(made: dict[str, Any]) -> None:
    """The first one wins, the second is told so and changes nothing."""
    services.stop_lock(plan_id=made["plan"].pk, job_id=made["a"].pk, expected_version=1)
    with pytest.raises(Stale):
        services.stop_take_out(plan_id=made["plan"].pk, job_id=made["b"].pk, expected_version=1)
    assert (
        made["b"].pk
        in orders(services.stop_lock(plan_id=made["plan"].pk, job_id=made["b"].pk, expected_version=2))["east"]
    )


def test_what_has_begun_cannot_be_moved(made: dict[str, Any], day: date) -> None:
    """The crew is at its first stop: that stays, and nothing goes before it."""
    first, second = orders(made["plan"])["east"]
    factories.make_mark(job_id=first, crew=made["east"], work_date=day)
    common = {"plan_id": made["plan"].pk, "expected_version": 1, "crew_code": "east"}
    with pytest.raises(BrokenRule, match="is there already"):
        services.stop_move(**common, job_id=first, position=2)
    with pytest.raises(BrokenRule, match="choose a later place"):
        services.stop_move(**common, job_id=second, position=1)


@pytest.mark.parametrize("state", ["called_off", "declined"])
def test_a_job_that_was_called_off_cannot_be_put_in(made: dict[str, Any], state: str) -> None:
    """The plan may be older than the job's state."""
    type(made["small"]).objects.filter(pk=made["small"].pk).update(state=state)
    with pytest.raises(Refused, match="called off"):
        services.job_put_in(
            plan_id=made["plan"].pk, job_id=made["small"].pk, crew_code="west", position=1, expected_version=1
        )
    assert DayPlan.objects.get().version == 1


def test_unknown_things(made: dict[str, Any]) -> None:
    """A plan, job or crew that does not exist is said to be so."""
    with pytest.raises(NotFound):
        services.stop_lock(plan_id=made["plan"].pk + 1, job_id=made["a"].pk, expected_version=1)
    with pytest.raises(NotFound):
        services.stop_lock(plan_id=made["plan"].pk, job_id=made["small"].pk, expected_version=1)
    with pytest.raises(Refused, match="not on shift"):
        services.stop_move(
            plan_id=made["plan"].pk, job_id=made["a"].pk, crew_code="north", position=1, expected_version=1
        )
    with pytest.raises(Refused, match="already"):
        services.job_put_in(
            plan_id=made["plan"].pk, job_id=made["a"].pk, crew_code="east", position=1, expected_version=1
        )


def test_a_sent_out_plan_is_marked_as_changed(made: dict[str, Any]) -> None:
    """Crews have seen it; a change says that they must be told. A lock does not concern them."""
    DayPlan.objects.update(state="sent_out")
    plan = services.stop_lock(plan_id=made["plan"].pk, job_id=made["a"].pk, expected_version=1)
    assert plan.state == "sent_out"
    plan = services.stop_take_out(plan_id=plan.pk, job_id=made["a"].pk, expected_version=2)
    assert plan.state == "changed"


def test_earlier_and_later(made: dict[str, Any]) -> None:
    """Two steps that undo each other; at the ends nothing moves."""
    before = orders(made["plan"])["east"]
    common = {"plan_id": made["plan"].pk, "job_id": before[0]}
    down = services.plan_change(kind="down", expected_version=1, **common)
    assert orders(down)["east"] == before[::-1]
    up = services.plan_change(kind="up", expected_version=2, **common)
    assert orders(up)["east"] == before
    again = services.plan_change(kind="up", expected_version=3, **common)
    assert orders(again)["east"] == before


def test_moment_of_change(made: dict[str, Any]) -> None:
    """`changed_at` is the moment of the change, `solved_at` stays."""
    plan = services.stop_take_out(plan_id=made["plan"].pk, job_id=made["a"].pk, expected_version=1)
    assert plan.solved_at == factories.MOMENT
    assert plan.changed_at > datetime(2026, 6, 2, tzinfo=UTC)
