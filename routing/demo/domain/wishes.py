"""When customers wanted work in the past three years: worked out backwards from how due each house is now."""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from routing.demo.domain.houses import House

# The season of the north, January to December, as shares of a full month. Common practice, no source.
SEASON = (0.04, 0.08, 0.5, 1.2, 1.6, 1.5, 1.0, 1.0, 1.1, 0.9, 0.45, 0.1)
HISTORY_DAYS = 1_095
MONTH_DAYS = 30.44
LEAST_AGE_DAYS = 10
LAPSED_LIMIT_DAYS = 140


@dataclass(frozen=True, slots=True)
class Wish:
    """A house wants services around a day."""

    day: date
    house: int
    services: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Habit:
    """How a house recurs: the interval of its washes, whether it is due now, and what else it has done."""

    interval_months: int
    is_due: bool
    has_gutters_cleared: bool
    removes_chalk: bool


def season_weight(day: date) -> float:
    return SEASON[day.month - 1]


def season_day(rng: random.Random, first: date, last: date) -> date:
    """A day between the two, ends included, more likely in the busy months."""
    days = [first + timedelta(days=k) for k in range(max(0, (last - first).days) + 1)]
    return rng.choices(days, [season_weight(day) for day in days])[0]


def wash_days(rng: random.Random, habit: Habit, *, since: date, today: date) -> list[date]:
    """The days a house was washed, oldest first: the last one by how due it is, the others an interval apart."""
    interval = round(habit.interval_months * MONTH_DAYS)
    if habit.is_due:
        oldest, newest = interval + LAPSED_LIMIT_DAYS, interval - 22
    else:
        oldest, newest = interval - 40, LEAST_AGE_DAYS
    last = season_day(rng, max(since, today - timedelta(days=oldest)), max(since, today - timedelta(days=newest)))
    days = [last]
    while True:
        middle = days[-1] - timedelta(days=round(interval * 1.06))
        earlier = season_day(rng, middle - timedelta(days=25), middle + timedelta(days=25))
        if earlier < since:
            return days[::-1]
        days.append(earlier)


def every_so_often(
    rng: random.Random, *, months: int, since: date, today: date, newest: int = LEAST_AGE_DAYS
) -> list[date]:
    """Days an interval apart, the last one not yet due again, oldest first."""
    interval = round(months * MONTH_DAYS)
    last = season_day(rng, max(since, today - timedelta(days=interval - 40)), today - timedelta(days=newest))
    days = [last]
    while (earlier := days[-1] - timedelta(days=round(interval * rng.uniform(0.98, 1.15)))) >= since:
        days.append(earlier)
    return days[::-1]


def extras(rng: random.Random, house: House, *, since: date, today: date) -> Iterator[tuple[date, str]]:
    """What else a house had done: now and then a deck, a drive, or bright gutters."""
    shares = (("concrete", 0.3), ("deck_wash", 0.78 if house.deck_sqft else 0.0), ("gutter_brightening", 0.15))
    newest = today - timedelta(days=LEAST_AGE_DAYS)
    oldest = max(since, today - timedelta(days=500))
    for service, share in shares:
        if rng.random() < share and oldest < newest:
            yield season_day(rng, oldest, newest), service
        if rng.random() < share / 4 and since < oldest:
            yield season_day(rng, since, oldest), service


def merged(rng: random.Random, house: int, wanted: Sequence[tuple[date, str]]) -> list[Wish]:
    """Wishes of one house; an extra within three months of a wash mostly rides along with it."""
    washes = [day for day, service in wanted if service == "house_wash"]
    along: dict[date, list[str]] = {day: ["house_wash"] for day in washes}
    alone: list[Wish] = []
    for day, service in wanted:
        if service == "house_wash":
            continue
        near = [wash for wash in washes if abs((wash - day).days) < 90 and len(along[wash]) < 2]
        if near and service not in ("chalk_removal", "roof_wash") and rng.random() < 0.5:
            along[near[0]].append(service)
        else:
            alone.append(Wish(day, house, (service,)))
    return [Wish(day, house, tuple(services)) for day, services in along.items()] + alone
