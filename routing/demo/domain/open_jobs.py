"""The 70 jobs in the book: more agreed work around the planning day than the crews have hours."""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from routing.demo.domain.company import next_working_day
from routing.demo.domain.history import PastJob
from routing.demo.domain.houses import House
from routing.demo.domain.offer import LineSpec, Offers, line_make

# How many of each service; one line each, some house washes with a second line.
MIX = (
    ("house_wash", 34), ("gutter_clearing", 8), ("concrete", 8), ("deck_wash", 6),
    ("chalk_removal", 6), ("gutter_brightening", 4), ("roof_wash", 4),
)  # fmt: skip
LEADS, ESTIMATED, LATER, NEXT_DAYS = 8, 11, 6, 4
# Leads among the eight whose price somebody named: service, and what it comes to for a crew-hour with USUAL_DRIVE.
NAMED_PRICES = (("gutter_brightening", 102_00), ("deck_wash", 70_00))
WEEKEND_CENTS = 120_00  # a long job for which somebody is at home on a Saturday or a Monday only
USUAL_DRIVE_MINUTES = 15
SATURDAY, LONGEST_ON_SATURDAY = 5, 275
PROMISED_WINDOWS = (
    ("roof_wash", 480, 600), ("house_wash", 480, 600), ("house_wash", 480, 600), ("house_wash", 540, 660),
    ("house_wash", 600, 720), ("gutter_clearing", 750, 870), ("house_wash", 780, 900), ("concrete", 810, 930),
)  # fmt: skip
POOR_PAYERS = 4
POOR_PERCENT = 42
FIRST_BEGIN, LAST_BEGIN = 450, 960
WINDOW_SHAPES = (
    (FIRST_BEGIN, LAST_BEGIN), (FIRST_BEGIN, LAST_BEGIN), (FIRST_BEGIN, LAST_BEGIN),
    (FIRST_BEGIN, 690), (FIRST_BEGIN, 690), (720, LAST_BEGIN), (600, 840),
)  # fmt: skip
EVENING = (1050, 1140)
OPEN_FOR_DAYS = 56
SOURCES = ("web form", "telephone call", "neighbour", "past customer", "yard sign")
NOTES = (
    "Spigot at the back, left of the steps.", "Move the grill off the deck first.", "New plants along the front.",
    "Window over the garage does not close well.", "Park in the street, not in the drive.",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class WindowSpec:
    """Days, and minutes after midnight on them, in which the work may begin."""

    first: date
    last: date
    start_minute: int = FIRST_BEGIN
    end_minute: int = LAST_BEGIN
    promised: bool = False


@dataclass(frozen=True, slots=True)
class OpenJob:
    """A job that is not done yet."""

    reference: str
    house: int
    state: str
    lines: tuple[LineSpec, ...]
    windows: tuple[WindowSpec, ...]
    created: date
    source: str
    note: str = ""
    has_place: bool = True


def open_jobs_make(
    rng: random.Random, houses: Sequence[House], past: Sequence[PastJob], chalky: frozenset[int], offers: Offers,
    *, today: date,
) -> list[OpenJob]:  # fmt: skip
    """The jobs in the book on `today`, around the next working day."""
    day = next_working_day(today)
    pool = _Pool(rng, houses, past, chalky)
    promised = [_promised(rng, pool, offers, day, *window) for window in PROMISED_WINDOWS]
    services = [service for service, count in MIX for _ in range(count)]
    for service, _start, _end in PROMISED_WINDOWS:
        services.remove(service)
    rng.shuffle(services)
    rest = [_flexible(rng, pool, offers, service, day) for service in services]
    jobs = [*promised, *_varied(rng, rest, day)]
    return [
        replace(
            job, reference=f"demo-o{k + 1:03}", source=rng.choice(SOURCES),
            created=today - timedelta(days=rng.randint(2, 28)), note=rng.choice(NOTES) if rng.random() < 0.3 else "",
        )
        for k, job in enumerate(jobs)
    ]  # fmt: skip


class _Pool:
    """Hands out houses: new ones first for a first wash, known ones for what else they may want; none twice."""

    def __init__(
        self, rng: random.Random, houses: Sequence[House], past: Sequence[PastJob], chalky: frozenset[int]
    ) -> None:
        self.houses = houses
        known = {job.house for job in past}
        last_wash = {job.house: job.day for job in past if job.lines[0].spec.service == "house_wash"}
        self.new = [k for k in range(len(houses)) if k not in known]
        self.chalky = sorted(chalky)
        self.longest_ago = sorted(known, key=lambda k: last_wash.get(k, date.max))
        self.known = sorted(known)
        for numbers in (self.new, self.chalky, self.known):
            rng.shuffle(numbers)
        self.taken: set[int] = set()

    def take(self, service: str) -> int:
        order = {
            "house_wash": [*self.new, *self.longest_ago],
            "chalk_removal": [*self.chalky, *self.known],
            "deck_wash": [k for k in self.known if self.houses[k].deck_sqft],
        }.get(service, self.known)
        house = next(k for k in order if k not in self.taken)
        self.taken.add(house)
        return house


def _promised(
    rng: random.Random, pool: _Pool, offers: Offers, day: date, service: str, start: int, end: int
) -> OpenJob:
    job = _flexible(rng, pool, offers, service, day)
    return replace(job, windows=(WindowSpec(day, day, start, end, promised=True),), lines=job.lines[:1])


def _flexible(rng: random.Random, pool: _Pool, offers: Offers, service: str, day: date) -> OpenJob:
    house = pool.take(service)
    lines = [line_make(rng, offers, service, pool.houses[house])]
    if service == "house_wash" and rng.random() < 0.22:
        lines.append(line_make(rng, offers, rng.choice(("gutter_clearing", "concrete")), pool.houses[house]))
    return OpenJob("", house, "agreed", tuple(lines), tuple(_windows(rng, day)), day, "")


def _windows(rng: random.Random, day: date) -> Iterator[WindowSpec]:
    """Any day for some weeks, mostly; some only on two days a week apart or two days apart."""
    start, end = rng.choice(WINDOW_SHAPES)
    if rng.random() < 0.75:
        yield WindowSpec(day - timedelta(days=3), day + timedelta(days=OPEN_FOR_DAYS), start, end)
        return
    other = day + timedelta(days=rng.choice((2, 7)))
    yield WindowSpec(day, day, start, end)
    yield WindowSpec(other, other, start, end)


def _varied(rng: random.Random, rest: Sequence[OpenJob], day: date) -> Iterator[OpenJob]:
    """Turn some of the agreed jobs into leads, estimates, later ones, poor payers and the odd cases."""
    named = _named_leads(rest, day)
    at = iter([job for job in rest if job.house not in {lead.house for lead in named}])
    for _ in range(LEADS - len(named)):
        yield replace(next(at), state="lead", windows=())
    for _ in range(ESTIMATED):
        yield replace(next(at), state="estimated", windows=())
    yield from named
    for _ in range(LATER):
        first = day + timedelta(days=rng.randint(4, 9))
        yield replace(next(at), windows=(WindowSpec(first, first + timedelta(days=OPEN_FOR_DAYS)),))
    for k in range(NEXT_DAYS):
        promised_on = next_working_day(day + timedelta(days=1 + k // 2))
        yield replace(next(at), windows=(WindowSpec(promised_on, promised_on, 540, 660, promised=True),))
    for _ in range(POOR_PAYERS):
        job = next(at)
        yield replace(job, lines=tuple(_cheap(line) for line in job.lines))
    yield replace(next(at), windows=(WindowSpec(day, day + timedelta(days=OPEN_FOR_DAYS), *EVENING),))
    yield from _one_without_place(at)


def _named_leads(rest: Sequence[OpenJob], day: date) -> list[OpenJob]:
    """Leads that are worth a second look: at the price that they name, or on the days that they have."""
    single = [job for job in rest if len(job.lines) == 1]
    saturday = day + timedelta(days=(SATURDAY - day.weekday()) % 7 or 7)
    days = tuple(WindowSpec(on, on) for on in (saturday, saturday + timedelta(days=2)))
    weekend = max(
        (job for job in single if job.lines[0].estimated_minutes <= LONGEST_ON_SATURDAY),
        key=lambda job: job.lines[0].estimated_minutes,
    )
    found = [_named(weekend, WEEKEND_CENTS, days)]
    for service, cents in NAMED_PRICES:
        taken = {job.house for job in found}
        job = next(job for job in single if job.lines[0].service == service and job.house not in taken)
        found.append(_named(job, cents, ()))
    return found


def _named(job: OpenJob, cents_per_crew_hour: int, windows: tuple[WindowSpec, ...]) -> OpenJob:
    """The job as a lead at the price that brings so much an hour, to whole dollars."""
    minutes = job.lines[0].estimated_minutes + USUAL_DRIVE_MINUTES
    line = replace(job.lines[0], price_cents=round(cents_per_crew_hour * minutes / 6000) * 100)
    return replace(job, state="lead", lines=(line,), windows=windows)


def _cheap(line: LineSpec) -> LineSpec:
    return replace(line, price_cents=line.price_cents * POOR_PERCENT // 10_000 * 100)


def _one_without_place(rest: Iterator[OpenJob]) -> Iterator[OpenJob]:
    """The first house wash at a new house: nobody has set its place on the map yet."""
    done = False
    for job in rest:
        if not done and job.lines[0].service == "house_wash":
            done = True
            yield replace(job, has_place=False)
        else:
            yield job
