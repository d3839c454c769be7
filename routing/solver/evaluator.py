"""An independent judge of plans: is every rule kept, and what is the plan worth?

It reads the plan's own times and shares no timing code with the solver. The formula, in cents:

    value = sum over routes with stops of
              sum over stops of (gain + bonus where the job prefers this crew)
            - fixed_cents
            - cents_per_km x metres / 1000
            - max(cents_per_minute, reserve / 60) x paid minutes
            - extra_cents_per_minute x max(0, paid minutes - after_minutes)

    paid minutes = back - shift start - (minutes of the break, where one is taken and it is unpaid)
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from .plan import BROKEN_STATUSES, LEFT_OUT_REASONS, OPTIMAL_GAP, STATUSES, Plan, RoutePlan, Stop, gap_between
from .problem import Crew, Job, Problem

CENTS_TOLERANCE = 0.01


@dataclass(frozen=True, slots=True)
class RouteFigures:
    """What one route comes to, computed from its stops and the tables."""

    crew: str
    drive_minutes: int
    drive_metres: int
    paid_minutes: int
    overtime_minutes: int
    value_cents: float


@dataclass(frozen=True, slots=True)
class Evaluation:
    """`faults`: every broken rule in words. `unkept`: promises that an "infeasible" or "undecided" plan breaks."""

    faults: tuple[str, ...]
    value_cents: float
    routes: tuple[RouteFigures, ...]
    profit_cents: float
    """The value with each crew's own cost of a minute, whatever the reserve."""
    unkept: tuple[str, ...] = ()

    @property
    def keeps_the_rules(self) -> bool:
        return not self.faults


def evaluate(problem: Problem, plan: Plan) -> Evaluation:
    """Check every rule of the contract and compute the plan's value by the formula above."""
    faults: list[str] = []
    figures: list[RouteFigures] = []
    total, profit = Fraction(0), Fraction(0)
    for route in plan.routes:
        if route.crew not in problem.crew_by_id:
            faults.append(f"crew {route.crew} is unknown")
            continue
        unknown = [job for job in route.job_ids if job not in problem.job_by_id]
        if unknown:
            faults += [f"crew {route.crew}: job {job} is unknown" for job in unknown]
            continue
        faults += _route_faults(problem, route)
        figure, value = _figures(problem, route)
        faults += _reported_wrong(route, figure)
        figures.append(figure)
        total += value
        profit += value + _reserve_share(problem, route.crew, figure.paid_minutes)
    unkept = [*_promises(problem, plan), *_fixed(problem, plan)]
    faults += [*_counts(problem, plan), *_totals(plan, float(total))]
    faults += _ratio_wrong(plan, float(profit), sum(figure.paid_minutes for figure in figures))
    if plan.status not in BROKEN_STATUSES:
        faults += unkept
    return Evaluation(tuple(faults), float(total), tuple(figures), float(profit), tuple(unkept))


def _route_faults(problem: Problem, route: RoutePlan) -> Iterator[str]:
    crew = problem.crew_by_id[route.crew]
    jobs = [problem.job_by_id[job_id] for job_id in route.job_ids]
    name = f"crew {crew.id}"
    if not jobs:
        return
    if route.leave < crew.shift[0]:
        yield f"{name} leaves at {route.leave}, before its shift's start {crew.shift[0]}"
    if route.back > crew.shift[1]:
        yield f"{name} is back at {route.back}, after its shift's end {crew.shift[1]}"
    for job, stop in zip(jobs, route.stops, strict=True):
        yield from _stop_faults(crew, job, stop)
    yield from _capacity(crew, jobs)
    yield from _legs(problem, crew, jobs, route)
    yield from _break(crew, route)


