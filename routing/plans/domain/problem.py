"""From the facts of a day to the solver's problem.

How the facts are read:
- gain = price - discount - materials, in cents, as agreed on the lines;
- a crew's cost per minute is its wage with burden; the reserve is a two-person crew's, other sizes by workers;
- a stop that a crew has reached is fixed, in the order it really had, with its real minutes;
- while the day is under way nothing else may begin before the present minute;
- a crew that runs late by its fixed stops gets a longer shift and a later break instead of no plan at all;
- a truck's tank is passed on as a capacity; jobs use none of it until the company records how much mix a job takes.
"""

import hashlib
import json
from dataclasses import replace
from itertools import product

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
LATE_MINUTES = 4_320  # how much longer the shift of a crew that runs late may become at most


def places_of(facts: DayFacts) -> tuple[Place, ...]:
    """The yard first, then each place of a job once."""
    places = {facts.yard.key: facts.yard, **{job.place.key: job.place for job in facts.jobs}}
    return tuple(places.values())


def build_problem(facts: DayFacts, table: DriveTable) -> Problem:
    """The day problem; `table` has a row and column for each of `places_of(facts)`."""
    started = _started(facts)
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
    return _fitted(problem)


def digest_of(problem: Problem) -> str:
    """SHA-256 of the problem's canonical JSON: the same inputs, the same digest."""
    text = json.dumps(problem_to_json(problem), sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def out_of_time(facts: DayFacts) -> tuple[int, ...]:
    """Jobs whose last window closed before the present minute."""
    started = _started(facts)
    return tuple(job.job_id for job in facts.jobs if not _has_time(job, started, facts))


def late_crews(facts: DayFacts, problem: Problem) -> tuple[str, ...]:
    """Crews whose shift or break had to give way to stops that they have begun."""
    hours = {crew.code: (crew.shift, crew.break_window) for crew in facts.crews}
    return tuple(
        crew.id
        for crew in problem.crews
        if (crew.shift, crew.rest.window if crew.rest else hours[crew.id][1]) != hours[crew.id]
    )


def _started(facts: DayFacts) -> dict[int, StartedStop]:
    """By job. A crew that has begun its next stop has left the one before, even where nobody said so."""
    in_order = sorted(facts.started, key=_order)
    following: dict[str, int] = {}
    stops = {}
    for stop in reversed(in_order):
        until = stop.until_minute if stop.until_minute is not None else following.get(stop.crew)
        stops[stop.job_id] = replace(stop, until_minute=until)
        following[stop.crew] = stop.from_minute
    return stops


def _order(stop: StartedStop) -> tuple[int, int]:
    return stop.from_minute, stop.job_id


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
        capacity=_capacity(crew, facts),
        pace_percent=pace_percent(crew.pace_percent, crew.workers),
    )


def _capacity(crew: CrewFacts, facts: DayFacts) -> dict[str, int]:
    """The truck's tank; never less than what the stops took that it has begun."""
    if crew.mix_litres is None:
        return {}
    begun = {stop.job_id for stop in facts.started if stop.crew == crew.code}
    return {"mix_litres": max(crew.mix_litres, sum(job.tank_litres for job in facts.jobs if job.job_id in begun))}


def _uses(job: JobFacts, facts: DayFacts) -> dict[str, int]:
    """What a job takes from a tank. One that no tank holds at once fills the largest, and is filled again there."""
    tanks = [crew.mix_litres for crew in facts.crews if job.only_crew in (None, crew.code)]
    known = [tank for tank in tanks if tank is not None]
    largest = max(known) if known and None not in tanks else job.tank_litres
    litres = min(job.tank_litres, largest)
    return {"mix_litres": litres} if litres else {}


def larger_than_any_tank(facts: DayFacts) -> tuple[int, ...]:
    """Jobs whose mix no truck of the day holds at once."""
    tanks = [crew.mix_litres for crew in facts.crews]
    if not tanks or None in tanks:
        return ()
    return tuple(job.job_id for job in facts.jobs if job.tank_litres > max(tank or 0 for tank in tanks))


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
        uses=_uses(job, facts),
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
    window = (stop.from_minute, stop.from_minute)
    return Job(
        job_key(job.job_id),
        job.place.key,
        minutes,
        (window,),
        job.gain_cents,
        uses={"mix_litres": job.tank_litres} if job.tank_litres else {},
        must_do=True,
    )


def _windows_from_now(job: JobFacts, facts: DayFacts) -> tuple[Window, ...]:
    now = facts.now_minute
    if now is None:
        return job.windows
    return tuple((max(opens, now), closes) for opens, closes in job.windows if closes >= now)


def _has_time(job: JobFacts, started: dict[int, StartedStop], facts: DayFacts) -> bool:
    return job.job_id in started or bool(_windows_from_now(job, facts))


def _fixed(facts: DayFacts) -> dict[str, tuple[str, ...]]:
    fixed: dict[str, tuple[str, ...]] = {}
    for stop in sorted(facts.started, key=_order):
        fixed[stop.crew] = (*fixed.get(stop.crew, ()), job_key(stop.job_id))
    return fixed


def _fitted(problem: Problem) -> Problem:
    """The problem with each crew that has begun given the room that its stops really took."""
    for crew_id in problem.fixed:
        tries = (_loosened(problem, crew_id, *allowed) for allowed in product((False, True), repeat=3))
        problem = next((made for made in tries if _keeps_fixed(made, crew_id)), problem)
    return problem


def _keeps_fixed(problem: Problem, crew_id: str) -> bool:
    return not isinstance(schedule_route(problem, crew_id, problem.fixed[crew_id]), Broken)


def _loosened(problem: Problem, crew_id: str, later_starts: bool, later_break: bool, longer_shift: bool) -> Problem:
    """Step by step away from what was: starts later than the real ones, a break after its hours, a longer shift.

    The shift ends no later than the crew needs for what it has begun.
    """
    crew = problem.crew_by_id[crew_id]
    end = crew.shift[1] + (LATE_MINUTES if longer_shift else 0)
    rest = crew.rest and replace(crew.rest, window=(crew.rest.window[0], max(crew.rest.window[1], end)))
    made = _with_crew(problem, replace(crew, shift=(crew.shift[0], end), rest=rest if later_break else crew.rest))
    if later_starts:
        fixed = set(problem.fixed[crew_id])
        made = made.replace(jobs=tuple(_from_then_on(job) if job.id in fixed else job for job in made.jobs))
    route = schedule_route(made, crew_id, problem.fixed[crew_id])
    if isinstance(route, Broken):
        return made
    tight = replace(made.crew_by_id[crew_id], shift=(crew.shift[0], max(crew.shift[1], route.back)))
    return _with_crew(made, tight)


def _from_then_on(job: Job) -> Job:
    begun = job.windows[0][0]
    return replace(job, windows=((begun, begun + LATE_MINUTES),))


def _with_crew(problem: Problem, changed: Crew) -> Problem:
    return problem.replace(crews=tuple(changed if crew.id == changed.id else crew for crew in problem.crews))
