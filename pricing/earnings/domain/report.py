"""The earnings report as plain values: from the sums of each kind of job to its row."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil
from typing import Any

from pricing.earnings.domain.ratio import Moments, RatioEstimate, ratio_estimate
from pricing.earnings.domain.verdict import Remedy, Verdict, remedy, verdicts
from shared.units import MINUTES_PER_HOUR, round_half_up


@dataclass(frozen=True, slots=True)
class KindSums:
    """What the ledger holds of one kind of job. Time is crew-minutes of a two-person crew, money cents.

    ``earned`` and ``margin`` are sums over jobs of (crew-minutes, cents).
    """

    service_code: str
    service_name: str
    earned: Moments
    margin: Moments
    drive_crew_minutes: float
    callback_crew_minutes: float
    callbacks: int
    refunds_cents: int
    materials_cents: int
    wages_cents: int
    vehicle_cents: int


@dataclass(frozen=True, slots=True)
class PerCrewHour:
    """Cents per crew-hour with the ends of the 90 % interval, None where the jobs cannot bound it."""

    cents: int
    low_cents: int | None
    high_cents: int | None

    def as_json(self) -> dict[str, int | None]:
        return {"cents": self.cents, "low_cents": self.low_cents, "high_cents": self.high_cents}


@dataclass(frozen=True, slots=True)
class KindEarnings:
    """One row of the report."""

    sums: KindSums
    earned: PerCrewHour | None
    margin: PerCrewHour | None
    verdict: Verdict
    remedy: Remedy | None  # for kinds below the target

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
    def price_rise_percent(self) -> int | None:
        """Whole percent, rounded up to reach the target."""
        return _whole_up(self.remedy.price_rise_ratio * 100) if self.remedy else None

    @property
    def price_rise_cents_per_job(self) -> int | None:
        """Cents a job, rounded up to reach the target."""
        return _whole_up(self.remedy.price_rise_cents_per_job) if self.remedy else None

    @property
    def minutes_to_save_per_job(self) -> int | None:
        """Crew-minutes a job, rounded up to reach the target."""
        return _whole_up(self.remedy.crew_minutes_saved_per_job) if self.remedy else None

    def as_json(self, *, with_margin: bool) -> dict[str, Any]:
        row: dict[str, Any] = {
            "service": self.sums.service_code,
            "name": self.sums.service_name,
            "jobs": self.jobs,
            "crew_minutes": self.crew_minutes,
            "drive_crew_minutes": self.drive_crew_minutes,
            "callbacks": self.sums.callbacks,
            "callback_crew_minutes": self.callback_crew_minutes,
            "earned_cents": self.earned_cents,
            "refunds_cents": self.sums.refunds_cents,
            "earned_per_crew_hour": self.earned.as_json() if self.earned else None,
            "verdict": str(self.verdict),
            "price_rise_percent": self.price_rise_percent,
            "price_rise_cents_per_job": self.price_rise_cents_per_job,
            "minutes_to_save_per_job": self.minutes_to_save_per_job,
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
    """Every kind of job first worked in the period, the worst paid first, judged against one target."""

    since: date | None
    until: date
    target_cents_per_crew_hour: int
    reserve_cents_per_crew_hour: int
    kinds: tuple[KindEarnings, ...]

    def as_json(self, *, with_margin: bool = True) -> dict[str, Any]:
        """The report for programs; without margins and wages for readers who may not see them."""
        return {
            "since": self.since.isoformat() if self.since else None,
            "until": self.until.isoformat(),
            "target_cents_per_crew_hour": self.target_cents_per_crew_hour,
            "reserve_cents_per_crew_hour": self.reserve_cents_per_crew_hour,
            "kinds": [kind.as_json(with_margin=with_margin) for kind in self.kinds],
        }


def judge_kinds(kinds: Sequence[KindSums], target_cents_per_crew_hour: int) -> tuple[KindEarnings, ...]:
    """Estimate and judge all kinds together; the worst paid first, those without any time last."""
    target = target_cents_per_crew_hour / MINUTES_PER_HOUR
    judged = verdicts([kind.earned for kind in kinds], target)
    rows = [_row(kind, verdict, target) for kind, verdict in zip(kinds, judged, strict=True)]
    return tuple(sorted(rows, key=lambda row: (row.earned is None, row.earned.cents if row.earned else 0)))


def _row(kind: KindSums, verdict: Verdict, target: float) -> KindEarnings:
    return KindEarnings(
        sums=kind,
        earned=_per_crew_hour(ratio_estimate(kind.earned)),
        margin=_per_crew_hour(ratio_estimate(kind.margin)),
        verdict=verdict,
        remedy=remedy(kind.earned, target) if verdict == Verdict.BELOW else None,
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


def _whole_up(number: float) -> int:
    """Rounded up, so that following the advice reaches the target; a whole number with rounding dust stays."""
    return ceil(number - 1e-6)
