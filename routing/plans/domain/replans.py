"""Planning the rest of a day again: what customers were told is kept where that costs little.

A replan is judged by its value less CHANGE_CENTS for each customer who has to be called: one whose stop is left out,
or begins more than KEEP_MINUTES from the time that was told. That a customer keeps the crew is already part of the
value (SAME_CREW_CENTS, a bonus in the problem). Two problems are solved side by side, the day with all its windows and
the day with the told times held, and the better of their plans is taken; so the choice is between two good plans, not
among all. Both figures are our own choice, no source.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from routing.plans.domain.changes import promises_first
from routing.solver import Job, Plan, Problem
from routing.solver.plan import OPTIMAL_GAP, Status, gap_between

CHANGE_CENTS = 2_000
KEEP_MINUTES = 30


@dataclass(frozen=True, slots=True)
class Told:
    """What a customer was told: the crew and the real minute at which the work begins."""

    crew: str
    start: int


@dataclass(frozen=True, slots=True)
class Moved:
    """A stop that is not as it was told. `now` is None where it is left out."""

    job: str
    before: Told
    now: Told | None

    @property
    def must_be_called(self) -> bool:
        return self.now is None or abs(self.now.start - self.before.start) > KEEP_MINUTES

    @property
    def changes_crew(self) -> bool:
        return self.now is not None and self.now.crew != self.before.crew


def with_times_held(problem: Problem, told: Mapping[str, Told]) -> Problem:
    """The day on which told stops may begin only about when they were told, where their windows allow it at all."""
    return problem.replace(jobs=tuple(_held(job, told, problem) for job in problem.jobs))


def _held(job: Job, told: Mapping[str, Told], problem: Problem) -> Job:
    before = told.get(job.id)
    if before is None or job.id in problem.fixed_crew:
        return job
    low, high = before.start - KEEP_MINUTES, before.start + KEEP_MINUTES
    windows = tuple((max(a, low), min(b, high)) for a, b in job.windows if max(a, low) <= min(b, high))
    return replace(job, windows=windows) if windows else job


def in_the_open(plan: Plan, of_open_day: Plan) -> Plan:
    """A plan with held times as one of the open day: its times keep those windows too. The bound is that of the open
    day's own plan, and so is the proof where promises cannot be kept: a clash of held times proves nothing for it."""
    bound = max(of_open_day.upper_bound_cents, plan.value_cents)
    gap = gap_between(bound, plan.value_cents)
    return replace(
        plan,
        status=_open_status(plan, of_open_day, gap),
        reasons=() if plan.keeps_promises else of_open_day.reasons or plan.reasons,
        upper_bound_cents=bound,
        gap=gap,
        left_out=tuple(replace(left, price_to_place_cents=None) for left in plan.left_out),
        crew_hour_worth_cents=None,
    )


def _open_status(plan: Plan, of_open_day: Plan, gap: float) -> Status:
    if plan.keeps_promises:
        return "optimal" if gap <= OPTIMAL_GAP else "feasible"
    return "infeasible" if of_open_day.status == "infeasible" else "undecided"


def moved_stops(told: Mapping[str, Told], now: Mapping[str, Told]) -> tuple[Moved, ...]:
    """Stops that changed the crew, the time noticeably, or went; those whose customers must be called first."""
    found = [Moved(job, before, now.get(job)) for job, before in told.items()]
    changed = [move for move in found if move.must_be_called or move.changes_crew]
    return tuple(sorted(changed, key=lambda move: (not move.must_be_called, move.before.start, move.job)))


def stops_of(plan: Plan) -> dict[str, Told]:
    return {stop.job: Told(route.crew, stop.start) for route in plan.routes for stop in route.stops}


def least_disruptive(plans: Iterable[Plan], told: Mapping[str, Told]) -> Plan:
    """The plan that is worth most after CHANGE_CENTS for each call; kept promises come before money."""

    def rank(plan: Plan) -> tuple[bool, float]:
        calls = sum(move.must_be_called for move in moved_stops(told, stops_of(plan)))
        return promises_first(plan)[0], plan.value_cents - CHANGE_CENTS * calls

    return max(plans, key=rank)
