"""Frozen data out to plain JSON values; reading them back gives the same data."""

from typing import Any

from . import plan as plans
from . import problem as problems
from .plan import BestRatio, Plan, RoutePlan
from .problem import Crew, Job, Problem


def problem_to_json(problem: Problem) -> dict[str, Any]:
    """A `day-problem/1` as plain values; `parse_problem` gives the same problem back."""
    return {
        "format": problems.FORMAT,
        "places": list(problem.places),
        "drive_minutes": [list(row) for row in problem.drive_minutes],
        "drive_metres": [list(row) for row in problem.drive_metres],
        "crews": [_crew(crew) for crew in problem.crews],
        "jobs": [_job(job) for job in problem.jobs],
        "fixed": {crew: list(jobs) for crew, jobs in problem.fixed.items()},
        "reserve_cents_per_crew_hour": problem.reserve_cents_per_crew_hour,
    }


def _crew(crew: Crew) -> dict[str, Any]:
    fields: dict[str, Any] = {
        "id": crew.id,
        "start": crew.start,
        "end": crew.end,
        "shift": list(crew.shift),
        "skills": list(crew.skills),
        "cents_per_minute": crew.cents_per_minute,
        "cents_per_km": crew.cents_per_km,
        "fixed_cents": crew.fixed_cents,
        "capacity": dict(crew.capacity),
        "pace_percent": crew.pace_percent,
    }
    if crew.overtime:
        fields["overtime"] = {
            "after_minutes": crew.overtime.after_minutes,
            "extra_cents_per_minute": crew.overtime.extra_cents_per_minute,
        }
    if crew.rest:
        rest = crew.rest
        fields["break"] = {"minutes": rest.minutes, "window": list(rest.window), "paid": rest.paid}
    return fields


def _job(job: Job) -> dict[str, Any]:
    fields: dict[str, Any] = {
        "id": job.id,
        "place": job.place,
        "on_site_minutes": job.on_site_minutes,
        "windows": [list(window) for window in job.windows],
        "gain_cents": job.gain_cents,
        "needs": list(job.needs),
        "uses": dict(job.uses),
        "must_do": job.must_do,
    }
    if job.crews is not None:
        fields["crews"] = list(job.crews)
    if job.prefer:
        fields["prefer"] = {"crew": job.prefer.crew, "cents": job.prefer.cents}
    return fields


def plan_to_json(plan: Plan) -> dict[str, Any]:
    """A `day-plan/1` as plain values; `parse_plan` gives the same plan back.

    `reasons` (sentences) is there only when the status is "infeasible" or "undecided", `best_ratio` only where the plan
    was made for the most profit per paid crew-hour.
    """
    fields: dict[str, Any] = {
        "format": plans.FORMAT,
        "status": "infeasible" if plan.status == "undecided" else plan.status,
        "value_cents": plan.value_cents,
        "upper_bound_cents": plan.upper_bound_cents,
        "gap": plan.gap,
        "routes": [_route(route) for route in plan.routes],
        "left_out": [
            {
                "job": entry.job,
                "reason": entry.reason,
                "price_to_place_cents": entry.price_to_place_cents,
                "price_is_exact": entry.price_is_exact,
            }
            for entry in plan.left_out
        ],
        "crew_hour_worth_cents": plan.crew_hour_worth_cents,
        "seconds": plan.seconds,
        "solver": dict(plan.solver),
    }
    if plan.status == "undecided":
        fields["infeasible_is_proved"] = False
    if plan.reasons:
        fields["reasons"] = list(plan.reasons)
    if plan.best_ratio:
        fields["best_ratio"] = _best_ratio(plan.best_ratio)
    return fields


def _best_ratio(found: BestRatio) -> dict[str, Any]:
    return {
        "cents_per_crew_hour": found.cents_per_crew_hour,
        "upper_bound_cents_per_crew_hour": found.upper_bound_cents_per_crew_hour,
        "proved": found.proved,
        "profit_cents": found.profit_cents,
        "paid_minutes": found.paid_minutes,
        "passes": found.passes,
        "most_value": {
            "value_cents": found.most_value_cents,
            "cents_per_crew_hour": found.most_value_cents_per_crew_hour,
            "profit_cents": found.most_value_profit_cents,
            "paid_minutes": found.most_value_paid_minutes,
        },
    }


def _route(route: RoutePlan) -> dict[str, Any]:
    fields: dict[str, Any] = {
        "crew": route.crew,
        "leave": route.leave,
        "back": route.back,
        "drive_minutes": route.drive_minutes,
        "drive_metres": route.drive_metres,
        "paid_minutes": route.paid_minutes,
        "value_cents": route.value_cents,
        "stops": [
            {"job": stop.job, "arrive": stop.arrive, "start": stop.start, "finish": stop.finish} for stop in route.stops
        ],
    }
    if route.break_start is not None:
        fields["break"] = {"start": route.break_start}
    return fields
