"""The exact optimum of a tiny day by trying everything; shares no code with the solver.

Times are found by trying every place for the break (before or after each drive) along every order;
going as early as possible is enough because waiting is free and allowed anywhere.
"""

from fractions import Fraction
from itertools import combinations, permutations

from routing.solver import Crew, Job, Problem


def best_value(problem: Problem) -> Fraction | None:
    """Cents of the best plan, or None where the promises cannot all be kept."""
    every = frozenset(range(len(problem.jobs)))
    promised = frozenset(j for j, job in enumerate(problem.jobs) if job.must_do or job.id in problem.fixed_crew)
    best: dict[frozenset[int], Fraction] = {frozenset(): Fraction(0)}
    for crew in problem.crews:
        routes = best_routes(problem, crew)
        grown: dict[frozenset[int], Fraction] = {}
        for placed, value in best.items():
            for jobs, extra in routes.items():
                if not placed & jobs:
                    key = placed | jobs
                    grown[key] = max(grown.get(key, value + extra), value + extra)
        best = grown
    assert all(placed <= every for placed in best)
    return max((value for placed, value in best.items() if promised <= placed), default=None)


def best_routes(problem: Problem, crew: Crew) -> dict[frozenset[int], Fraction]:
    """Best value of this crew's route for each set of jobs that it can do."""
    fixed = [problem.job_ids.index(job) for job in problem.fixed.get(crew.id, ())]
    elsewhere = {job for other, jobs in problem.fixed.items() if other != crew.id for job in jobs}
    able = [
        j
        for j, job in enumerate(problem.jobs)
        if set(job.needs) <= set(crew.skills)
        and (job.crews is None or crew.id in job.crews)
        and job.id not in elsewhere
    ]
    if not set(fixed) <= set(able):
        return {}
    routes: dict[frozenset[int], Fraction] = {} if fixed else {frozenset(): Fraction(0)}
    others = [j for j in able if j not in fixed]
    for size in range(len(others) + 1):
        for chosen in combinations(others, size):
            for order in permutations(chosen):
                value = route_value(problem, crew, [problem.jobs[j] for j in [*fixed, *order]])
                key = frozenset([*fixed, *order])
                if value is not None and key and value > routes.get(key, value - 1):
                    routes[key] = value
    return routes


def route_value(problem: Problem, crew: Crew, jobs: list[Job]) -> Fraction | None:
    """Best value of one order; None where no times keep the rules."""
    if not jobs:
        return Fraction(0)
    for kind, limit in crew.capacity.items():
        if sum(job.uses.get(kind, 0) for job in jobs) > limit:
            return None
    places = [crew.start, *(job.place for job in jobs), crew.end]
    legs = [problem.drive(a, b) for a, b in zip(places, places[1:], strict=False)]
    if None in legs:
        return None
    paid = [_paid(crew, jobs, [leg[0] for leg in legs if leg], place) for place in _break_places(legs)]
    costs = [_time_cost(problem, crew, minutes) for minutes in paid if minutes is not None]
    if not costs:
        return None
    gain = sum(job.gain_cents + (job.prefer.cents if job.prefer and job.prefer.crew == crew.id else 0) for job in jobs)
    km = Fraction(crew.cents_per_km * sum(leg[1] for leg in legs if leg), 1000)
    return gain - crew.fixed_cents - km - min(costs)


def _break_places(legs: list[object]) -> list[tuple[int, str] | None]:
    return [None, *((i, side) for i in range(len(legs)) for side in ("before", "after"))]


def _paid(crew: Crew, jobs: list[Job], drives: list[int], break_place: tuple[int, str] | None) -> int | None:
    now = crew.shift[0]
    for leg, drive in enumerate(drives):
        for step in ("before", "drive", "after"):
            if step == "drive":
                now += drive
            elif break_place == (leg, step):
                if crew.rest is None:
                    return None
                now = max(now, crew.rest.window[0])
                if now > crew.rest.window[1]:
                    return None
                now += crew.rest.minutes
        if leg < len(jobs):
            starts = [max(now, a) for a, b in jobs[leg].windows if now <= b]
            if not starts:
                return None
            now = min(starts) - (-jobs[leg].on_site_minutes * crew.pace_percent // 100)
    if now > crew.shift[1]:
        return None
    if break_place is None and crew.rest is not None and now >= crew.rest.window[0]:
        return None
    unpaid = crew.rest.minutes if crew.rest and break_place and not crew.rest.paid else 0
    return now - crew.shift[0] - unpaid


def _time_cost(problem: Problem, crew: Crew, paid: int) -> Fraction:
    rate = max(Fraction(crew.cents_per_minute), Fraction(problem.reserve_cents_per_crew_hour, 60))
    cost = rate * paid
    if crew.overtime:
        cost += crew.overtime.extra_cents_per_minute * max(0, paid - crew.overtime.after_minutes)
    return cost
