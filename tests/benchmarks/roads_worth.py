# ruff: noqa: T201  printing tables is what this program is for
"""What true roads are worth: the demo's days planned on great-circle distances, then driven over its roads.

Each day is planned twice with the same seconds: with estimated drive times, and with those of the roads. The crews
then drive the first plan over the roads: they keep its order, and where the times do not hold the last stops that are
not promised are given up, then promised ones. Nothing is put in their place. Each day is taken as if no other day were
planned, so jobs that may be done on several days stand in all of them.
"""

import logging
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from routing.roads.domain import GreatCircle
from routing.solver import Plan, Problem, TimeLimit, evaluate, solve, warm_up
from routing.solver.construct import RouteValue
from routing.solver.model import Model, build_model
from routing.solver.money import to_cents

SECONDS = 10.0
DAYS, DAYS_AHEAD, LEAST_JOBS = 3, 14, 10


@dataclass(frozen=True, slots=True)
class Day:
    """A day's problem with either kind of drive times."""

    work_date: date
    roads: Problem
    estimated: Problem


@dataclass(frozen=True, slots=True)
class Driven:
    """A plan as it came out on the roads."""

    value_cents: float
    stops_lost: int
    promises_lost: int


def run_worth() -> None:
    """Prints the table. Makes the demo company in the data folder."""
    import django

    django.setup()
    logging.disable(logging.INFO)
    warm_up()
    print("\n| day | jobs | crews | believed $ | driven $ | stops lost | promised | planned on roads $ | worth % |")
    print("|---" * 9 + "|")
    shares = []
    for day in _days():
        believed, true = _planned(day.estimated), _planned(day.roads)
        driven = driven_on(day.roads, believed)
        shares.append(true.value_cents / driven.value_cents - 1)
        print(
            f"| {day.work_date} | {len(day.roads.jobs)} | {len(day.roads.crews)} | {believed.value_cents / 100:,.2f} | "
            f"{driven.value_cents / 100:,.2f} | {driven.stops_lost} | {driven.promises_lost} | "
            f"{true.value_cents / 100:,.2f} | {100 * shares[-1]:.1f} |",
            flush=True,
        )
    print(f"\ntrue roads are worth {100 * sum(shares) / len(shares):.1f} % of these days' value on average")


def driven_on(roads: Problem, plan: Plan) -> Driven:
    """The plan's routes in their order over these roads."""
    model = build_model(roads)
    value = RouteValue(model)
    place = {job.id: number for number, job in enumerate(roads.jobs)}
    ticks, lost = 0, []
    for route in plan.routes:
        crew = next(k for k, each in enumerate(roads.crews) if each.id == route.crew)
        order = [place[job] for job in route.job_ids]
        while (worth := value(crew, order)) is None:
            lost.append(order.pop(_given_up(model, order)))
        ticks += worth
    return Driven(to_cents(ticks), len(lost), sum(bool(model.must_do[job]) for job in lost))


def _given_up(model: Model, order: list[int]) -> int:
    """The position of the stop that goes first: the last one that is not promised, else the last."""
    return max(range(len(order)), key=lambda at: (not model.must_do[order[at]], at))


def _planned(problem: Problem) -> Plan:
    plan = solve(problem, stop=TimeLimit(SECONDS))
    faults = evaluate(problem, plan).faults
    assert faults == (), faults
    return plan


def _days() -> Iterator[Day]:
    """The first days of the demo's book with so many jobs that crews cannot do them all by the way."""
    from django.core.management import call_command

    from routing.demo.domain.company import TIMEZONE, YARD_CODE, next_working_day
    from routing.demo.services import demo_company_make
    from routing.plans.selectors import day_problem, yard_by_code
    from shared import clock

    today = clock.local_date(TIMEZONE, clock.now())
    call_command("migrate", verbosity=0, interactive=False)
    demo_company_make(today=today)
    yard, first, found = yard_by_code(code=YARD_CODE), next_working_day(today), 0
    for ahead in range(DAYS_AHEAD):
        problem = day_problem(yard=yard, work_date=first + timedelta(days=ahead)).problem
        if found < DAYS and problem.crews and len(problem.jobs) >= LEAST_JOBS:
            found += 1
            yield Day(first + timedelta(days=ahead), problem, _estimated(problem, yard))


def _estimated(problem: Problem, yard: Any) -> Problem:
    from jobs.customers.models import Property

    rows = Property.objects.filter(latitude__isnull=False).values_list("pk", "latitude", "longitude")
    at = {f"p{pk}": (latitude, longitude) for pk, latitude, longitude in rows} | {
        "yard": (yard.latitude, yard.longitude)
    }
    table = GreatCircle().table([at[place] for place in problem.places])
    return replace(problem, drive_minutes=table.minutes, drive_metres=table.metres)
