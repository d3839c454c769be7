"""Hours and pay of a worker's week under the federal rule of the 40-hour week.

A crew's minutes, driving and riding included (29 CFR 785.41), are each member's. The week begins on Monday; the rule
lets it begin on any day as long as that stays the same (29 CFR 778.105). State law may ask for more. Not legal advice.
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
    """Seven days of one worker. ``regular_rate_cents`` is straight pay over hours; None for no hours."""

    name: str
    minutes: tuple[int, ...]
    straight_cents: int
    pay_cents: int

    @property
    def worked_minutes(self) -> int:
        return sum(self.minutes)

    @property
    def overtime_minutes(self) -> int:
        return max(0, self.worked_minutes - OVERTIME_AFTER_MINUTES_A_WEEK)

    @property
    def premium_cents(self) -> int:
        """The half of the regular rate for each hour after the fortieth."""
        return self.pay_cents - self.straight_cents

    @property
    def regular_rate_cents(self) -> int | None:
        if not self.worked_minutes:
            return None
        return round_half_up(Fraction(self.straight_cents * MINUTES_PER_HOUR, self.worked_minutes))


def week_start(day: date) -> date:
    """The Monday of a day's week."""
    return day - timedelta(days=day.weekday())


def terms_on(terms: Sequence[Terms], day: date) -> Terms | None:
    """Those in force on a day: the latest that began by then; None before the first and while in no crew."""
    begun = [each for each in terms if each.effective_from <= day]
    found = max(begun, key=lambda each: each.effective_from, default=None)
    return found if found and found.crew_code else None


def worker_week(name: str, terms: Sequence[Terms], worked: CrewMinutes, monday: date) -> WorkerWeek:
    """Hours and pay of the week from ``monday``; a wage that changes within it counts by the day."""
    days = [monday + timedelta(days=i) for i in range(DAYS_OF_A_WEEK)]
    minutes = [_minutes_on(terms, worked, day) for day in days]
    straight = sum(
        Fraction(found.cents_per_hour * each, MINUTES_PER_HOUR)
        for day, each in zip(days, minutes, strict=True)
        if (found := terms_on(terms, day))
    )
    straight_cents = round_half_up(straight)
    pay = week_pay_cents(straight_cents=straight_cents, worked_minutes=sum(minutes))
    return WorkerWeek(name, tuple(minutes), straight_cents, pay)


def booked_wage_cents(
    workers: Sequence[Sequence[Terms]], worked: CrewMinutes, *, crew_code: str, on: date, worked_minutes: int
) -> int | None:
    """What a booking of ``worked_minutes`` adds to the pay of the crew's members, burden and overtime included.

    ``workers`` holds the terms of everybody, ``worked`` what was booked before. None where nobody is in the crew.
    """
    members = [terms for terms in workers if (found := terms_on(terms, on)) and found.crew_code == crew_code]
    if not members:
        return None
    return sum(_added_cents(terms, worked, on, worked_minutes) for terms in members)


def _added_cents(terms: Sequence[Terms], worked: CrewMinutes, on: date, worked_minutes: int) -> int:
    found = terms_on(terms, on)
    assert found is not None
    days = (on - timedelta(days=i) for i in range(on.weekday() + 1))
    return wage_cents(
        worked_minutes=worked_minutes,
        cents_per_hour=found.cents_per_hour,
        burden_percent=found.burden_percent,
        minutes_before_in_week=sum(_minutes_on(terms, worked, day) for day in days),
    )


def _minutes_on(terms: Sequence[Terms], worked: CrewMinutes, day: date) -> int:
    found = terms_on(terms, day)
    return max(0, worked.get((found.crew_code, day), 0)) if found else 0
