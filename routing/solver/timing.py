"""The best times of a route whose order of stops is already fixed.

Being earlier is never worse: the crew may wait anywhere and a paid minute costs 0 or more. So two
earliest times are carried along the route, one with the break still to come and one with the break
behind, and the cheapest finish is the earliest one. On each drive the break may be taken before or
after it, at the start before the first drive and at the end after the last one too; a crew that
takes its break at the end is back when the break is over.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from .money import TICKS_PER_CENT, metres_ticks, time_ticks, to_cents
from .plan import RoutePlan, Stop
from .problem import Break, Crew, Job, Problem, Window

MINUTES_PER_DAY = 24 * 60


@dataclass(frozen=True, slots=True)
class Broken:
    """Why an order of stops cannot be kept: in words, and at which job where there is one."""

    reason: str
    job: str | None = None


@dataclass(frozen=True, slots=True)
class _Point:
    """The crew at a stop (or at the end), with how it came there."""

    arrive: int
    start: int
    finish: int
    rested: bool
    break_start: int | None
    before: "_Point | None"


@dataclass(frozen=True, slots=True)
class _Goal:
    """What happens where a drive leads: work of `minutes` that begins inside `windows`."""

    drive_minutes: int
    minutes: int
    windows: Sequence[Window] | None


def clock_words(minute: int) -> str:
    """A time as people say it: "10:00", and "day 2 10:00" beyond the first midnight."""
    day, rest = divmod(minute, MINUTES_PER_DAY)
    clock = f"{rest // 60:02d}:{rest % 60:02d}"
    return clock if day == 0 else f"day {day + 1} {clock}"


def schedule_route(problem: Problem, crew_id: str, job_ids: Sequence[str]) -> RoutePlan | Broken:
    """The cheapest times for this crew and order, or the first reason why they cannot be kept.

    Exact: if any times keep every rule of the crew's day, times of the earliest return are given,
    and no other times are worth more. Checks what concerns this route only: skills, named crews,
    capacity, fixed beginnings, drives, windows, break and shift. An unknown id raises KeyError.
    """
    crew = problem.crew_by_id[crew_id]
    jobs = [problem.job_by_id[job_id] for job_id in job_ids]
    broken = _why_not_allowed(problem, crew, jobs)
    if broken:
        return broken
    if not jobs:
        return RoutePlan(crew_id, crew.shift[0], crew.shift[0], 0, 0, 0, 0.0, ())
    drives = _drives(problem, crew, jobs)
    if isinstance(drives, Broken):
        return drives
    last = _run(crew, jobs, [minutes for minutes, _ in drives])
    if isinstance(last, Broken):
        return last
    return _route_plan(problem, crew, jobs, drives, last)


def route_ticks(problem: Problem, crew: Crew, jobs: Sequence[Job], metres: int, paid: int) -> int:
    """Exact value of a used crew's route, in ticks: gains and bonuses less every cost."""
    gain = sum(job.gain_with(crew.id) for job in jobs) - crew.fixed_cents
    cost = time_ticks(crew, problem.reserve_cents_per_crew_hour, paid) + metres_ticks(crew, metres)
    return gain * TICKS_PER_CENT - cost


def paid_minutes(crew: Crew, back: int, rested: bool) -> int:
    """Minutes from the shift's start to the return, less an unpaid break that was taken."""
    unpaid = crew.rest.minutes if crew.rest and rested and not crew.rest.paid else 0
    return back - crew.shift[0] - unpaid


def route_time(crew: Crew, jobs: Sequence[Job], drives: Sequence[int]) -> int | None:
    """Paid minutes of the best times of this order, or None; only drives, windows, break, shift.

    The same recursion as `schedule_route` without a record of the way, for search in plain Python.
    """
    fresh: int | None = crew.shift[0]
    rested: int | None = None
    ends = [*((j.windows, crew.on_site_minutes(j.on_site_minutes)) for j in jobs), (None, 0)]
    for (windows, minutes), drive in zip(ends, drives, strict=True):
        options = _ready_times(crew.rest, fresh, rested, drive)
        starts = (earliest_start(windows, ready) for ready in options)
        rested = min((start + minutes for start in starts if start is not None), default=None)
        start = None if fresh is None else earliest_start(windows, fresh + drive)
        fresh = None if start is None else start + minutes
        if fresh is None:
            return None
    if fresh is not None and (crew.rest is None or fresh < crew.rest.window[0]):
        return paid_minutes(crew, fresh, False) if fresh <= crew.shift[1] else None
    if rested is None or rested > crew.shift[1]:
        return None
    return paid_minutes(crew, rested, True)


