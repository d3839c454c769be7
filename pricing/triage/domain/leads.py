"""A lead against the hours that it would take. Advice only: a person decides.

A lead takes its minutes on site and the driving that it adds to a route (cheapest place between two stops that are
there, or there and back from the yard on a day that nobody planned). Those hours are worth what one more crew-hour
would add to that day: the dual price of the stored plan, never less than the owner's reserve. A day that nobody planned
counts at the reserve while it has room beside the agreed work that may fall on it; where it has none, the hours would
be taken from other work, and a busy day's worth stands for theirs (the newest plan's, else the hourly target).
Least price on a day = materials + worth of a crew-hour x crew-hours.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from fractions import Fraction

from shared.units import MINUTES_PER_HOUR, crew_minutes, round_half_up

Point = tuple[float, float]
Drive = Callable[[Point, Point], int | None]

MOST_RAISE_PERCENT = 25  # a price that must rise by more is not asked for; our choice, no source
NEAR_MINUTES = 10  # a crew is near where the detour takes no longer; our choice, no source
STEP_CENTS = 500  # prices are named in steps of five dollars


class Advice(StrEnum):
    TAKE = "take"
    THIN_DAY = "thin_day"
    TAKE_AT = "take_at"
    DECLINE = "decline"


ORDER = tuple(Advice)


@dataclass(frozen=True, slots=True)
class CrewDay:
    """A crew on shift. `path` is yard, stops in their order, yard; minutes are the crew's own."""

    name: str
    skills: frozenset[str]
    workers: int
    free_minutes: int
    path: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Day:
    """A day with crews on shift. `worth_cents` is a crew-hour's, from the stored plan; None where nobody knows.

    `waiting_crew_minutes` are those of agreed work that no plan holds yet, spread over the days on which it may be.
    """

    work_date: date
    is_planned: bool
    worth_cents: int | None
    crews: tuple[CrewDay, ...]
    waiting_crew_minutes: int = 0

    @property
    def free_crew_minutes(self) -> int:
        """Of a two-person crew."""
        return round_half_up(sum(crew_minutes(crew.free_minutes, crew.workers) for crew in self.crews))


@dataclass(frozen=True, slots=True)
class Lead:
    """Somebody who asks for work. `on_site_minutes` are those of a two-person crew; no windows: any day."""

    job_id: int
    price_cents: int
    card_price_cents: int | None
    materials_cents: int
    on_site_minutes: int
    needs: frozenset[str] = frozenset()
    place: Point | None = None
    windows: tuple[tuple[date, date], ...] = ()


@dataclass(frozen=True, slots=True)
class Terms:
    """Cents for a crew-hour of two. `newest_worth_cents` is that of the newest stored plan, where there is one."""

    target_cents: int
    reserve_cents: int
    newest_worth_cents: int | None = None

    @property
    def busy_cents(self) -> int:
        """What an hour is worth that has to be taken from other work."""
        known = self.target_cents if self.newest_worth_cents is None else self.newest_worth_cents
        return max(self.reserve_cents, known)


@dataclass(frozen=True, slots=True)
class Fit:
    """A lead on a day: with whom, how far out of the way, and the least price at which it pays."""

    work_date: date
    crew: str
    detour_minutes: int
    has_room: bool
    crew_minutes: int
    worth_cents: int
    least_price_cents: int

    @property
    def is_near(self) -> bool:
        return self.detour_minutes <= NEAR_MINUTES


@dataclass(frozen=True, slots=True)
class Judged:
    """A lead with its advice. `best` is the day on which it pays most; `ask_cents` the price to name."""

    lead: Lead
    advice: Advice
    fits: tuple[Fit, ...]
    good: tuple[Fit, ...]
    best: Fit | None
    ask_cents: int | None

    @property
    def earned_cents_per_crew_hour(self) -> int | None:
        if self.best is None or not self.best.crew_minutes:
            return None
        return round_half_up(Fraction(self.lead.price_cents * MINUTES_PER_HOUR, self.best.crew_minutes))

    @property
    def hours_worth_cents(self) -> int | None:
        """What the hours that it takes are worth on its best day."""
        return None if self.best is None else self.best.least_price_cents - self.lead.materials_cents

    @property
    def over_cents(self) -> int:
        """What it brings above its hours and materials; negative: short of them."""
        return self.lead.price_cents - self.best.least_price_cents if self.best else 0


