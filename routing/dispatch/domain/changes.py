"""What changed between two versions of a day, crew by crew, as the people on the trucks would notice it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

NOTICEABLE_MINUTES = 5  # a time that moved by no more than this is not worth a word; our choice, no source

ADDED, TAKEN_OUT, FROM_CREW, TO_CREW = "added", "taken_out", "from_crew", "to_crew"
TIME, ORDER, LEAVE = "time", "order", "leave"
KINDS = (ADDED, FROM_CREW, TAKEN_OUT, TO_CREW, ORDER, TIME, LEAVE)


@dataclass(frozen=True, slots=True)
class StopTime:
    """A stop as the crew was told: where (`label`) and when (minutes of the day)."""

    job_id: int
    label: str
    arrive_minute: int


@dataclass(frozen=True, slots=True)
class CrewDay:
    """One crew's day, stops in order; a crew that stays in the yard has none."""

    crew: str
    leave_minute: int
    stops: tuple[StopTime, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that a crew has to know. Minutes and the other crew are given where the kind has them."""

    crew: str
    kind: str
    job_id: int | None = None
    label: str = ""
    other_crew: str = ""
    before_minute: int | None = None
    after_minute: int | None = None


def day_changes(before: Sequence[CrewDay], after: Sequence[CrewDay]) -> tuple[Change, ...]:
    """Every stop that came, went or moved, every order and time that changed; by crew, then as KINDS are listed.

    A crew that is in one version only counts as having no stops in the other. Each job is with one crew a version.
    """
    old, new = {day.crew: day for day in before}, {day.crew: day for day in after}
    was_with, is_with = _crew_by_job(before), _crew_by_job(after)
    found: list[Change] = []
    for crew in sorted(old.keys() | new.keys()):
        one, other = old.get(crew), new.get(crew)
        found += _came(crew, _stops(other), was_with)
        found += _went(crew, _stops(one), is_with)
        if one and other:
            found += _reordered(one, other)
            found += _shifted(one, other)
    return tuple(sorted(found, key=lambda change: (change.crew, KINDS.index(change.kind))))


def _crew_by_job(days: Sequence[CrewDay]) -> dict[int, str]:
    return {stop.job_id: day.crew for day in days for stop in day.stops}


def _stops(day: CrewDay | None) -> tuple[StopTime, ...]:
    return day.stops if day else ()


def _came(crew: str, stops: Sequence[StopTime], was_with: Mapping[int, str]) -> Iterator[Change]:
    for stop in stops:
        other = was_with.get(stop.job_id)
        if other != crew:
            kind = FROM_CREW if other else ADDED
            yield Change(crew, kind, stop.job_id, stop.label, other or "", after_minute=stop.arrive_minute)


def _went(crew: str, stops: Sequence[StopTime], is_with: Mapping[int, str]) -> Iterator[Change]:
    for stop in stops:
        other = is_with.get(stop.job_id)
        if other != crew:
            kind = TO_CREW if other else TAKEN_OUT
            yield Change(crew, kind, stop.job_id, stop.label, other or "", before_minute=stop.arrive_minute)


def _reordered(one: CrewDay, other: CrewDay) -> Iterator[Change]:
    old, new = [stop.job_id for stop in one.stops], [stop.job_id for stop in other.stops]
    if [job for job in old if job in new] != [job for job in new if job in old]:
        yield Change(one.crew, ORDER, label=" – ".join(stop.label for stop in other.stops))


def _shifted(one: CrewDay, other: CrewDay) -> Iterator[Change]:
    arrivals = {stop.job_id: stop.arrive_minute for stop in one.stops}
    for stop in other.stops:
        minute = arrivals.get(stop.job_id)
        if minute is not None and abs(stop.arrive_minute - minute) > NOTICEABLE_MINUTES:
            yield Change(one.crew, TIME, stop.job_id, stop.label, before_minute=minute, after_minute=stop.arrive_minute)
    if one.stops and other.stops and abs(other.leave_minute - one.leave_minute) > NOTICEABLE_MINUTES:
        yield Change(one.crew, LEAVE, before_minute=one.leave_minute, after_minute=other.leave_minute)
