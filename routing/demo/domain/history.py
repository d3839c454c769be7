"""Three years of work that was really done: routes driven, minutes booked, a few callbacks and refunds.

Driving and its shares come from the functions passed in, so they agree with the product's own definition.
"""

import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from routing.demo.domain.conditions import conditions_of_house
from routing.demo.domain.offer import TRUTHS, LineSpec

NOISE_SIGMA = 0.18  # spread of a job's real minutes around what they should be
CALLBACK_SHARE = 0.02
CALLBACK_MINUTES = (25, 50)
REFUNDS = 9

Leg = Callable[[int, int], int]
"""Minutes or metres from one place to another; place 0 is the yard, house k is place k + 1."""


@dataclass(frozen=True, slots=True)
class PastLine:
    """A service as it was done; `expected_minutes` is what it takes in truth, `minutes` what was booked."""

    spec: LineSpec
    expected_minutes: float
    minutes: int


@dataclass(frozen=True, slots=True)
class PastJob:
    """A job that is done, with its share of its route's driving. A callback has one line of price 0."""

    reference: str
    house: int
    day: date
    crew: str
    arrive_minute: int
    drive_minutes: int
    drive_metres: int
    lines: tuple[PastLine, ...]
    callback_of: str = ""
    refund_cents: int = 0
    refunded_on: date | None = None

    @property
    def on_site_minutes(self) -> int:
        return sum(line.minutes for line in self.lines)

    @property
    def is_callback(self) -> bool:
        return bool(self.callback_of)


@dataclass(frozen=True, slots=True)
class TrueRate:
    """What a service truly earns in the demo, with the noise taken out."""

    service: str
    jobs: int
    cents_per_crew_hour: float
    verdict: str


def planted_truth(history: Iterable[PastJob]) -> dict[str, TrueRate]:
    """The expected earned cents per crew-hour of each service, and the verdict that a fair report reaches.

    Prices, refunds and driving are as they happened; minutes on site are the expected ones, so that chance is out.
    """
    cents: dict[str, float] = {}
    minutes: dict[str, float] = {}
    jobs: dict[str, set[str]] = {}
    for job in history:
        whole = sum(line.expected_minutes for line in job.lines)
        for line in job.lines:
            name = line.spec.service
            share = line.expected_minutes / whole
            cents[name] = cents.get(name, 0.0) + line.spec.price_cents - job.refund_cents * share
            minutes[name] = minutes.get(name, 0.0) + line.expected_minutes + job.drive_minutes * share
            jobs.setdefault(name, set()).add(job.callback_of or job.reference)
    return {
        name: TrueRate(name, len(jobs[name]), 60.0 * cents[name] / minutes[name], TRUTHS[name].verdict)
        for name in sorted(cents)
    }


def done_line(rng: random.Random, spec: LineSpec, *, pace_percent: int, house: int) -> PastLine:
    """How a line turned out with a crew: the truth of the service, the crew and the house, and chance on top."""
    place = conditions_of_house(house).true_time_percent / 100
    expected = spec.estimated_minutes * TRUTHS[spec.service].true_time_percent * pace_percent / 10_000 * place
    factor = rng.lognormvariate(-NOISE_SIGMA * NOISE_SIGMA / 2, NOISE_SIGMA)  # its mean is 1
    return PastLine(spec, expected, max(5, round(expected * factor)))


def callback_line(rng: random.Random, spec: LineSpec) -> PastLine:
    """The free return visit that makes a line good."""
    minutes = rng.randint(*CALLBACK_MINUTES)
    return PastLine(LineSpec(spec.service, spec.quantity, 0, 0, minutes, spec.walls), minutes, minutes)


def with_refunds(rng: random.Random, jobs: Sequence[PastJob], *, today: date) -> list[PastJob]:
    """Give back part of the price of a few jobs, some days after the work."""
    paid = [k for k, job in enumerate(jobs) if not job.is_callback and (today - job.day).days > 20]
    chosen = set(rng.sample(paid, min(REFUNDS, len(paid))))
    result = []
    for k, job in enumerate(jobs):
        if k in chosen:
            price = sum(line.spec.price_cents for line in job.lines)
            refund = round(price * rng.choice((0.25, 0.5)) / 100) * 100
            job = replace(job, refund_cents=refund, refunded_on=job.day + timedelta(days=rng.randint(3, 15)))
        result.append(job)
    return result


def house_place(house: int) -> int:
    """The place number of a house in the drive tables (0 is the yard)."""
    return house + 1
