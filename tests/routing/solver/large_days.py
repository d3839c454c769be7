"""Larger random days, every feature of the contract at once, and what other engines make of them."""

import random
from collections.abc import Iterator
from typing import Any

from routing.solver import Plan, Problem, evaluate, parse_problem
from routing.solver.construct import construct
from routing.solver.finish import Findings, finished_plan, simple_bound
from routing.solver.model import build_model
from routing.solver.ortools_engine import ortools_routes
from tests.benchmarks.solver_days import DayKind, realistic_day

FEW_SOLUTIONS = 20
MOST_SECONDS = 0.5


def large_day(seed: int, most_jobs: int = 40) -> Problem:
    """10 to `most_jobs` jobs, 2 to 6 crews (or 2 crews on 3 days); the same seed gives the same day."""
    rng = random.Random(seed)
    days = rng.choice([1, 1, 1, 3])
    crews = 2 if days > 1 else rng.randint(2, 6)
    jobs = rng.randint(10, most_jobs)
    data = realistic_day(DayKind("", jobs, crews, seed, dense=rng.random() < 0.3, breaks=rng.random() < 0.7, days=days))
    _spoil_tables(rng, data)
    for crew in data["crews"]:
        _spoil_crew(rng, crew, data)
    for job in data["jobs"]:
        _spoil_job(rng, job, data)
    if rng.random() < 0.3:
        crew = rng.choice(data["crews"])["id"]
        data["fixed"] = {crew: rng.sample([job["id"] for job in data["jobs"]], rng.randint(1, 2))}
    return parse_problem(data)


def _spoil_tables(rng: random.Random, data: dict[str, Any]) -> None:
    """Asymmetric, without the triangle inequality, and some drives do not exist."""
    gaps = rng.random() < 0.4
    for i, row in enumerate(data["drive_minutes"]):
        for j, cell in enumerate(row):
            if i != j:
                row[j] = None if gaps and rng.random() < 0.03 else cell + rng.randint(0, 6)
    for i, row in enumerate(data["drive_metres"]):
        row[:] = [0 if i == j else cell + rng.randint(0, 2_000) for j, cell in enumerate(row)]


def _spoil_crew(rng: random.Random, crew: dict[str, Any], data: dict[str, Any]) -> None:
    """Other yards, nights out, and wages that do not all stay below the reserve."""
    if rng.random() < 0.3:
        crew["start"] = rng.choice(data["places"])
    if rng.random() < 0.3:
        crew["end"] = rng.choice(data["places"])
    if rng.random() < 0.2:
        crew["shift"][1] -= rng.randint(0, 300)


def _spoil_job(rng: random.Random, job: dict[str, Any], data: dict[str, Any]) -> None:
    if rng.random() < 0.08:
        job["gain_cents"] = -rng.randint(0, 3_000)
    if rng.random() < 0.1:
        job["crews"] = [crew["id"] for crew in data["crews"] if rng.random() < 0.5]
    if rng.random() < 0.1:
        job["place"] = rng.choice(data["places"])
    if rng.random() < 0.1:
        job["on_site_minutes"] = rng.randint(0, 10)


def plans_of_others(problem: Problem) -> Iterator[Plan]:
    """Plans by insertion and by OR-Tools' routing library that keep every rule and promise."""
    model = build_model(problem)
    inserted = construct(model)
    for routes in (inserted, ortools_routes(model, seconds=MOST_SECONDS, solutions=FEW_SOLUTIONS, first=inserted)):
        plan = finished_plan(model, routes, Findings(simple_bound(model)))
        assert evaluate(problem, plan).faults == ()
        if plan.keeps_promises:
            yield plan
