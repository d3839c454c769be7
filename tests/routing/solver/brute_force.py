"""The exact optimum of a tiny day by trying everything; shares no code with the solver.

Orders grow stop by stop. Along an order the crew is tracked in both states of its break (still to come, behind it),
each at the earliest minute that is possible; the break is tried before and after each drive. Going as early as
possible is enough, because waiting is free and allowed anywhere. Money is whole 3000ths of a cent, in which every
cost of the contract comes out whole.
"""

from collections.abc import Iterator
from fractions import Fraction

from routing.solver import Crew, Job, Problem

SCALE = 3000
State = tuple[int | None, int | None]
"""Earliest minutes with the break still to come, and with it behind."""
Figures = tuple[int, int]
"""(money of a route, its paid minutes)"""


def best_value(problem: Problem) -> Fraction | None:
    """Cents of the best plan, or None where the promises cannot all be kept."""
    best: dict[int, int] = {0: 0}
    for crew in problem.crews:
        routes = {jobs: max(money for money, _ in figures) for jobs, figures in every_route(problem, crew).items()}
        grown: dict[int, int] = {}
        for placed, value in best.items():
            for jobs, extra in routes.items():
                if not placed & jobs:
                    key = placed | jobs
                    if value + extra > grown.get(key, value + extra - 1):
                        grown[key] = value + extra
        best = grown
    promised = _promised(problem)
    kept = [value for placed, value in best.items() if placed & promised == promised]
    return Fraction(max(kept), SCALE) if kept else None


def best_ratio(problem: Problem) -> Fraction | None:
    """Cents per paid hour of the plan that earns most per paid hour; nobody working earns 0. None as `best_value`."""
    plans: dict[int, set[Figures]] = {0: {(0, 0)}}
    for crew in problem.replace(reserve_cents_per_crew_hour=0).crews:
        grown: dict[int, set[Figures]] = {}
        routes = every_route(problem.replace(reserve_cents_per_crew_hour=0), crew)
        for placed, figures in plans.items():
            for jobs, more in routes.items():
                if not placed & jobs:
                    sums = {(a[0] + b[0], a[1] + b[1]) for a in figures for b in more}
                    grown.setdefault(placed | jobs, set()).update(sums)
        plans = grown
    promised = _promised(problem)
    kept = [pair for placed, figures in plans.items() if placed & promised == promised for pair in figures]
    ratios = [Fraction(money * 60, SCALE * minutes) if minutes else Fraction(0) for money, minutes in kept]
    return max(ratios, default=None)


def _promised(problem: Problem) -> int:
    chosen = (j for j, job in enumerate(problem.jobs) if job.must_do or job.id in problem.fixed_crew)
    return sum(1 << j for j in chosen)


def every_route(problem: Problem, crew: Crew) -> dict[int, set[Figures]]:
    """By set of jobs (bit j is job j): what this crew's routes come to that no other order beats in both figures."""
    routes: dict[int, set[Figures]] = {}
    fixed = [problem.job_ids.index(job) for job in problem.fixed.get(crew.id, ())]
    for jobs, figures in _Orders(problem, crew).beginning_with(fixed):
        key = sum(1 << j for j in jobs)
        known = routes.setdefault(key, set())
        if not any(a[0] >= figures[0] and a[1] <= figures[1] for a in known):
            known.add(figures)
    if not fixed:
        routes[0] = {(0, 0)}
    return routes