def _stop_faults(crew: Crew, job: Job, stop: Stop) -> Iterator[str]:
    name = f"crew {crew.id}, {job.id}"
    if job.crews is not None and crew.id not in job.crews:
        yield f"{name}: this crew may not do the job"
    lacking = [skill for skill in job.needs if skill not in crew.skills]
    if lacking:
        yield f"{name}: the crew lacks {', '.join(lacking)}"
    if not any(opens <= stop.start <= closes for opens, closes in job.windows):
        yield f"{name}: work begins at {stop.start}, outside every window"
    if stop.start < stop.arrive:
        yield f"{name}: work begins at {stop.start}, before the arrival at {stop.arrive}"
    minutes = -(-job.on_site_minutes * crew.pace_percent // 100)
    if stop.finish - stop.start != minutes:
        yield f"{name}: {stop.finish - stop.start} minutes on site, {minutes} are needed"


def _capacity(crew: Crew, jobs: list[Job]) -> Iterator[str]:
    for kind, limit in crew.capacity.items():
        load = sum(job.uses.get(kind, 0) for job in jobs)
        if load > limit:
            yield f"crew {crew.id}: uses {load} {kind}, carries {limit}"


def _legs(problem: Problem, crew: Crew, jobs: list[Job], route: RoutePlan) -> Iterator[str]:
    """Each drive must fit, in one piece, before or after the break where the break falls there."""
    places = [crew.start, *(job.place for job in jobs), crew.end]
    ready = [route.leave, *(stop.finish for stop in route.stops)]
    there = [*(stop.arrive for stop in route.stops), route.back]
    for index in range(len(places) - 1):
        name = f"crew {crew.id}, drive from {places[index]} to {places[index + 1]}"
        leg = problem.drive(places[index], places[index + 1])
        if leg is None:
            yield f"{name}: it is never driven"
            continue
        room = _longest_free(crew, route.break_start, ready[index], there[index])
        if room < leg[0]:
            yield f"{name}: needs {leg[0]} minutes in one piece, {room} are there"


def _longest_free(crew: Crew, break_start: int | None, begin: int, end: int) -> int:
    """Longest stretch of [begin, end] without the break."""
    if break_start is None or crew.rest is None:
        return end - begin
    over = break_start + crew.rest.minutes
    if over <= begin or break_start >= end:
        return end - begin
    return max(break_start - begin, end - over)


def _break(crew: Crew, route: RoutePlan) -> Iterator[str]:
    name = f"crew {crew.id}"
    start = route.break_start
    if crew.rest is None:
        if start is not None:
            yield f"{name} takes a break that it does not have"
        return
    opens, closes = crew.rest.window
    if start is None:
        if route.back >= opens:
            yield f"{name} is back at {route.back} without its break, due from {opens}"
        return
    if not opens <= start <= closes:
        yield f"{name} begins its break at {start}, outside {opens}-{closes}"
    over = start + crew.rest.minutes
    if start < crew.shift[0] or over > route.back:
        yield f"{name}: the break {start}-{over} is not inside the crew's day"
    for stop in route.stops:
        if start < stop.finish and over > stop.start:
            yield f"{name}, {stop.job}: works during the break {start}-{over}"


def _figures(problem: Problem, route: RoutePlan) -> tuple[RouteFigures, Fraction]:
    crew = problem.crew_by_id[route.crew]
    jobs = [problem.job_by_id[job_id] for job_id in route.job_ids]
    if not jobs:
        return RouteFigures(crew.id, 0, 0, 0, 0, 0.0), Fraction(0)
    places = [crew.start, *(job.place for job in jobs), crew.end]
    legs = [problem.drive(a, b) or (0, 0) for a, b in zip(places, places[1:], strict=False)]
    minutes, metres = sum(leg[0] for leg in legs), sum(leg[1] for leg in legs)
    taken = crew.rest is not None and route.break_start is not None and not crew.rest.paid
    unpaid = crew.rest.minutes if crew.rest is not None and taken else 0
    paid = route.back - crew.shift[0] - unpaid
    over = max(0, paid - crew.overtime.after_minutes) if crew.overtime else 0
    value = _value(problem, crew, jobs, metres, paid, over)
    return RouteFigures(crew.id, minutes, metres, paid, over, float(value)), value


def _value(problem: Problem, crew: Crew, jobs: list[Job], metres: int, paid: int, over: int) -> Fraction:
    value = Fraction(-crew.fixed_cents)
    for job in jobs:
        value += job.gain_cents
        if job.prefer is not None and job.prefer.crew == crew.id:
            value += job.prefer.cents
    value -= Fraction(crew.cents_per_km * metres, 1000)
    reserve = Fraction(problem.reserve_cents_per_crew_hour, 60)
    value -= max(Fraction(crew.cents_per_minute), reserve) * paid
    if crew.overtime is not None:
        value -= crew.overtime.extra_cents_per_minute * over
    return value


def _reserve_share(problem: Problem, crew_id: str, paid: int) -> Fraction:
    """What the reserve takes off beyond the crew's own cost."""
    reserve = Fraction(problem.reserve_cents_per_crew_hour, 60)
    return max(Fraction(0), reserve - problem.crew_by_id[crew_id].cents_per_minute) * paid


def _ratio_wrong(plan: Plan, profit: float, paid_minutes: int) -> Iterator[str]:
    told = plan.best_ratio
    if told is None:
        return
    if told.paid_minutes != paid_minutes:
        yield f"best_ratio.paid_minutes is given as {told.paid_minutes}, comes to {paid_minutes}"
    if _differs(told.profit_cents, profit):
        yield f"best_ratio.profit_cents is given as {told.profit_cents}, comes to {profit}"
    bound = told.upper_bound_cents_per_crew_hour
    if bound is not None and not bound >= told.cents_per_crew_hour - CENTS_TOLERANCE:
        yield f"best_ratio: the bound {bound} is below the plan's {told.cents_per_crew_hour}"


def _differs(reported: float, computed: float) -> bool:
    return not abs(reported - computed) <= max(CENTS_TOLERANCE, 1e-9 * abs(computed))


def _reported_wrong(route: RoutePlan, figure: RouteFigures) -> Iterator[str]:
    name = f"crew {route.crew}"
    for label in ("drive_minutes", "drive_metres", "paid_minutes"):
        reported, computed = getattr(route, label), getattr(figure, label)
        if reported != computed:
            yield f"{name}: {label} is given as {reported}, the stops come to {computed}"
    if _differs(route.value_cents, figure.value_cents):
        given = route.value_cents
        yield f"{name}: value_cents is given as {given}, comes to {figure.value_cents}"


def _promises(problem: Problem, plan: Plan) -> Iterator[str]:
    placed = {job for route in plan.routes for job in route.job_ids}
    for job in problem.jobs:
        if job.must_do and job.id not in placed:
            yield f"{job.id} is promised and not placed"


def _fixed(problem: Problem, plan: Plan) -> Iterator[str]:
    first = {route.crew: route.job_ids for route in plan.routes}
    for crew, jobs in problem.fixed.items():
        found = first.get(crew, ())[: len(jobs)]
        if found != tuple(jobs):
            yield f"crew {crew} does not begin with {', '.join(jobs)} as fixed"


def _counts(problem: Problem, plan: Plan) -> Iterator[str]:
    for crew, times in Counter(route.crew for route in plan.routes).items():
        if times > 1:
            yield f"crew {crew} has {times} routes"
    seen = Counter(job for route in plan.routes for job in route.job_ids)
    seen.update(entry.job for entry in plan.left_out)
    for job_id in problem.job_ids:
        if seen[job_id] == 0:
            yield f"{job_id} is neither placed nor left out"
        elif seen[job_id] > 1:
            yield f"{job_id} appears {seen[job_id]} times"
    for entry in plan.left_out:
        if entry.job not in problem.job_by_id:
            yield f"left out: job {entry.job} is unknown"
        if entry.reason not in LEFT_OUT_REASONS:
            yield f"left out: {entry.job} has no reason of the contract: {entry.reason}"


def _totals(plan: Plan, value: float) -> Iterator[str]:
    if plan.status not in STATUSES:
        yield f"status {plan.status} is not of the contract"
    if _differs(plan.value_cents, value):
        yield f"value_cents is given as {plan.value_cents}, the routes come to {value}"
    slack = max(CENTS_TOLERANCE, OPTIMAL_GAP * abs(value))
    if not plan.upper_bound_cents >= value - slack:
        yield f"upper_bound_cents {plan.upper_bound_cents} is below the plan's value {value}"
    gap = gap_between(plan.upper_bound_cents, plan.value_cents)
    if not abs(gap - plan.gap) <= 1e-9 + 1e-6 * abs(gap):
        yield f"gap is given as {plan.gap}, comes to {gap}"
    if plan.status == "optimal" and not plan.gap <= OPTIMAL_GAP:
        yield f"an optimal plan cannot have a gap of {plan.gap}"
