"""A plan changed by hand: which crew does what in which order, checked and valued again.

The person decides the order, `schedule_route` the times, the evaluator what it is worth. A change that breaks a rule
is answered in words. A promise that the plan kept before must still be kept after.
"""

from collections.abc import Mapping
from dataclasses import replace

from routing.solver import Broken, LeftOut, Plan, Problem, RoutePlan, evaluate, schedule_route
from routing.solver.plan import OPTIMAL_GAP, gap_between

Orders = Mapping[str, tuple[str, ...]]


def orders_of(plan: Plan) -> dict[str, tuple[str, ...]]:
    """Job ids in order, by crew."""
    return {route.crew: route.job_ids for route in plan.routes}


def without(orders: Orders, job: str) -> dict[str, tuple[str, ...]]:
    """The orders with the job in none of them."""
    return {crew: tuple(other for other in order if other != job) for crew, order in orders.items()}


def with_job(orders: Orders, job: str, crew: str, position: int) -> dict[str, tuple[str, ...]]:
    """The orders with the job as stop number `position` (from 1; beyond the end: last) of the crew, nowhere else."""
    rest = without(orders, job)
    order = rest.get(crew, ())
    at = max(0, min(position - 1, len(order)))
    return {**rest, crew: (*order[:at], job, *order[at:])}


def allow_everywhere(problem: Problem, job: str) -> Problem:
    """The problem with the job open to every crew again, after it had been taken out of the day."""
    jobs = (replace(other, crews=None) if other.id == job else other for other in problem.jobs)
    return problem.replace(jobs=tuple(jobs))


def plan_again(problem: Problem, before: Plan, orders: Orders, bound_cents: float) -> Plan | Broken:
    """The plan with these orders, or the first rule that they break.

    `bound_cents` must be valid for `problem`: no plan of it is worth more.
    """
    routes = _routes(problem, orders)
    if isinstance(routes, Broken):
        return routes
    value = sum(route.value_cents for route in routes)
    bound = max(bound_cents, value)
    gap = gap_between(bound, value)
    plan = replace(
        before,
        status="infeasible",
        value_cents=value,
        upper_bound_cents=bound,
        gap=gap,
        routes=routes,
        left_out=_left_out(problem, before, routes),
        solver={**before.solver, "changed_by_hand": True},
    )
    return _judged(problem, before, plan)


def _routes(problem: Problem, orders: Orders) -> tuple[RoutePlan, ...] | Broken:
    routes = []
    for crew in problem.crew_ids:
        if not orders.get(crew):
            if problem.fixed.get(crew):
                return Broken(f"crew {crew} has already begun its stops")
            continue
        route = schedule_route(problem, crew, orders[crew])
        if isinstance(route, Broken):
            return route
        routes.append(route)
    return tuple(routes)


def _left_out(problem: Problem, before: Plan, routes: tuple[RoutePlan, ...]) -> tuple[LeftOut, ...]:
    placed = {job for route in routes for job in route.job_ids}
    known = {entry.job: entry for entry in before.left_out}
    missing = (job for job in problem.job_ids if job not in placed)
    return tuple(known.get(job, LeftOut(job, "not_worth_a_slot")) for job in missing)


def _judged(problem: Problem, before: Plan, plan: Plan) -> Plan | Broken:
    """The plan with its true status, unless it breaks a rule or a promise that was kept."""
    verdict = evaluate(problem, plan)
    if verdict.faults:
        return Broken("; ".join(verdict.faults))
    newly = [words for words in verdict.unkept if words not in evaluate(problem, before).unkept]
    if newly:
        return Broken("; ".join(newly))
    if verdict.unkept:
        return plan
    return replace(plan, status="optimal" if plan.gap <= OPTIMAL_GAP else "feasible", reasons=())