class _Orders:
    """All orders of stops that one crew could begin, with what each route comes to."""

    def __init__(self, problem: Problem, crew: Crew):
        self._problem, self._crew = problem, crew
        elsewhere = {job for other, jobs in problem.fixed.items() if other != crew.id for job in jobs}
        self._able = [
            set(job.needs) <= set(crew.skills)
            and (job.crews is None or crew.id in job.crews)
            and job.id not in elsewhere
            for job in problem.jobs
        ]
        rate = max(crew.cents_per_minute * SCALE, problem.reserve_cents_per_crew_hour * SCALE // 60)
        self._rate, self._km = rate, crew.cents_per_km * SCALE // 1000

    def beginning_with(self, fixed: list[int]) -> Iterator[tuple[list[int], Figures]]:
        order: list[int] = []
        state: State | None = (self._crew.shift[0], None)
        place, metres = self._crew.start, 0
        for job in fixed:
            if not self._able[job]:
                return
            state, place, metres = self._on(state, place, metres, job)
            order.append(job)
            if state is None:
                return
        yield from self._grow(order, state, place, metres, len(fixed))

    def _grow(
        self, order: list[int], state: State, place: str, metres: int, fixed: int
    ) -> Iterator[tuple[list[int], Figures]]:
        if order and self._carries(order):
            figures = self._home(order, state, place, metres)
            if figures is not None:
                yield order, figures
        for job, able in enumerate(self._able):
            if able and job not in order:
                there, at, far = self._on(state, place, metres, job)
                if there is not None:
                    yield from self._grow([*order, job], there, at, far, fixed)

    def _on(self, state: State | None, place: str, metres: int, job: int) -> tuple[State | None, str, int]:
        there = self._problem.jobs[job]
        leg = self._problem.drive(place, there.place)
        if state is None or leg is None:
            return None, place, metres
        fresh, rested = self._driven(state, leg[0])
        minutes = -(-there.on_site_minutes * self._crew.pace_percent // 100)
        done = _worked(there, fresh, minutes), _worked(there, rested, minutes)
        if done == (None, None):
            return None, place, metres
        return done, there.place, metres + leg[1]

    def _driven(self, state: State, drive: int) -> State:
        """Earliest minutes at the end of a drive."""
        fresh, rested = state
        options = [] if rested is None else [rested + drive]
        rest = self._crew.rest
        if fresh is not None and rest is not None:
            before, after = max(fresh, rest.window[0]), max(fresh + drive, rest.window[0])
            options += [before + rest.minutes + drive] if before <= rest.window[1] else []
            options += [after + rest.minutes] if after <= rest.window[1] else []
        return None if fresh is None else fresh + drive, min(options, default=None)

    def _carries(self, order: list[int]) -> bool:
        jobs = [self._problem.jobs[j] for j in order]
        return all(sum(job.uses.get(k, 0) for job in jobs) <= most for k, most in self._crew.capacity.items())

    def _home(self, order: list[int], state: State, place: str, metres: int) -> Figures | None:
        crew = self._crew
        leg = self._problem.drive(place, crew.end)
        if leg is None:
            return None
        fresh, rested = self._driven(state, leg[0])
        paid = []
        if fresh is not None and fresh <= crew.shift[1] and (crew.rest is None or fresh < crew.rest.window[0]):
            paid.append(fresh - crew.shift[0])
        if rested is not None and rested <= crew.shift[1] and crew.rest is not None:
            paid.append(rested - crew.shift[0] - (0 if crew.rest.paid else crew.rest.minutes))
        if not paid:
            return None
        minutes = min(paid)
        over = max(0, minutes - crew.overtime.after_minutes) if crew.overtime else 0
        extra = crew.overtime.extra_cents_per_minute if crew.overtime else 0
        gain = sum(_earned(self._problem.jobs[j], crew) for j in order) - crew.fixed_cents - extra * over
        return gain * SCALE - self._km * (metres + leg[1]) - self._rate * minutes, minutes


def _earned(job: Job, crew: Crew) -> int:
    return job.gain_cents + (job.prefer.cents if job.prefer and job.prefer.crew == crew.id else 0)


def _worked(job: Job, ready: int | None, minutes: int) -> int | None:
    if ready is None:
        return None
    starts = [max(ready, opens) for opens, closes in job.windows if ready <= closes]
    return min(starts) + minutes if starts else None


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
