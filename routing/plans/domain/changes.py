"""A plan changed by hand: which crew does what in which order, checked and valued again.

The person decides the order, `schedule_route` the times, the evaluator what it is worth. A change that breaks a rule
is answered in words. A promise that the plan kept before must still be kept after.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from routing.solver import Broken, LeftOut, Plan, Problem, RoutePlan, evaluate, schedule_route
from routing.solver.model import build_model
from routing.solver.plan import OPTIMAL_GAP, gap_between
from routing.solver.reasons import ReasonFinder

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


def plan_again(
    problem: Problem, before: Plan, orders: Orders, bound_cents: float, solver_notes: Mapping[str, object]
) -> Plan | Broken:
    """The plan with these orders, or the first rule that they break.

    `bound_cents` must be valid for `problem`: no plan of it is worth more. Prices to place are those of `before`; what
    was said of the best ratio is not true of other routes and is dropped.
    """
    routes = _routes(problem, orders)
    if isinstance(routes, Broken):
        return routes
    value = sum(route.value_cents for route in routes)
    bound = max(bound_cents, value)
    plan = replace(
        before,
        status="infeasible",
        value_cents=value,
        upper_bound_cents=bound,
        gap=gap_between(bound, value),
        routes=routes,
        left_out=_left_out(problem, before, routes),
        solver={**before.solver, **solver_notes},
        best_ratio=None,
    )
    return _judged(problem, before, plan)


@dataclass(frozen=True, slots=True)
class StoredPlan:
    """The plan of before; `same_inputs` says that it answers exactly the present problem."""

    content: Plan
    same_inputs: bool


def better_of(problem: Problem, found: Plan, stored: StoredPlan | None) -> Plan:
    """What the solver found, or the routes of before where they still keep every rule and are worth more.

    A shorter search than the last one must not make the day worse. Bounds of the same inputs hold for both.
    """
    if stored is None:
        return found
    bound = found.upper_bound_cents
    if stored.same_inputs:
        bound = max(min(bound, stored.content.upper_bound_cents), found.value_cents)
        found = _judged_again(replace(found, upper_bound_cents=bound))
    crews, jobs = set(problem.crew_ids), set(problem.job_ids)
    orders = {
        crew: tuple(job for job in order if job in jobs)
        for crew, order in orders_of(stored.content).items()
        if crew in crews
    }
    kept = plan_again(problem, found, orders, bound, {"routes_of_before": True})
    return kept if isinstance(kept, Plan) and promises_first(kept) > promises_first(found) else found


def promises_first(plan: Plan) -> tuple[bool, float]:
    """Kept promises come before money."""
    return plan.keeps_promises, plan.value_cents


def _judged_again(plan: Plan) -> Plan:
    gap = gap_between(plan.upper_bound_cents, plan.value_cents)
    if not plan.keeps_promises:
        return replace(plan, gap=gap)
    return replace(plan, gap=gap, status="optimal" if gap <= OPTIMAL_GAP else "feasible")


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
    """Reasons as they are now; prices as they were."""
    placed = {job for route in routes for job in route.job_ids}
    prices = {entry.job: entry.price_to_place_cents for entry in before.left_out}
    model = build_model(problem)
    orders = {route.crew: [model.index_of_job[job] for job in route.job_ids] for route in routes}
    finder = ReasonFinder(model, [orders.get(crew, []) for crew in problem.crew_ids])
    return tuple(
        LeftOut(job, finder.reason(model.index_of_job[job]), prices.get(job))
        for job in problem.job_ids
        if job not in placed
    )


def _judged(problem: Problem, before: Plan, plan: Plan) -> Plan | Broken:
    """The plan with its true status, unless it breaks a rule or a promise that was kept."""
    verdict = evaluate(problem, plan)
    newly = [words for words in verdict.unkept if words not in evaluate(problem, before).unkept]
    broken = (*verdict.faults, *newly)
    if broken:
        return Broken("; ".join(broken))
    if verdict.unkept:  # as before: whether they can be kept does not depend on the routes
        return replace(plan, status=before.status)
    return _judged_again(replace(plan, status="feasible", reasons=()))
