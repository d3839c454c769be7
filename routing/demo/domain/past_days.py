"""Wishes turned into days that were driven: week by week, near houses together, each route in its best order."""

import itertools
import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from routing.demo.domain.company import CREWS, SHIFT_START, CrewSpec
from routing.demo.domain.history import (
    CALLBACK_SHARE,
    Leg,
    PastJob,
    PastLine,
    callback_line,
    done_line,
    house_place,
)
from routing.demo.domain.houses import House
from routing.demo.domain.offer import TRUTHS, LineSpec, Offers, line_make
from routing.demo.domain.wishes import HISTORY_DAYS, Wish

Shares = Callable[[Leg, Sequence[int], int, int], list[int]]
YARD = 0
FULL_DAY_MINUTES = 440  # driving and work that the office books for a day
MINUTES_TO_PACK = 4
LEAST_DAY_MINUTES = 200  # nobody is sent out for less, unless it has waited long
LONGEST_WAIT_DAYS = 14


@dataclass(frozen=True, slots=True)
class Roads:
    """Driving between places, and the definition of a stop's share of it."""

    minutes: Leg
    metres: Leg
    shares: Shares


@dataclass(frozen=True, slots=True)
class Booked:
    """A job in the office's book, waiting for its day."""

    wished: date
    house: int
    lines: tuple[LineSpec, ...]
    needs: frozenset[str]
    callback_of: str = ""

    @property
    def minutes(self) -> float:
        """What the office has learnt to reckon with."""
        return sum(line.estimated_minutes * TRUTHS[line.service].true_time_percent / 100 for line in self.lines)


def history_drive(
    rng: random.Random, wishes: Sequence[Wish], houses: Sequence[House], offers: Offers, roads: Roads, *, today: date
) -> list[PastJob]:
    """Every wish that found its day before `today`, as it was done; a few callbacks among them."""
    waiting = sorted((_booked(rng, wish, houses, offers) for wish in wishes), key=lambda b: (b.wished, b.house))
    jobs: list[PastJob] = []
    monday = _monday(today - timedelta(days=HISTORY_DAYS))
    while monday < today:
        ripe = [booked for booked in waiting if booked.wished < monday + timedelta(days=7)]
        waiting = waiting[len(ripe) :]
        driven, left = _drive_week(rng, ripe, roads, monday, today, len(jobs))
        jobs.extend(driven)
        waiting = sorted([*left, *_callbacks(rng, driven), *waiting], key=lambda b: (b.wished, b.house))
        monday += timedelta(days=7)
    return jobs


def _booked(rng: random.Random, wish: Wish, houses: Sequence[House], offers: Offers) -> Booked:
    lines = tuple(line_make(rng, offers, service, houses[wish.house]) for service in wish.services)
    needs = frozenset().union(*(offers[service].skills for service in wish.services))
    return Booked(wish.day, wish.house, lines, needs)


def _callbacks(rng: random.Random, driven: Sequence[PastJob]) -> Iterator[Booked]:
    for job in driven:
        if not job.is_callback and rng.random() < CALLBACK_SHARE:
            spec = job.lines[0].spec
            yield Booked(job.day + timedelta(days=rng.randint(3, 12)), job.house, (spec,), frozenset(), job.reference)


def _drive_week(
    rng: random.Random, ripe: list[Booked], roads: Roads, monday: date, today: date, done: int
) -> tuple[list[PastJob], list[Booked]]:
    """Fill crew by crew until the week's work or its slots run out; what is left waits for the next week."""
    driven: list[PastJob] = []
    for day, crew in _slots(rng, monday, today):
        route = _pick_route(ripe, crew, roads)
        if not route or (_is_thin(route) and route[0].wished > day - timedelta(days=LONGEST_WAIT_DAYS)):
            continue
        ripe = [booked for booked in ripe if booked not in route]
        driven.extend(_drive_route(rng, route, roads, crew, day, done + len(driven)))
    return driven, ripe


def _is_thin(route: Sequence[Booked]) -> bool:
    return sum(booked.minutes for booked in route) < LEAST_DAY_MINUTES


def _slots(rng: random.Random, monday: date, today: date) -> list[tuple[date, CrewSpec]]:
    """Crew days of a week in random order, crews with more skills earlier in it."""
    days = [monday + timedelta(days=k) for k in range(5)]
    slots = [(day, crew) for day in days for crew in CREWS if day < today and crew.works_on(day, today=today)]
    return sorted(slots, key=lambda slot: rng.random() - 0.12 * len(slot[1].skills))


def _pick_route(ripe: Sequence[Booked], crew: CrewSpec, roads: Roads) -> list[Booked]:
    """The longest-waiting job that the crew can do, and the nearest others until the day is full."""
    able = [booked for booked in ripe if booked.needs <= crew.skills]
    if not able:
        return []
    route, room = [able[0]], FULL_DAY_MINUTES - able[0].minutes - 2 * roads.minutes(YARD, house_place(able[0].house))
    rest = able[1:]
    while rest:
        near, extra = min(((b, _detour(route, b, roads)) for b in rest), key=lambda pair: pair[1])
        rest.remove(near)
        if near.minutes + extra + MINUTES_TO_PACK <= room:
            route.append(near)
            room -= near.minutes + extra + MINUTES_TO_PACK
    return route


def _detour(route: Sequence[Booked], booked: Booked, roads: Roads) -> int:
    return min(roads.minutes(house_place(other.house), house_place(booked.house)) for other in route)


def _drive_route(
    rng: random.Random, route: Sequence[Booked], roads: Roads, crew: CrewSpec, day: date, done: int
) -> list[PastJob]:
    ordered = _best_order(route, roads)
    order = [house_place(booked.house) for booked in ordered]
    minutes = roads.shares(roads.minutes, order, YARD, YARD)
    metres = roads.shares(roads.metres, order, YARD, YARD)
    jobs, clock, place = [], SHIFT_START, YARD
    for k, booked in enumerate(ordered):
        clock += roads.minutes(place, order[k])
        lines = _done_lines(rng, booked, crew)
        reference = f"demo-j{done + k + 1:05}"
        jobs.append(
            PastJob(reference, booked.house, day, crew.code, clock, minutes[k], metres[k], lines, booked.callback_of)
        )
        clock, place = clock + jobs[-1].on_site_minutes + MINUTES_TO_PACK, order[k]
    return jobs


def _done_lines(rng: random.Random, booked: Booked, crew: CrewSpec) -> tuple[PastLine, ...]:
    if booked.callback_of:
        return (callback_line(rng, booked.lines[0]),)
    return tuple(done_line(rng, line, pace_percent=crew.pace_percent, house=booked.house) for line in booked.lines)


def _best_order(route: Sequence[Booked], roads: Roads) -> list[Booked]:
    """The quickest order: all of them for up to six stops, nearest next for more."""
    if len(route) <= 6:
        orders = (list(order) for order in itertools.permutations(route))
        return min(orders, key=lambda order: _length(order, roads))
    ordered, rest, place = [], list(route), YARD
    while rest:
        near = min(rest, key=lambda b: roads.minutes(place, house_place(b.house)))
        rest.remove(near)
        ordered.append(near)
        place = house_place(near.house)
    return ordered


def _length(order: Sequence[Booked], roads: Roads) -> int:
    places = [YARD, *(house_place(booked.house) for booked in order), YARD]
    return sum(roads.minutes(a, b) for a, b in itertools.pairwise(places))


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())
