"""Everything of the demo in one value, drawn from one seed and dated from one day."""

import random
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from routing.demo.domain.chalk import ChalkPace, ReadingSpec, Removal, pace_make, readings_on
from routing.demo.domain.history import PastJob, with_refunds
from routing.demo.domain.houses import House, houses_make
from routing.demo.domain.offer import Offers
from routing.demo.domain.open_jobs import OpenJob, open_jobs_make
from routing.demo.domain.past_days import Roads, history_drive
from routing.demo.domain.people import CustomerSpec, customers_make
from routing.demo.domain.town import Town, town_make
from routing.demo.domain.wishes import (
    HISTORY_DAYS,
    LEAST_AGE_DAYS,
    Habit,
    Wish,
    every_so_often,
    extras,
    merged,
    wash_days,
)

DUE_HOUSES = 42
DUE_BUT_UNWILLING = 4
CHALKY_DUE_HOUSES = 24
CHALK_REMOVALS = 112
ROOFS_DONE = 6
GUTTER_HOUSES = 92
LONG_ENOUGH_DAYS = 420


@dataclass(frozen=True, slots=True)
class Base:
    """Town, customers and houses: what stands before any work was done."""

    town: Town
    customers: tuple[CustomerSpec, ...]
    houses: tuple[House, ...]


@dataclass(frozen=True, slots=True)
class Story:
    """What happened at the houses, and what is to come."""

    habits: tuple[Habit, ...]
    jobs: tuple[PastJob, ...]
    readings: dict[int, tuple[ReadingSpec, ...]]
    open_jobs: tuple[OpenJob, ...]


def stream(seed: int, part: str) -> random.Random:
    """A generator of its own for each part, so that a change in one leaves the others as they were."""
    return random.Random(f"{seed}:{part}")  # noqa: S311  no secret is drawn


def base_make(*, seed: int, today: date) -> Base:
    """The town and who lives there."""
    town = town_make(stream(seed, "town"))
    customers = customers_make(stream(seed, "people"), today=today)
    houses = houses_make(stream(seed, "houses"), town, customers, today=today)
    return Base(town, tuple(customers), tuple(houses))


def story_make(base: Base, offers: Offers, roads: Roads, *, seed: int, today: date) -> Story:
    """Three years of work at the houses, the chalk read on the way, and the jobs that are open now."""
    since = _since(base, today)
    said_stop = frozenset(spec.reference for spec in base.customers if any(not said.given for said in spec.consents))
    habits = habits_make(stream(seed, "habits"), base.houses, since, said_stop, today=today)
    wishes = _wishes(stream(seed, "wishes"), base.houses, habits, since, today)
    jobs = history_drive(stream(seed, "days"), wishes, base.houses, offers, roads, today=today)
    jobs = with_refunds(stream(seed, "refunds"), jobs, today=today)
    chalky_due = _chalky_due(stream(seed, "chalk"), base.houses, habits, since, today)
    readings = _readings(stream(seed, "readings"), base.houses, habits, chalky_due, jobs, today)
    open_jobs = open_jobs_make(stream(seed, "open"), base.houses, jobs, chalky_due, offers, today=today)
    return Story(tuple(habits), tuple(jobs), readings, tuple(open_jobs))


def _since(base: Base, today: date) -> list[date]:
    by_reference = {customer.reference: customer.since for customer in base.customers}
    oldest = today - timedelta(days=HISTORY_DAYS)
    return [max(oldest, by_reference[house.customer]) for house in base.houses]


def habits_make(
    rng: random.Random, houses: Sequence[House], since: Sequence[date], said_stop: frozenset[str], *, today: date
) -> list[Habit]:
    """Which houses are due now, have their gutters cleared, had their chalk removed; how often each is washed."""
    long_enough = [k for k, day in enumerate(since) if (today - day).days >= LONG_ENOUGH_DAYS]
    unwilling = [k for k in long_enough if houses[k].customer in said_stop][:DUE_BUT_UNWILLING]
    due = {*unwilling, *rng.sample([k for k in long_enough if k not in unwilling], DUE_HOUSES - len(unwilling))}
    sided = [k for k, day in enumerate(since) if (today - day).days >= 200 and has_vinyl(houses[k])]
    removed = set(rng.sample(sided, CHALK_REMOVALS))
    gutters = set(rng.sample(range(len(since)), GUTTER_HOUSES))
    intervals = (12, 12, 12, 12, 9, 15, 18)
    return [
        Habit(12 if k in due else rng.choice(intervals), k in due, k in gutters, k in removed)
        for k in range(len(since))
    ]


