"""A week as one problem: each crew's day is a crew of its own, jobs carry their windows of all days.

Minutes count from the first day's midnight. Two places lie in one table only as far as some day's problem holds both;
others are never driven, which is right, since no route leads from one day into another.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from routing.solver import Crew, Job, Plan, Prefer, Problem
from routing.solver.problem import Window
from shared.units import MINUTES_PER_HOUR

DAY_LENGTH = len("-2026-06-03")


@dataclass(frozen=True, slots=True)
class DayOfWeek:
    """One day's problem and where its midnight lies in the week, in real minutes."""

    work_date: date
    offset: int
    problem: Problem


def crew_day(crew: str, work_date: date) -> str:
    """The id of a crew on one day: "east-2026-06-03"."""
    return f"{crew}-{work_date.isoformat()}"


def crew_and_date(key: str) -> tuple[str, date]:
    """Back from `crew_day`."""
    return key[:-DAY_LENGTH], date.fromisoformat(key[1 - DAY_LENGTH :])


def week_problem(days: Sequence[DayOfWeek]) -> Problem:
    """The days as one problem. The reserve is the least of the days'; where it is higher, minutes cost so much more."""
    places = tuple(dict.fromkeys(place for day in days for place in day.problem.places))
    reserve = min((day.problem.reserve_cents_per_crew_hour for day in days), default=0)
    return Problem(
        places=places,
        drive_minutes=_table(places, [(day.problem, day.problem.drive_minutes) for day in days]),
        drive_metres=_table(places, [(day.problem, day.problem.drive_metres) for day in days]),
        crews=tuple(_crew(day, crew, reserve) for day in days for crew in day.problem.crews),
        jobs=_jobs(days),
        fixed={crew_day(crew, day.work_date): jobs for day in days for crew, jobs in day.problem.fixed.items()},
        reserve_cents_per_crew_hour=reserve,
    )


def orders_by_day(plan: Plan) -> dict[date, dict[str, tuple[str, ...]]]:
    """Job ids in order, by day and crew."""
    found: dict[date, dict[str, tuple[str, ...]]] = {}
    for route in plan.routes:
        crew, work_date = crew_and_date(route.crew)
        found.setdefault(work_date, {})[crew] = route.job_ids
    return found


def _table(
    places: Sequence[str], tables: Sequence[tuple[Problem, Sequence[Sequence[int | None]]]]
) -> tuple[tuple[int | None, ...], ...]:
    at = {place: index for index, place in enumerate(places)}
    cells: list[list[int | None]] = [[0 if i == j else None for j in range(len(places))] for i in range(len(places))]
    for problem, table in tables:
        index = [at[place] for place in problem.places]
        for row, values in zip(index, table, strict=True):
            for column, value in zip(index, values, strict=True):
                cells[row][column] = value
    return tuple(tuple(row) for row in cells)


def _crew(day: DayOfWeek, crew: Crew, reserve: int) -> Crew:
    own = day.problem.reserve_cents_per_crew_hour
    cost = max(crew.cents_per_minute, -(-own // MINUTES_PER_HOUR)) if own > reserve else crew.cents_per_minute
    rest = crew.rest and replace(crew.rest, window=_moved(crew.rest.window, day.offset))
    shift = _moved(crew.shift, day.offset)
    return replace(crew, id=crew_day(crew.id, day.work_date), shift=shift, rest=rest, cents_per_minute=cost)


def _moved(window: Window, minutes: int) -> Window:
    return window[0] + minutes, window[1] + minutes


def _jobs(days: Sequence[DayOfWeek]) -> tuple[Job, ...]:
    found: dict[str, list[tuple[DayOfWeek, Job]]] = {}
    for day in days:
        for job in day.problem.jobs:
            found.setdefault(job.id, []).append((day, job))
    return tuple(_job(entries) for entries in found.values())


def _job(entries: Sequence[tuple[DayOfWeek, Job]]) -> Job:
    """One job with the windows of all its days; a preference that holds on one day holds for that day's crew."""
    job = entries[0][1]
    prefers = (Prefer(crew_day(j.prefer.crew, d.work_date), j.prefer.cents) for d, j in entries if j.prefer)
    return replace(
        job,
        windows=tuple(_moved(window, day.offset) for day, each in entries for window in each.windows),
        crews=_crews(entries),
        must_do=any(each.must_do for _, each in entries),
        prefer=next(prefers, None),
    )


def _crews(entries: Sequence[tuple[DayOfWeek, Job]]) -> tuple[str, ...] | None:
    if all(job.crews is None for _, job in entries):
        return None
    return tuple(
        crew_day(crew, day.work_date)
        for day, job in entries
        for crew in (day.problem.crew_ids if job.crews is None else job.crews)
    )


def placed_on(orders: Mapping[date, Mapping[str, Sequence[str]]], work_date: date) -> set[str]:
    """Jobs of one day of the week."""
    return {job for order in orders.get(work_date, {}).values() for job in order}