def _ready_times(rest: Break | None, fresh: int | None, rested: int | None, drive: int) -> list[int]:
    """When a crew that has had its break can be ready to work at the end of a drive."""
    ready = [] if rested is None else [rested + drive]
    if rest is not None and fresh is not None:
        before, after = max(fresh, rest.window[0]), max(fresh + drive, rest.window[0])
        ready += [before + rest.minutes + drive] if before <= rest.window[1] else []
        ready += [after + rest.minutes] if after <= rest.window[1] else []
    return ready


def _why_not_allowed(problem: Problem, crew: Crew, jobs: Sequence[Job]) -> Broken | None:
    for position, job in enumerate(jobs):
        words = _job_not_allowed(problem, crew, job)
        if words:
            return Broken(words, job.id)
        if job in jobs[:position]:
            return Broken(f"{job.id} is on the route twice", job.id)
    return _too_much(crew, jobs) or _not_fixed_order(problem, crew, jobs)


def _job_not_allowed(problem: Problem, crew: Crew, job: Job) -> str | None:
    owner = problem.fixed_crew.get(job.id)
    if owner is not None and owner != crew.id:
        return f"{job.id} is already fixed to crew {owner}"
    if job.crews is not None and crew.id not in job.crews:
        return f"{job.id} may only be done by crew {' or '.join(job.crews) or '(none)'}"
    missing = sorted(set(job.needs) - set(crew.skills))
    if missing:
        return f"crew {crew.id} lacks what {job.id} needs: {', '.join(missing)}"
    return None


def _too_much(crew: Crew, jobs: Sequence[Job]) -> Broken | None:
    for kind, limit in crew.capacity.items():
        load = 0
        for job in jobs:
            load += job.uses.get(kind, 0)
            if load > limit:
                words = f"with {job.id} the route uses {load} {kind}, the crew carries {limit}"
                return Broken(words, job.id)
    return None


def _not_fixed_order(problem: Problem, crew: Crew, jobs: Sequence[Job]) -> Broken | None:
    fixed = problem.fixed.get(crew.id, ())
    for position, job_id in enumerate(fixed):
        if position >= len(jobs) or jobs[position].id != job_id:
            return Broken(f"{job_id} is fixed as stop {position + 1} of crew {crew.id}", job_id)
    return None


def _drives(problem: Problem, crew: Crew, jobs: Sequence[Job]) -> list[tuple[int, int]] | Broken:
    places = [crew.start, *(job.place for job in jobs), crew.end]
    legs = []
    for position, (start, end) in enumerate(zip(places, places[1:], strict=False)):
        leg = problem.drive(start, end)
        if leg is None:
            job = jobs[min(position, len(jobs) - 1)].id
            return Broken(f"there is no drive from {start} to {end}", job)
        legs.append(leg)
    return legs


def _run(crew: Crew, jobs: Sequence[Job], drives: Sequence[int]) -> _Point | Broken:
    """The point of the cheapest return, its `before` chain leading back to the start."""
    opens = crew.shift[0]
    points = [_Point(opens, opens, opens, False, None, None)]
    for job, drive in zip(jobs, drives, strict=False):
        goal = _Goal(drive, crew.on_site_minutes(job.on_site_minutes), job.windows)
        reached = _reach(crew.rest, points, goal)
        if not reached:
            return _too_late(crew, job, points, drive)
        points = reached
    return _return(crew, jobs, _reach(crew.rest, points, _Goal(drives[-1], 0, None)))


def _reach(rest: Break | None, points: Sequence[_Point], goal: _Goal) -> list[_Point]:
    """The earliest points at the goal, at most one still to rest and one rested."""
    best: dict[bool, _Point] = {}
    for point in points:
        for reached in _ways(rest, point, goal):
            known = best.get(reached.rested)
            if known is None or reached.finish < known.finish:
                best[reached.rested] = reached
    return list(best.values())