def judge_all(leads: Sequence[Lead], days: Sequence[Day], terms: Terms, drive: Drive) -> tuple[Judged, ...]:
    """Every lead judged, the ones to call first at the head: by advice, then by what an hour brings above its worth."""
    judged = (judge(lead, days, terms, drive) for lead in leads)
    return tuple(sorted(judged, key=_first))


def _first(row: Judged) -> tuple[int, Fraction, int]:
    minutes = row.best.crew_minutes if row.best else 1
    return ORDER.index(row.advice), Fraction(-row.over_cents, max(1, minutes)), row.lead.job_id


def judge(lead: Lead, days: Sequence[Day], terms: Terms, drive: Drive) -> Judged:
    """One lead against every day on which somebody could do it."""
    fits = tuple(fit for day in days if _wanted(lead, day.work_date) if (fit := _fit(lead, day, terms, drive)))
    if not fits:
        return Judged(lead, Advice.DECLINE, (), (), None, None)
    in_order = sorted(fits, key=lambda fit: (fit.least_price_cents, fit.work_date))
    best, ordinary = in_order[0], in_order[len(in_order) // 2]
    good = tuple(fit for fit in fits if fit.least_price_cents <= lead.price_cents)
    ask = _step_up(best.least_price_cents)
    if lead.price_cents >= ordinary.least_price_cents:
        advice = Advice.TAKE
    elif good:
        advice = Advice.THIN_DAY
    elif ask * 100 <= lead.price_cents * (100 + MOST_RAISE_PERCENT):
        advice = Advice.TAKE_AT
    else:
        advice = Advice.DECLINE
    return Judged(lead, advice, fits, good, best, ask if advice == Advice.TAKE_AT else lead.price_cents)


def _wanted(lead: Lead, day: date) -> bool:
    return not lead.windows or any(first <= day <= last for first, last in lead.windows)


def _fit(lead: Lead, day: Day, terms: Terms, drive: Drive) -> Fit | None:
    able = [crew for crew in day.crews if lead.needs <= crew.skills]
    detours = [(crew, _detour(lead.place, crew.path, drive)) for crew in able]
    made = [_fit_with(lead, day, crew, detour, terms) for crew, detour in detours if detour is not None]
    return min(made, key=lambda fit: (not fit.has_room, fit.detour_minutes, fit.crew), default=None)


def _fit_with(lead: Lead, day: Day, crew: CrewDay, detour: int, terms: Terms) -> Fit:
    own_minutes = -(-lead.on_site_minutes * 2 // crew.workers) + detour
    has_room = own_minutes <= crew.free_minutes
    minutes = round_half_up(lead.on_site_minutes + crew_minutes(detour, crew.workers))
    is_thin = has_room and day.free_crew_minutes - day.waiting_crew_minutes >= minutes
    worth = _worth(day, terms, is_thin=is_thin)
    least = lead.materials_cents + round_half_up(Fraction(worth * minutes, MINUTES_PER_HOUR))
    return Fit(day.work_date, crew.name, detour, has_room, minutes, worth, least)


def _worth(day: Day, terms: Terms, *, is_thin: bool) -> int:
    if day.worth_cents is not None:
        return max(terms.reserve_cents, day.worth_cents)
    return terms.reserve_cents if is_thin else terms.busy_cents


def _detour(place: Point | None, path: Sequence[Point], drive: Drive) -> int | None:
    """Minutes that the cheapest way past `place` adds; 0 where nobody knows the place, None where nobody can drive."""
    if place is None:
        return 0
    found = []
    for before, after in zip(path, path[1:], strict=False):
        there, on, direct = drive(before, place), drive(place, after), drive(before, after)
        if there is not None and on is not None:
            found.append(max(0, there + on - (direct or 0)))
    return min(found, default=None)


def _step_up(cents: int) -> int:
    return -(-cents // STEP_CENTS) * STEP_CENTS
