from collections.abc import Sequence
from dataclasses import dataclass

from routing.plans.domain.keys import job_key
from routing.plans.models import DayPlan
from routing.solver import Problem, parse_problem

Leg = tuple[int, int]
"""Minutes and metres from one place to the next."""


@dataclass(frozen=True, slots=True)
class RouteDrives:
    """The drives of one route: to each stop, and from the last one home; and how long the break is."""

    legs: tuple[Leg, ...]
    home: Leg
    break_minutes: int


def route_drives(*, problem: Problem, crew_code: str, job_ids: Sequence[int]) -> RouteDrives:
    """Read the drives of a route from the tables that its plan was made with. `job_ids` in the order driven."""
    crew = problem.crew_by_id[crew_code]
    places = [problem.job_by_id[job_key(job_id)].place for job_id in job_ids]
    at = [problem.place_index[place] for place in (crew.start, *places, crew.end)]
    legs = [
        (problem.drive_minutes[a][b] or 0, problem.drive_metres[a][b] or 0) for a, b in zip(at, at[1:], strict=False)
    ]
    return RouteDrives(tuple(legs[:-1]), legs[-1], crew.rest.minutes if crew.rest else 0)


def problem_of(plan: DayPlan) -> Problem:
    """The problem that the plan answers, as the solver reads it."""
    return parse_problem(plan.problem)
