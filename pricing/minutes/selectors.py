from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet

from pricing.catalogue.domain import Access, RateTerms, Soil
from pricing.catalogue.selectors import rate_terms
from pricing.minutes.choices import PromisedMinutes, RouteMinutes
from pricing.minutes.domain.calibration import CALIBRATED_JOBS, Calibration, Judged, calibration_of
from pricing.minutes.domain.features import JobFeatures, Observation, season_of
from pricing.minutes.domain.forecast import MinutesForecast, expected_minutes
from pricing.minutes.domain.model import MinutesModel
from pricing.minutes.domain.stored import model_from_json
from pricing.minutes.models import BookedMinutes, JobConditions, LearntMinutes, MinutesChoice, StoredForecast
from shared.units import crew_minutes, round_half_up

LEAST_JOBS_TO_PLAN_BY = 8  # fewer do not replace what was agreed


@dataclass(frozen=True)
class Forecaster:
    """Answers for any job with one card and one model, read once. ``model_id`` is None for the card alone."""

    rates: Mapping[str, RateTerms]
    model: MinutesModel | None = None
    model_id: int | None = None

    def forecast(self, features: JobFeatures) -> MinutesForecast | None:
        """None for a service that is on no card."""
        rate = self.rates.get(features.service_code)
        if rate is None and self.model is not None:
            rate = self.model.rates.get(features.service_code)
        return None if rate is None else expected_minutes(features, rate, self.model)


def forecaster_on(*, on: date, done_before: date | None = None) -> Forecaster:
    """The card in force on a day, with the newest model; with ``done_before`` one that knows no later jobs."""
    rows = LearntMinutes.objects.all()
    if done_before is not None:
        rows = rows.filter(done_before__lte=done_before)
    row = rows.only("pk", "fitted_at").order_by("-done_before", "-pk").first()
    return Forecaster(rate_terms(on=on), _model(row.pk, row.fitted_at) if row else None, row.pk if row else None)


@lru_cache(maxsize=4)
def _model(pk: int, fitted_at: datetime) -> MinutesModel:
    """A row never changes, so what was read once stays true; another database's row was fitted at another time."""
    return model_from_json(LearntMinutes.objects.values_list("content", flat=True).get(pk=pk))


def model_list() -> QuerySet[LearntMinutes]:
    """Every version, the newest first, without its content."""
    return LearntMinutes.objects.defer("content").order_by("-done_before", "-pk")


def booked_list(*, done_before: date | None = None) -> QuerySet[BookedMinutes]:
    """The bookings that stand, oldest first: of each line the newest row."""
    newer = BookedMinutes.objects.filter(line_ref=OuterRef("line_ref"), pk__gt=OuterRef("pk"))
    rows = BookedMinutes.objects.filter(~Exists(newer)).select_related("service").order_by("work_date", "pk")
    return rows if done_before is None else rows.filter(work_date__lt=done_before)


def observation_of(row: BookedMinutes) -> Observation:
    """A booking as the calculation takes it."""
    return Observation(
        features_of(row), float(crew_minutes(row.on_site_minutes, row.workers)), weight=1 / row.lines_sharing
    )


def features_of(row: BookedMinutes) -> JobFeatures:
    """What was known of a booked line."""
    return JobFeatures(
        service_code=row.service.code,
        quantity=row.quantity,
        storeys=row.storeys,
        access=Access(row.access),
        soil=Soil(row.soil),
        chalk_reading=None if row.chalk_half_steps is None else row.chalk_half_steps / 2,
        material=row.material,
        crew_code=row.crew_code,
        season=season_of(row.work_date.month),
    )


def conditions_of(*, job_refs: Iterable[int]) -> dict[int, tuple[Access, Soil]]:
    """Access and soil of the jobs for which somebody said so."""
    rows = JobConditions.objects.filter(job_ref__in=list(job_refs))
    return {row.job_ref: (Access(row.access), Soil(row.soil)) for row in rows}


def minutes_choice_get() -> MinutesChoice:
    """What the owner chose for routes; the defaults where nothing was chosen. Writes nothing."""
    return MinutesChoice.objects.first() or MinutesChoice(pk=1)


SHARES = {PromisedMinutes.MEDIAN: 0.5, PromisedMinutes.Q80: 0.8, PromisedMinutes.Q90: 0.9}


def route_minutes(
    *, features: JobFeatures, agreed_minutes: int, promised: bool, forecaster: Forecaster, choice: MinutesChoice
) -> int:
    """Minutes of a two-person crew that a route allows for a line; 0 where none were agreed and none are learnt.

    The mean is what was agreed, or what was learnt if the owner chose so and there are enough jobs. For a promised
    job it is stretched to the quantile that the owner chose, in the proportion that the forecast has.
    """
    forecast = forecaster.forecast(features)
    if forecast is None or forecast.service_jobs < LEAST_JOBS_TO_PLAN_BY:
        return agreed_minutes
    learnt = choice.routes == RouteMinutes.LEARNT
    mean = forecast.mean if learnt else float(agreed_minutes)
    share = SHARES.get(PromisedMinutes(choice.promised)) if promised else None
    stretch = forecast.quantile(share) / forecast.mean if share else 1.0
    return max(1, round_half_up(mean * stretch)) if agreed_minutes or learnt else 0


def calibration_get(*, jobs: int = CALIBRATED_JOBS, **only: Any) -> Calibration:
    """How the forecasts of the last lines did, each as it was stored before the work. Two queries."""
    stored = list(StoredForecast.objects.filter(**only).select_related("service").order_by("-work_date", "-pk")[:jobs])
    booked = {row.line_ref: row for row in booked_list().filter(line_ref__in=[row.line_ref for row in stored])}
    return calibration_of([_judged(row, booked[row.line_ref]) for row in stored if row.line_ref in booked])


def _judged(row: StoredForecast, booked: BookedMinutes) -> Judged:
    return Judged(
        job_ref=booked.job_ref,
        service_name=row.service.name,
        work_date=booked.work_date,
        real_minutes=float(crew_minutes(booked.on_site_minutes, booked.workers)),
        mean_minutes=row.mean_minutes,
        median_minutes=row.median_minutes,
        q80_minutes=row.q80_minutes,
        q90_minutes=row.q90_minutes,
    )
