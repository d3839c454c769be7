"""The earnings report as plain values: from the sums of each group of jobs to its row."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from math import ceil
from typing import Any

from pricing.earnings.domain.breakdown import Breakdown
from pricing.earnings.domain.ratio import NO_JOBS, Moments, RatioEstimate, ratio_estimate
from pricing.earnings.domain.remedy import Range, Remedy, remedy
from pricing.earnings.domain.split import Shortfall, SplitSums, shortfall, shortfall_per_crew_hour
from pricing.earnings.domain.verdict import Verdict, verdicts
from shared.units import MINUTES_PER_HOUR, round_half_up


class Decision(StrEnum):
    """What to do about a group below the target."""

    STOP = "stop"  # below the reserve, and the company can do without
    RAISE = "raise"
    SAVE_TIME = "save_time"


@dataclass(frozen=True, slots=True)
class GroupSums:
    """What the ledger holds of one group of jobs. Time is crew-minutes of a two-person crew, money cents.

    ``earned`` and ``margin`` are sums over jobs of (crew-minutes, cents). ``key`` is a service's code, a number of
    storeys, ``city|part``, a crew's code, a source, ``1`` for returning customers, or a month; empty: not known.
    """

    key: str
    name: str
    earned: Moments
    margin: Moments
    split: SplitSums
    drive_crew_minutes: float
    callback_crew_minutes: float
    callbacks: int
    materials_cents: int
    wages_cents: int
    vehicle_cents: int
    jobs_shared_by_estimate: int = 0  # jobs of several lines whose hours were shared by the estimated minutes
    jobs_with_late_facts: int = 0
    lines_without_card: int = 0
    lines_without_estimate: int = 0
    first_worked_on: date | None = None

    @property
    def refunds_cents(self) -> int:
        return self.split.refund_cents


@dataclass(frozen=True, slots=True)
class PerCrewHour:
    """Cents per crew-hour with the ends of the 90 % interval, None where the jobs cannot bound it."""

    cents: int
    low_cents: int | None
    high_cents: int | None

    def as_json(self) -> dict[str, int | None]:
        return {"cents": self.cents, "low_cents": self.low_cents, "high_cents": self.high_cents}


@dataclass(frozen=True, slots=True)
class GroupEarnings:
    """One row of the report. ``decision`` and ``remedy`` are for groups below the target."""

    sums: GroupSums
    earned: PerCrewHour | None
    margin: PerCrewHour | None
    verdict: Verdict
    shortfall: Shortfall
    shortfall_per_crew_hour: Shortfall | None
    decision: Decision | None
    remedy: Remedy | None
    others_cents_per_crew_hour: int | None  # of all other jobs of the report, where the group could be dropped

    @property
    def jobs(self) -> int:
        return self.sums.earned.n

    @property
    def crew_minutes(self) -> int:
        return round_half_up(self.sums.earned.sum_x)

    @property
    def crew_minutes_per_job(self) -> int:
        return round_half_up(self.sums.earned.sum_x / self.jobs)

    @property
    def drive_crew_minutes(self) -> int:
        return round_half_up(self.sums.drive_crew_minutes)

    @property
    def drive_percent(self) -> int:
        """Driving as a part of all time, in whole percent; 0 where there is no time."""
        time = self.sums.earned.sum_x
        return round_half_up(self.sums.drive_crew_minutes * 100 / time) if time > 0 else 0

    @property
    def callback_crew_minutes(self) -> int:
        return round_half_up(self.sums.callback_crew_minutes)

    @property
    def earned_cents(self) -> int:
        return round_half_up(self.sums.earned.sum_y)

    @property
    def margin_cents(self) -> int:
        return round_half_up(self.sums.margin.sum_y)

    @property
    def price_rise_percent(self) -> Range | None:
        """Whole percent; the figure rounded up to reach the target."""
        return _whole(self.remedy.price_rise_percent) if self.remedy else None

    @property
    def price_rise_cents_per_job(self) -> Range | None:
        """Cents a job; the figure rounded up to reach the target."""
        return _whole(self.remedy.price_rise_cents_per_job) if self.remedy else None

    @property
    def minutes_to_save_per_job(self) -> Range | None:
        """Crew-minutes a job; the figure rounded up to reach the target."""
        return _whole(self.remedy.crew_minutes_saved_per_job) if self.remedy else None

    @property
    def elsewhere_cents(self) -> Range | None:
        """What the group's hours would have earned more at other work, over all of them."""
        found = self.remedy.elsewhere_cents if self.remedy else None
        return found.map(round_half_up) if found else None

    def as_json(self, *, with_margin: bool) -> dict[str, Any]:
        row: dict[str, Any] = {
            "key": self.sums.key,
            "name": self.sums.name,
            "jobs": self.jobs,
            "crew_minutes": self.crew_minutes,
            "drive_crew_minutes": self.drive_crew_minutes,
            "callbacks": self.sums.callbacks,
            "callback_crew_minutes": self.callback_crew_minutes,
            "earned_cents": self.earned_cents,
            "refunds_cents": self.sums.refunds_cents,
            "jobs_shared_by_estimate": self.sums.jobs_shared_by_estimate,
            "earned_per_crew_hour": self.earned.as_json() if self.earned else None,
            "verdict": str(self.verdict),
            "decision": str(self.decision) if self.decision else None,
            "shortfall": self.shortfall.as_json(),
            "price_rise_percent": _range_json(self.price_rise_percent),
            "price_rise_cents_per_job": _range_json(self.price_rise_cents_per_job),
            "minutes_to_save_per_job": _range_json(self.minutes_to_save_per_job),
            "elsewhere_cents": _range_json(self.elsewhere_cents),
        }
        if with_margin:
            row |= {
                "materials_cents": self.sums.materials_cents,
                "wages_cents": self.sums.wages_cents,
                "vehicle_cents": self.sums.vehicle_cents,
                "margin_cents": self.margin_cents,
                "margin_per_crew_hour": self.margin.as_json() if self.margin else None,
            }
        return row