def _ways(rest: Break | None, point: _Point, goal: _Goal) -> Iterator[_Point]:
    arrive = point.finish + goal.drive_minutes
    yield from _work(point, arrive, arrive, None, goal)
    if rest is None or point.rested:
        return
    before = max(point.finish, rest.window[0])
    if before <= rest.window[1]:
        arrive_after = before + rest.minutes + goal.drive_minutes
        yield from _work(point, arrive_after, arrive_after, before, goal)
    after = max(arrive, rest.window[0])
    if after <= rest.window[1]:
        yield from _work(point, arrive, after + rest.minutes, after, goal)


def _work(point: _Point, arrive: int, ready: int, break_start: int | None, goal: _Goal) -> Iterator[_Point]:
    start = earliest_start(goal.windows, ready)
    if start is not None:
        rested = point.rested or break_start is not None
        yield _Point(arrive, start, start + goal.minutes, rested, break_start, point)


def earliest_start(windows: Sequence[Window] | None, ready: int) -> int | None:
    """The first minute at or after `ready` inside one of the windows; None where there is none."""
    if windows is None:
        return ready
    starts = [max(ready, opens) for opens, closes in windows if ready <= closes]
    return min(starts, default=None)


def _too_late(crew: Crew, job: Job, points: Sequence[_Point], drive: int) -> Broken:
    last = max(closes for _, closes in job.windows)
    arrive = min(point.finish for point in points) + drive
    words = f"{job.id} cannot begin after {clock_words(last)}"
    return Broken(f"{words}; crew {crew.id} gets there at {clock_words(arrive)}", job.id)


def _return(crew: Crew, jobs: Sequence[Job], points: Sequence[_Point]) -> _Point | Broken:
    rest = crew.rest
    due = [p for p in points if rest and not p.rested and p.finish >= rest.window[0]]
    allowed = [point for point in points if point not in due]
    if not allowed:
        assert rest is not None
        window = " and ".join(clock_words(minute) for minute in rest.window)
        words = f"crew {crew.id} cannot begin its {rest.minutes}-minute break between {window}"
        return Broken(words, jobs[-1].id)
    best = min(allowed, key=lambda p: (paid_minutes(crew, p.finish, p.rested), p.finish))
    if best.finish > crew.shift[1]:
        late, end = clock_words(best.finish), clock_words(crew.shift[1])
        words = f"crew {crew.id} would be back at {late}, after its shift's end at {end}"
        return Broken(words, jobs[-1].id)
    return best


def _route_plan(
    problem: Problem,
    crew: Crew,
    jobs: Sequence[Job],
    drives: Sequence[tuple[int, int]],
    last: _Point,
) -> RoutePlan:
    points = _chain(last)
    stops = [
        Stop(job.id, point.arrive, point.start, point.finish) for job, point in zip(jobs, points[:-1], strict=True)
    ]
    leave, stops[0] = _leave(crew, points[0], stops[0], drives[0][0])
    metres = sum(leg for _, leg in drives)
    paid = paid_minutes(crew, last.finish, last.rested)
    breaks = [point.break_start for point in points if point.break_start is not None]
    value = to_cents(route_ticks(problem, crew, jobs, metres, paid))
    minutes = sum(leg for leg, _ in drives)
    rest = breaks[0] if breaks else None
    return RoutePlan(crew.id, leave, last.finish, minutes, metres, paid, value, tuple(stops), rest)


def _chain(last: _Point) -> list[_Point]:
    points: list[_Point] = []
    point: _Point | None = last
    while point is not None and point.before is not None:
        points.append(point)
        point = point.before
    return points[::-1]


def _leave(crew: Crew, point: _Point, stop: Stop, drive: int) -> tuple[int, Stop]:
    """Leave late enough not to wait at the first stop, unless the break comes before its work."""
    if point.break_start is not None:
        return stop.arrive - drive, stop
    return stop.start - drive, Stop(stop.job, stop.start, stop.start, stop.finish)
