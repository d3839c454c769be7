import hashlib
import json
import logging
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from pricing.catalogue.domain import Access, Soil
from pricing.catalogue.models import Service
from pricing.catalogue.selectors import rate_terms
from pricing.minutes.choices import ForecastOrigin
from pricing.minutes.domain.fitting import fit_minutes
from pricing.minutes.domain.stored import model_to_json
from pricing.minutes.inputs import LineBooking
from pricing.minutes.models import BookedMinutes, JobConditions, LearntMinutes, MinutesChoice, StoredForecast
from pricing.minutes.selectors import Forecaster, booked_list, features_of, forecaster_on, observation_of
from shared import clock
from shared.events.services import event_record

logger = logging.getLogger(__name__)
BATCH = 500
REPLAY_STEP_DAYS = 30


@transaction.atomic
def minutes_book(bookings: Sequence[LineBooking]) -> int:
    """Keep what lines took, and what was expected of each before, inside the caller's transaction.

    The forecast is of the newest model that knows only jobs done before the day of the work. A line that was booked
    before keeps its first forecast; the new row is its correction. Lines without minutes teach nothing and are left
    out. Returns the number of rows kept.
    """
    kept = minutes_import(bookings)
    known = set(
        StoredForecast.objects.filter(line_ref__in=[b.line_ref for b in bookings]).values_list("line_ref", flat=True)
    )
    new = [b for b in bookings if b.line_ref not in known and b.on_site_minutes > 0]
    for day in sorted({b.work_date for b in new}):
        of_day = [(b.line_ref, b) for b in new if b.work_date == day]
        _forecasts_store(of_day, forecaster_on(on=day, done_before=day), ForecastOrigin.BOOKING)
    return kept


def minutes_import(bookings: Iterable[LineBooking], *, recorded_at: datetime | None = None) -> int:
    """Keep what many lines took (imports, the demo) without forecasts; ``history_replay`` makes those."""
    services = {service.code: service for service in Service.objects.all()}
    at = recorded_at or clock.now()
    rows = [
        _row(booking, services[booking.features.service_code], at)
        for booking in bookings
        if booking.on_site_minutes > 0
    ]
    return len(BookedMinutes.objects.bulk_create(rows, batch_size=BATCH))


def model_fit(*, today: date) -> LearntMinutes | None:
    """Learn from every job done before ``today``; a new version unless nothing has changed since the newest.

    Returns the new version, or None where there was nothing to learn or nothing new.
    """
    return _fit(done_before=today, card_on=today)


def history_replay(*, since: date, until: date) -> int:
    """Give past lines that have none the forecast that could have been made then; for an imported history.

    Goes through the days in steps of a month: each step's model knows only the jobs before the step, with the card
    that was in force. Lines that already have a forecast keep it. Returns the number of forecasts made.
    """
    made = 0
    first = since
    while first < until:
        after = min(first + timedelta(days=REPLAY_STEP_DAYS), until)
        made += _replay_step(first, after)
        first = after
    return made


@transaction.atomic
def conditions_set(*, job_ref: int, access: str, soil: str) -> JobConditions:
    """Say how a job's property is to be worked at. Raises ``ValidationError`` for a level that is not known.

    The history is the job's: ``job_conditions_set`` in jobs/work keeps it.
    """
    row = JobConditions.objects.filter(job_ref=job_ref).first() or JobConditions(job_ref=job_ref)
    row.access, row.soil = access, soil
    row.full_clean()
    row.save()
    return row


def conditions_import(conditions: Mapping[int, tuple[Access, Soil]]) -> None:
    """Say it for many new jobs at once, by the job's id (imports, the demo)."""
    rows = (
        JobConditions(job_ref=job, access=str(access), soil=str(soil)) for job, (access, soil) in conditions.items()
    )
    JobConditions.objects.bulk_create(rows, batch_size=BATCH)


@transaction.atomic
def minutes_choice_set(*, promised: str, routes: str, actor: Any) -> MinutesChoice:
    """Choose what routes reckon with, from the next plan on. Raises ``ValidationError``."""
    row = MinutesChoice.objects.first() or MinutesChoice(pk=1)
    before = {"promised": row.promised, "routes": row.routes}
    row.promised, row.routes = promised, routes
    row.full_clean()
    row.save()
    event_record(
        kind="minutes.chosen",
        subject=row,
        actor=actor,
        data={"from": before, "to": {"promised": promised, "routes": routes}},
    )
    return row


def _row(booking: LineBooking, service: Service, at: datetime) -> BookedMinutes:
    features = booking.features
    reading = features.chalk_reading
    return BookedMinutes(
        line_ref=booking.line_ref,
        job_ref=booking.job_ref,
        work_date=booking.work_date,
        service=service,
        quantity=features.quantity,
        storeys=features.storeys,
        access=str(features.access),
        soil=str(features.soil),
        chalk_half_steps=None if reading is None else round(2 * reading),
        material=features.material,
        crew_code=features.crew_code,
        workers=booking.workers,
        on_site_minutes=booking.on_site_minutes,
        lines_sharing=booking.lines_sharing,
        recorded_at=at,
    )


def _fit(*, done_before: date, card_on: date) -> LearntMinutes | None:
    rates = rate_terms(on=card_on)
    rows = list(booked_list(done_before=done_before))
    if not rows or not rates:
        return None
    card = json.dumps({code: asdict(rate) for code, rate in sorted(rates.items())})
    digest = hashlib.sha256(f"{card} {[row.pk for row in rows]}".encode()).hexdigest()
    newest = LearntMinutes.objects.only("digest").order_by("-done_before", "-pk").first()
    if newest and newest.digest == digest:
        return None
    model = fit_minutes([observation_of(row) for row in rows], rates)
    version = LearntMinutes.objects.create(
        done_before=done_before, lines=len(rows), digest=digest, content=model_to_json(model)
    )
    logger.info("minutes model %s fitted to %s lines", version.pk, len(rows))
    return version


def _replay_step(first: date, after: date) -> int:
    rows = booked_list(done_before=after).filter(work_date__gte=first)
    known = StoredForecast.objects.filter(work_date__gte=first, work_date__lt=after).values_list("line_ref", flat=True)
    missing = list(rows.exclude(line_ref__in=known))
    if not missing:
        return 0
    _fit(done_before=first, card_on=first)
    bookings = [
        (row.line_ref, LineBooking(row.line_ref, row.job_ref, row.work_date, features_of(row), row.on_site_minutes))
        for row in missing
    ]
    return _forecasts_store(bookings, forecaster_on(on=first, done_before=first), ForecastOrigin.REPLAY)


def _forecasts_store(
    bookings: Iterable[tuple[int, LineBooking]], forecaster: Forecaster, origin: ForecastOrigin
) -> int:
    services = {service.code: service for service in Service.objects.all()}
    rows = []
    for line_ref, booking in bookings:
        forecast = forecaster.forecast(booking.features)
        if forecast is None:
            continue
        rows.append(
            StoredForecast(
                line_ref=line_ref,
                work_date=booking.work_date,
                service=services[booking.features.service_code],
                model_id=forecaster.model_id,
                origin=origin,
                mean_minutes=forecast.mean_minutes,
                median_minutes=forecast.median_minutes,
                q80_minutes=forecast.q80_minutes,
                q90_minutes=forecast.q90_minutes,
                based_on_jobs=forecast.based_on_jobs,
            )
        )
    return len(StoredForecast.objects.bulk_create(rows, batch_size=BATCH))
