"""From the facts of a day to the solver's problem.

How the facts are read:
- gain = price - discount - materials, in cents, as agreed on the lines;
- a crew's cost per minute is its wage with burden; the reserve is a two-person crew's, other sizes by workers;
- a stop that a crew has reached is fixed, in the order it really had, with its real minutes;
- while the day is under way nothing else may begin before the present minute;
- a crew that runs late by its fixed stops gets a longer shift and a later break instead of no plan at all.
"""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import replace

from routing.plans.domain.costs import (
    minute_cost_with_reserve,
    overtime_extra_cents_per_minute,
    pace_percent,
    reserve_for,
    wage_cents_per_minute,
)
from routing.plans.domain.facts import CrewFacts, DayFacts, JobFacts, Place, StartedStop, Window
from routing.plans.domain.keys import job_key
from routing.roads.domain import DriveTable
from routing.solver import Break, Broken, Crew, Job, Overtime, Prefer, Problem, problem_to_json, schedule_route
from shared.units import round_half_up

SAME_CREW_CENTS = 1_500  # what keeping the crew that a customer was told of is worth; our choice, no source
LATE_MINUTES = 600  # how much longer a crew that runs late may work


def places_of(facts: DayFacts) -> tuple[Place, ...]:
    """The yard first, then each place of a job once."""
    places = {facts.yard.key: facts.yard, **{job.place.key: job.place for job in facts.jobs}}
    return tuple(places.values())


def build_problem(facts: DayFacts, table: DriveTable) -> Problem:
    """The day problem; `table` has a row and column for each of `places_of(facts)`."""
    started = {stop.job_id: stop for stop in facts.started}
    reserve = _common_reserve(facts)
    problem = Problem(
        places=tuple(place.key for place in places_of(facts)),
        drive_minutes=table.minutes,
        drive_metres=table.metres,
        crews=tuple(_crew(crew, facts, reserve) for crew in facts.crews),
        jobs=tuple(_job(job, started.get(job.job_id), facts) for job in facts.jobs if _has_time(job, started, facts)),
        fixed=_fixed(facts),
        reserve_cents_per_crew_hour=reserve,
    )
    return _with_late_crews(problem)


def digest_of(problem: Problem) -> str:
    """SHA-256 of the problem's canonical JSON: the same inputs, the same digest."""
    text = json.dumps(problem_to_json(problem), sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def out_of_time(facts: DayFacts) -> tuple[int, ...]:
    """Jobs whose last window closed before the present minute."""
    started = {stop.job_id: stop for stop in facts.started}
    return tuple(job.job_id for job in facts.jobs if not _has_time(job, started, facts))


def late_crews(facts: DayFacts, problem: Problem) -> tuple[str, ...]:
    """Crews whose shift had to be lengthened because of stops that they have begun."""
    ends = {crew.code: crew.shift[1] for crew in facts.crews}
    return tuple(crew.id for crew in problem.crews if crew.shift[1] > ends[crew.id])


def _common_reserve(facts: DayFacts) -> int:
    """The problem's one reserve: that of the smallest crew; larger crews carry their own in their cost."""
    reserves = [reserve_for(facts.reserve_cents_per_crew_hour, crew.workers) for crew in facts.crews]
    return round_half_up(min(reserves, default=reserve_for(facts.reserve_cents_per_crew_hour, 2)))


def _crew(crew: CrewFacts, facts: DayFacts, common_reserve: int) -> Crew:
    cost = wage_cents_per_minute(crew.wage_cents_per_hour, crew.burden_percent)
    own_reserve = reserve_for(facts.reserve_cents_per_crew_hour, crew.workers)
    if own_reserve > common_reserve:
        cost = minute_cost_with_reserve(cost, own_reserve)
    return Crew(
        id=crew.code,
        start=facts.yard.key,
        end=facts.yard.key,
        shift=crew.shift,
        cents_per_minute=cost,
        cents_per_km=crew.cents_per_km,
        fixed_cents=crew.fixed_cents,
        skills=crew.skills,
        overtime=_overtime(crew),
        rest=Break(crew.break_minutes, crew.break_window, crew.break_is_paid) if crew.break_minutes else None,
        capacity={} if crew.mix_litres is None else {"mix_litres": crew.mix_litres},
        pace_percent=pace_percent(crew.pace_percent, crew.workers),
    )


def _overtime(crew: CrewFacts) -> Overtime | None:
    if crew.overtime_after_minutes is None:
        return None
    extra = overtime_extra_cents_per_minute(crew.wage_cents_per_hour, crew.burden_percent)
    return Overtime(crew.overtime_after_minutes, extra)


def _job(job: JobFacts, started: StartedStop | None, facts: DayFacts) -> Job:
    if started is not None:
        return _begun(job, started, facts)
    codes = {crew.code for crew in facts.crews}
    locked = job.only_crew if job.only_crew in codes else None
    return Job(
        id=job_key(job.job_id),
        place=job.place.key,
        on_site_minutes=job.on_site_minutes,
        windows=_windows_from_now(job, facts),
        gain_cents=job.gain_cents,
        needs=job.needs,
        crews=() if job.taken_out else (locked,) if locked else None,
        must_do=not job.taken_out and (job.promised or locked is not None),
        prefer=Prefer(job.told_crew, SAME_CREW_CENTS) if job.told_crew in codes and job.told_crew else None,
    )


def _begun(job: JobFacts, stop: StartedStop, facts: DayFacts) -> Job:
    """Nothing can be refused any more: the crew is there. Its minutes are the real ones where they are known."""
    crew = next(crew for crew in facts.crews if crew.code == stop.crew)
    pace = pace_percent(crew.pace_percent, crew.workers)
    until = stop.until_minute if stop.until_minute is not None else facts.now_minute
    so_far = (max(0, (until or 0) - stop.from_minute) * 100) // pace
    minutes = so_far if stop.until_minute is not None else max(so_far, job.on_site_minutes)
    latest = max(crew.shift[1], stop.from_minute) + LATE_MINUTES
    window = (stop.from_minute, latest)
    return Job(job_key(job.job_id), job.place.key, minutes, (window,), job.gain_cents, must_do=True)


def _windows_from_now(job: JobFacts, facts: DayFacts) -> tuple[Window, ...]:
    now = facts.now_minute
    if now is None:
        return job.windows
    return tuple((max(opens, now), closes) for opens, closes in job.windows if closes >= now)


def _has_time(job: JobFacts, started: dict[int, StartedStop], facts: DayFacts) -> bool:
    return job.job_id in started or bool(_windows_from_now(job, facts))


def _fixed(facts: DayFacts) -> dict[str, tuple[str, ...]]:
    fixed: dict[str, tuple[str, ...]] = {}
    for stop in sorted(facts.started, key=lambda stop: (stop.from_minute, stop.job_id)):
        fixed[stop.crew] = (*fixed.get(stop.crew, ()), job_key(stop.job_id))
    return fixed


def _with_late_crews(problem: Problem) -> Problem:
    crews: Sequence[Crew] = [_in_time(problem, crew) for crew in problem.crews]
    return problem.replace(crews=tuple(crews))


def _in_time(problem: Problem, crew: Crew) -> Crew:
    """The crew as it is, or with the room that its fixed stops need."""
    fixed = problem.fixed.get(crew.id, ())
    if not fixed or not isinstance(schedule_route(problem, crew.id, fixed), Broken):
        return crew
    end = crew.shift[1] + LATE_MINUTES
    rest = crew.rest and replace(crew.rest, window=(crew.rest.window[0], max(crew.rest.window[1], end)))
    return replace(crew, shift=(crew.shift[0], end), rest=rest)
