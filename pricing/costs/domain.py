"""Hours and pay of a worker's week under the federal rule of the 40-hour week.

A crew's minutes, driving and riding included (29 CFR 785.41), are each member's. The week begins on the weekday that
the owner chose, which the rule lets be any as long as it stays the same (29 CFR 778.105). A bonus that was promised
belongs in the regular rate (778.208 to 778.210), one given at the owner's own discretion does not (778.211). State law
may ask for more. Not legal advice.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from pricing.earnings.domain.wages import OVERTIME_AFTER_MINUTES_A_WEEK, wage_cents, week_pay_cents
from shared.units import MINUTES_PER_HOUR, round_half_up

DAYS_OF_A_WEEK = 7
CrewMinutes = Mapping[tuple[str, date], int]
"""Worked minutes by crew and day."""


@dataclass(frozen=True, slots=True)
class Terms:
    """A worker's crew (empty: none), hourly wage and burden from a day on."""

    effective_from: date
    crew_code: str
    cents_per_hour: int
    burden_percent: int


@dataclass(frozen=True, slots=True)
class WorkerWeek:
    """Seven days of one worker. ``regular_rate_cents`` is straight pay with promised bonuses over hours; None for no
    hours."""

    name: str
    minutes: tuple[int, ...]
    straight_cents: int
    pay_cents: int
    promised_cents: int = 0
    gift_cents: int = 0

    @property
    def worked_minutes(self) -> int:
        return sum(self.minutes)

    @property
    def bonus_cents(self) -> int:
        return self.promised_cents + self.gift_cents

    @property
    def overtime_minutes(self) -> int:
        return max(0, self.worked_minutes - OVERTIME_AFTER_MINUTES_A_WEEK)

    @property
    def premium_cents(self) -> int:
        """The half of the regular rate for each hour after the fortieth."""
        return self.pay_cents - self.straight_cents - self.promised_cents - self.gift_cents

    @property
    def regular_rate_cents(self) -> int | None:
        if not self.worked_minutes:
            return None
        return round_half_up(
            Fraction((self.straight_cents + self.promised_cents) * MINUTES_PER_HOUR, self.worked_minutes)
        )


def week_start(day: date, starts_on: int = 0) -> date:
    """The first day of a day's week, which begins on the weekday ``starts_on``: 0 is Monday, 6 Sunday."""
    return day - timedelta(days=(day.weekday() - starts_on) % DAYS_OF_A_WEEK)


def terms_on(terms: Sequence[Terms], day: date) -> Terms | None:
    """Those in force on a day: the latest that began by then; None before the first and while in no crew."""
    begun = [each for each in terms if each.effective_from <= day]
    found = max(begun, key=lambda each: each.effective_from, default=None)
    return found if found and found.crew_code else None


def worker_week(
    name: str,
    terms: Sequence[Terms],
    worked: CrewMinutes,
    first: date,
    *,
    promised_cents: int = 0,
    gift_cents: int = 0,
) -> WorkerWeek:
    """Hours and pay of the seven days from ``first``; a wage that changes within them counts by the day.

    ``promised_cents`` are bonuses that count in the regular rate, ``gift_cents`` those that do not.
    """
    days = [first + timedelta(days=i) for i in range(DAYS_OF_A_WEEK)]
    minutes = [_minutes_on(terms, worked, day) for day in days]
    straight = sum(
        Fraction(found.cents_per_hour * each, MINUTES_PER_HOUR)
        for day, each in zip(days, minutes, strict=True)
        if (found := terms_on(terms, day))
    )
    straight_cents = round_half_up(straight)
    rated, hours = straight_cents + promised_cents, sum(minutes)
    pay = week_pay_cents(straight_cents=rated, worked_minutes=hours) if hours else promised_cents
    return WorkerWeek(name, tuple(minutes), straight_cents, pay + gift_cents, promised_cents, gift_cents)


def booked_wage_cents(
    workers: Sequence[Sequence[Terms]],
    worked: CrewMinutes,
    *,
    crew_code: str,
    on: date,
    worked_minutes: int,
    starts_on: int = 0,
) -> int | None:
    """What a booking of ``worked_minutes`` adds to the pay of the crew's members, burden and overtime included.

    ``workers`` holds the terms of everybody, ``worked`` what was booked before. None where nobody is in the crew.
    """
    members = [terms for terms in workers if (found := terms_on(terms, on)) and found.crew_code == crew_code]
    if not members:
        return None
    return sum(_added_cents(terms, worked, on, worked_minutes, starts_on) for terms in members)


def _added_cents(terms: Sequence[Terms], worked: CrewMinutes, on: date, worked_minutes: int, starts_on: int) -> int:
    found = terms_on(terms, on)
    assert found is not None
    days = (on - timedelta(days=i) for i in range((on - week_start(on, starts_on)).days + 1))
    return wage_cents(
        worked_minutes=worked_minutes,
        cents_per_hour=found.cents_per_hour,
        burden_percent=found.burden_percent,
        minutes_before_in_week=sum(_minutes_on(terms, worked, day) for day in days),
    )


def _minutes_on(terms: Sequence[Terms], worked: CrewMinutes, day: date) -> int:
    found = terms_on(terms, day)
    return max(0, worked.get((found.crew_code, day), 0)) if found else 0
