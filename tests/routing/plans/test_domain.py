"""The pure part: costs, keys, words, and days under way."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from routing.plans.domain import costs
from routing.plans.domain.changes import with_job, without
from routing.plans.domain.facts import CrewFacts, DayFacts, JobFacts, Place, StartedStop
from routing.plans.domain.keys import for_people, job_id_of, job_ids_in, job_key
from routing.plans.domain.problem import build_problem, larger_than_any_tank, places_of
from routing.roads.domain import GreatCircle
from routing.solver import Broken, Problem, RoundLimit, evaluate, schedule_route, solve

YARD = Place("yard", 40.0, -82.0)


@pytest.mark.parametrize(
    ("wage", "burden", "minute", "overtime"),
    [
        (4_800, 12, 90, 45),  # 5376 / 60 = 89.6; half of it 44.8
        (6_000, 0, 100, 50),
        (6_000, 25, 125, 63),  # 62.5, halves away from zero
        (0, 50, 0, 0),
        (30, 0, 1, 0),  # 0.5 and 0.25
    ],
)
def test_cents_per_minute(wage: int, burden: int, minute: int, overtime: int) -> None:
    """Wage with burden by the minute; the overtime premium is half of it (29 CFR 778.110(a))."""
    assert costs.wage_cents_per_minute(wage, burden) == minute
    assert costs.overtime_extra_cents_per_minute(wage, burden) == overtime


@given(st.integers(1, 2**62))
def test_keys_come_back(job_id: int) -> None:
    """And nothing else is a key."""
    assert job_id_of(job_key(job_id)) == job_id
    with pytest.raises(ValueError, match="not the id of a job"):
        job_id_of(f"x{job_id}")


def test_sentences_for_people() -> None:
    """Jobs, crews and times by the names that the office uses; what is unknown stays."""
    said = "crew east lacks what J7 needs; J8 cannot begin after 13:05; crew west-2 is full"
    names = {"east": "Heron"}
    clock = {785: "1:05 pm"}
    assert job_ids_in(said) == [7, 8]
    assert for_people(said, {7: "job 7, 1 Elm Street"}, names, lambda minute: clock[minute]) == (
        "Heron lacks what job 7, 1 Elm Street needs; J8 cannot begin after 1:05 pm; crew west-2 is full"
    )
    assert for_people("", {}, {}, str) == ""


orders = st.dictionaries(
    st.sampled_from(["a", "b"]), st.lists(st.sampled_from([f"J{n}" for n in range(9)]), unique=True).map(tuple)
)


@given(orders, st.sampled_from(["a", "b", "c"]), st.integers(-2, 12))
def test_with_job_puts_it_in_once(given_orders: dict[str, tuple[str, ...]], crew: str, position: int) -> None:
    """The job is there once, at its place or at the nearest end; the others keep their order."""
    made = with_job(given_orders, "J99", crew, position)
    order = made[crew]
    assert sum(job == "J99" for jobs in made.values() for job in jobs) == 1
    assert order.index("J99") == max(0, min(position - 1, len(order) - 1))
    assert without(made, "J99") == {crew: (), **given_orders}
    assert with_job(made, "J99", crew, position) == made


minutes = st.integers(0, 1_400)
spans = st.tuples(minutes, minutes).map(sorted).map(tuple)
crew_facts = st.builds(
    CrewFacts,
    code=st.just("north"),
    shift=st.tuples(st.integers(300, 600), st.integers(601, 1_300)),
    skills=st.just(()),
    wage_cents_per_hour=st.integers(0, 10_000),
    burden_percent=st.integers(0, 50),
    workers=st.integers(1, 4),
    pace_percent=st.integers(50, 200),
    cents_per_km=st.integers(0, 100),
    fixed_cents=st.integers(0, 1_000),
    overtime_after_minutes=st.none() | st.integers(0, 600),
    break_minutes=st.sampled_from([0, 30, 60]),
    break_window=spans,
    break_is_paid=st.booleans(),
    mix_litres=st.none() | st.integers(0, 300),
)
stops = st.lists(st.tuples(st.floats(39.9, 40.1), spans, st.booleans(), st.integers(0, 500)), min_size=1, max_size=4)


@settings(max_examples=100, deadline=None)
@given(crew_facts, stops, st.integers(0, 3), minutes)
def test_a_day_under_way_can_always_be_planned(
    crew: CrewFacts, given_stops: list[tuple[float, tuple[int, int], bool, int]], open_jobs: int, now: int
) -> None:
    """However late a crew is: what it has begun stays first and in order, and the plan keeps every rule.

    Where the real times are possible at all (the crew was not quicker than the table), they are kept.
    """
    jobs = tuple(
        JobFacts(
            n,
            Place(f"p{n}", latitude, -82.0),
            ((0, 1_439),),
            minutes_agreed,
            20_000,
            ("rope",),
            promised=False,
            tank_litres=90,
        )
        for n, (latitude, _, _, minutes_agreed) in enumerate(given_stops, start=1)
    ) + tuple(
        JobFacts(n, Place(f"p{n}", 40.05, -82.0), ((0, 1_439),), 30, 20_000, (), promised=False, tank_litres=60)
        for n in range(100, 100 + open_jobs)
    )
    started = tuple(
        StartedStop("north", n, begun, ended if done else None)
        for n, (_, (begun, ended), done, _) in enumerate(given_stops, start=1)
    )
    facts = DayFacts(YARD, (crew,), jobs, started, now_minute=now)
    table = GreatCircle().table([(place.latitude, place.longitude) for place in places_of(facts)])
    problem = build_problem(facts, table)
    order = [job_key(stop.job_id) for stop in sorted(started, key=lambda stop: (stop.from_minute, stop.job_id))]
    assert list(problem.fixed["north"]) == order
    assert not isinstance(schedule_route(problem, "north", order), Broken)
    plan = solve(problem, stop=RoundLimit(0))
    assert evaluate(problem, plan).faults == ()
    assert plan.status != "infeasible"
    placed = {stop.job: stop for stop in plan.routes[0].stops}
    assert [stop.job for stop in plan.routes[0].stops][: len(order)] == order
    assert all(stop.start >= now for job, stop in placed.items() if job not in order)


TANK_CREW = CrewFacts("a", (450, 1_000), (), 4_800, 12, 2, 100, 0, 0, None, 0, (0, 0), False, 200)
TANK_JOB = JobFacts(1, Place("p1", 40.0, -82.0), ((450, 900),), 30, 20_000, (), promised=False, tank_litres=120)


def tank_day(*jobs: JobFacts, crews: tuple[CrewFacts, ...] = (TANK_CREW,), **over: object) -> Problem:
    facts = DayFacts(YARD, crews, jobs, **over)  # type: ignore[arg-type]
    table = GreatCircle().table([(place.latitude, place.longitude) for place in places_of(facts)])
    return build_problem(facts, table)


def test_the_tank_limits_the_plan() -> None:
    """Two jobs of 120 litres do not fit into a tank of 200; a tank of 240 takes both."""
    jobs = (TANK_JOB, replace(TANK_JOB, job_id=2))
    plan = solve(tank_day(*jobs), stop=RoundLimit(0))
    assert sum(len(route.stops) for route in plan.routes) == 1
    larger = solve(tank_day(*jobs, crews=(replace(TANK_CREW, mix_litres=240),)), stop=RoundLimit(0))
    assert sum(len(route.stops) for route in larger.routes) == 2


def test_more_than_any_tank_is_filled_again() -> None:
    """A promised job is never impossible for its mix alone: it takes a full tank, and the office is told."""
    job = replace(TANK_JOB, tank_litres=500, promised=True)
    problem = tank_day(job)
    assert problem.jobs[0].uses == {"mix_litres": 200}
    assert larger_than_any_tank(DayFacts(YARD, (TANK_CREW,), (job,))) == (1,)
    plan = solve(problem, stop=RoundLimit(0))
    assert plan.status != "infeasible"
    no_limit = replace(TANK_CREW, code="b", mix_litres=None)
    assert larger_than_any_tank(DayFacts(YARD, (TANK_CREW, no_limit), (job,))) == ()


def test_what_is_begun_has_its_mix() -> None:
    """A crew that has begun more than its tank holds was filled on the way; nothing else fits before it is again."""
    begun = replace(TANK_JOB, tank_litres=300)
    problem = tank_day(begun, started=(StartedStop("a", 1, 460, 490),), now_minute=500)
    assert problem.crews[0].capacity == {"mix_litres": 300}
    assert not isinstance(schedule_route(problem, "a", problem.fixed["a"]), Broken)