def _wishes(
    rng: random.Random, houses: Sequence[House], habits: Sequence[Habit], since: Sequence[date], today: date
) -> list[Wish]:
    wishes: list[Wish] = []
    for k, (house, habit, day) in enumerate(zip(houses, habits, since, strict=True)):
        if (today - day).days < LEAST_AGE_DAYS + 30:
            continue  # too new to have had anything done
        wanted = [(on, "house_wash") for on in wash_days(rng, habit, since=day, today=today)]
        wanted += extras(rng, house, since=day, today=today)
        if habit.has_gutters_cleared:
            wanted += [(on, "gutter_clearing") for on in every_so_often(rng, months=6, since=day, today=today)]
        if habit.removes_chalk:
            first = wanted[0][0]
            latest = today - timedelta(days=LEAST_AGE_DAYS)
            wanted.append((min(latest, first + timedelta(days=rng.randint(14, 60))), "chalk_removal"))
        wishes.extend(merged(rng, k, wanted))
    return wishes + _roofs(rng, houses, since, today)


def _roofs(rng: random.Random, houses: Sequence[House], since: Sequence[date], today: date) -> list[Wish]:
    """A service taken up a few months ago: too few to tell."""
    old = [k for k, day in enumerate(since) if (today - day).days > 200]
    return [Wish(today - timedelta(days=rng.randint(20, 150)), k, ("roof_wash",)) for k in rng.sample(old, ROOFS_DONE)]


def has_vinyl(house: House) -> bool:
    """Whether its faces are vinyl: all faces of a house are of one material."""
    return house.walls[0].material == "vinyl"


def _chalky_due(
    rng: random.Random, houses: Sequence[House], habits: Sequence[Habit], since: Sequence[date], today: date
) -> frozenset[int]:
    """Houses with chalk that nobody has taken off."""
    left = [
        k
        for k, habit in enumerate(habits)
        if has_vinyl(houses[k]) and not habit.removes_chalk and (today - since[k]).days > 150
    ]
    return frozenset(rng.sample(left, CHALKY_DUE_HOUSES))


def _readings(
    rng: random.Random, houses: Sequence[House], habits: Sequence[Habit], chalky_due: frozenset[int],
    jobs: Sequence[PastJob], today: date,
) -> dict[int, tuple[ReadingSpec, ...]]:  # fmt: skip
    """A walkthrough before each wash; older ones were not always written down."""
    removals = {job.house: _removal(job) for job in jobs if _has(job, "chalk_removal") and not job.is_callback}
    paces: dict[int, ChalkPace] = {
        k: pace_make(rng, houses[k], is_due=k in chalky_due, is_cleaned=habit.removes_chalk, today=today)
        for k, habit in enumerate(habits)
    }
    found: dict[int, list[ReadingSpec]] = {}
    for job in jobs:
        if job.is_callback or not _has(job, "house_wash"):
            continue
        if (today - job.day).days > 730 and rng.random() < 0.5:
            continue
        on = job.day
        found.setdefault(job.house, []).extend(
            readings_on(rng, houses[job.house], paces[job.house], on=on, removal=removals.get(job.house), today=today)
        )
    return {house: tuple(readings) for house, readings in found.items()}


def _removal(job: PastJob) -> Removal:
    lines = (line.spec for line in job.lines if line.spec.service == "chalk_removal")
    return Removal(job.day, frozenset(wall for spec in lines for wall in spec.walls))


def _has(job: PastJob, service: str) -> bool:
    return any(line.spec.service == service for line in job.lines)