@dataclass(frozen=True, slots=True)
class EarningsReport:
    """Every group of the jobs first worked in the period, judged against one target.

    The worst paid comes first; months come in their order.
    """

    by: Breakdown
    since: date | None
    until: date
    target_cents_per_crew_hour: int
    reserve_cents_per_crew_hour: int
    groups: tuple[GroupEarnings, ...]
    service_name: str = ""  # of the only service looked at; empty: all

    @property
    def crew_minutes(self) -> float:
        return sum(group.sums.earned.sum_x for group in self.groups)

    @property
    def first_worked_on(self) -> date | None:
        """The day on which the first of the jobs was worked."""
        return min((day for group in self.groups if (day := group.sums.first_worked_on)), default=None)

    def as_json(self, *, with_margin: bool = True) -> dict[str, Any]:
        """The report for programs; without margins and wages for readers who may not see them."""
        return {
            "by": str(self.by),
            "since": self.since.isoformat() if self.since else None,
            "until": self.until.isoformat(),
            "target_cents_per_crew_hour": self.target_cents_per_crew_hour,
            "reserve_cents_per_crew_hour": self.reserve_cents_per_crew_hour,
            "groups": [group.as_json(with_margin=with_margin) for group in self.groups],
        }


def judge_groups(
    groups: Sequence[GroupSums],
    target_cents_per_crew_hour: int,
    reserve_cents_per_crew_hour: int = 0,
    by: Breakdown = Breakdown.SERVICE,
) -> tuple[GroupEarnings, ...]:
    """Estimate and judge all groups together, against the target and, for *stop*, against the reserve."""
    moments = [group.earned for group in groups]
    target, reserve = (cents / MINUTES_PER_HOUR for cents in (target_cents_per_crew_hour, reserve_cents_per_crew_hour))
    everything = sum(moments, NO_JOBS)
    rows = [
        _row(
            group,
            verdict,
            _decision(verdict, against_reserve, by),
            target_cents_per_crew_hour,
            everything - group.earned if by.may_be_dropped else NO_JOBS,
        )
        for group, verdict, against_reserve in zip(
            groups, verdicts(moments, target), verdicts(moments, reserve), strict=True
        )
    ]
    if by == Breakdown.MONTH:
        return tuple(sorted(rows, key=lambda row: row.sums.key))
    return tuple(sorted(rows, key=lambda row: (row.earned is None, row.earned.cents if row.earned else 0)))


def _decision(verdict: Verdict, against_reserve: Verdict, by: Breakdown) -> Decision | None:
    if verdict != Verdict.BELOW:
        return None
    if against_reserve == Verdict.BELOW and by.may_be_dropped:
        return Decision.STOP
    return Decision.RAISE if by.may_be_priced else Decision.SAVE_TIME


def _row(
    group: GroupSums, verdict: Verdict, decision: Decision | None, target_cents: int, others: Moments
) -> GroupEarnings:
    earned = ratio_estimate(group.earned)
    elsewhere = ratio_estimate(others)
    cure = None
    if verdict == Verdict.BELOW and earned is not None:
        cure = remedy(group.earned, target_cents / MINUTES_PER_HOUR, earned, others)
    return GroupEarnings(
        sums=group,
        earned=_per_crew_hour(earned),
        margin=_per_crew_hour(ratio_estimate(group.margin)),
        verdict=verdict,
        shortfall=shortfall(group.split, target_cents),
        shortfall_per_crew_hour=shortfall_per_crew_hour(group.split, target_cents),
        decision=decision,
        remedy=cure,
        others_cents_per_crew_hour=_hourly(elsewhere.value) if elsewhere else None,
    )


def _per_crew_hour(per_minute: RatioEstimate | None) -> PerCrewHour | None:
    if per_minute is None:
        return None
    return PerCrewHour(
        cents=round_half_up(per_minute.value * MINUTES_PER_HOUR),
        low_cents=_hourly(per_minute.low),
        high_cents=_hourly(per_minute.high),
    )


def _hourly(per_minute: float | None) -> int | None:
    return None if per_minute is None else round_half_up(per_minute * MINUTES_PER_HOUR)


def _whole(found: Range | None) -> Range | None:
    """The figure rounded up, so that following the advice reaches the target (rounding dust stays); ends rounded."""
    if found is None:
        return None
    rounded = found.map(round_half_up)
    return Range(ceil(found.value - 1e-6), rounded.low, rounded.high)


def _range_json(found: Range | None) -> dict[str, int | None] | None:
    if found is None:
        return None
    low, high = (None if end is None else int(end) for end in (found.low, found.high))
    return {"value": int(found.value), "low": low, "high": high}
