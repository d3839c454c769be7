"""Fitting the growth model, forecasting walls, setting the limit."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
from django.db import transaction

from jobs.chalking.choices import Refusal, Since
from jobs.chalking.domain.draws import DRAWS_OF_FEW, parameter_draws
from jobs.chalking.domain.fitting import Fit, fit
from jobs.chalking.domain.forecast import crossings
from jobs.chalking.domain.growth import NAMES, Floats, prior_of
from jobs.chalking.domain.like import LikeWalls
from jobs.chalking.domain.seasons import day_of_dose
from jobs.chalking.domain.verdict import is_too_wide
from jobs.chalking.models import ChalkModel, ChalkSetting, WallForecast
from jobs.chalking.rows import Book, History, book_of, reader_ids_of, stored_fit, unread_books
from jobs.chalking.selectors import chalk_model_now, chalk_setting_get
from shared.background.services import enqueue
from shared.events.services import fields_change

BATCH = 1000
MANY_READINGS = 100_000  # from here on a fit takes a second thread
FORECAST_FIELDS = [
    "model", "made_at", "limit_half_steps", "refusal", "since", "since_what", "dose_by_month", "early_dose",
    "middle_dose", "late_dose", "early_on", "middle_on", "late_on", "reading_count", "last_read_on", "is_untested",
]  # fmt: skip
SETTING_FIELDS = frozenset(("limit_half_steps", "due_when"))


@dataclass(frozen=True)
class ForecastCounts:
    """What a run came to: of walls that were read, and of those that nobody read."""

    walls: int
    forecast: int
    refused: int
    unread: int
    unread_forecast: int
    is_refitted: bool

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


@dataclass(frozen=True)
class Run:
    """What all forecasts of one run share."""

    model: ChalkModel
    fitted: Fit
    setting: ChalkSetting
    now: datetime


def forecasts_update(*, now: datetime, property_ids: Sequence[int] | None = None) -> ForecastCounts:
    """Forecast every wall that was ever read, and every other one by the walls like it; or those of some properties.
    Safe to repeat.

    For all walls the growth model is fitted anew where anything that it rests on has changed; for some properties the
    stored fit is taken, so that it takes a moment, and the fit learns of them at night. Nothing is locked meanwhile.
    """
    model = None if property_ids is None else chalk_model_now()
    if model is None:
        book = book_of()
        model, is_refitted = model_fit(book, now=now)
    else:
        book, is_refitted = book_of(property_ids=property_ids, reader_ids=reader_ids_of(model)), False
    run = Run(model, stored_fit(model, reader_ids_of(model))[1], chalk_setting_get(), now)
    refused = _read_store(run, book)
    unread, unread_forecast = _unread_store(run, property_ids)
    read = len(book.wall_ids)
    return ForecastCounts(read, read - refused, refused, unread, unread_forecast, is_refitted)


def model_fit(book: Book, *, now: datetime) -> tuple[ChalkModel, bool]:
    """The stored fit of exactly these inputs, or a new one that starts from the newest; and whether it is new."""
    newest, digest = chalk_model_now(), book.digest()
    if newest is not None and newest.inputs_digest == digest:
        return newest, False
    names = (*NAMES, *book.parameter_names)
    threads = 2 if len(book.readings) > MANY_READINGS else 1
    found = fit(book.walls, book.readings, start=_start(newest, names, book), threads=threads)
    row = ChalkModel.objects.create(
        fitted_at=now,
        wall_count=len(book.wall_ids),
        reading_count=len(book.readings),
        inputs_digest=digest,
        parameters=dict(zip(names, found.theta.tolist(), strict=True)),
        covariance=found.covariance.tolist(),
    )
    return row, True


def _start(model: ChalkModel | None, names: Sequence[str], book: Book) -> Floats | None:
    """The parameters of an earlier fit by their names; what it did not have begins at its prior."""
    if model is None:
        return None
    mean, _spread = prior_of(book.walls.effect_count, book.readings.reader_count)
    return np.array([model.parameters.get(name, middle) for name, middle in zip(names, mean, strict=True)])


def _read_store(run: Run, book: Book) -> int:
    """Write the forecasts of walls that were read; returns how many were refused."""
    found = crossings(book.walls, book.readings, book.again_now, run.fitted, limit=run.setting.limit)
    begun = [history.begun(story) for history, story in zip(book.histories, found.stories.tolist(), strict=True)]
    return _store(run, book, begun, found.doses)


def _unread_store(run: Run, property_ids: Sequence[int] | None) -> tuple[int, int]:
    """Write the forecasts of walls that nobody read, and take away those of walls that are no longer forecast; returns
    how many there are, and how many have days."""
    like = LikeWalls(parameter_draws(run.fitted, DRAWS_OF_FEW), run.setting.limit)
    walls = refused = 0
    for book in unread_books(today=run.now.date(), property_ids=property_ids):
        walls += len(book.wall_ids)
        begun = [history.begun(0) for history in book.histories]
        refused += _store(run, book, begun, like.doses(book.walls, book.again_now, book.ages))
    gone = WallForecast.objects.filter(last_read_on__isnull=True, made_at__lt=run.now)
    (gone if property_ids is None else gone.filter(wall__property__in=property_ids)).delete()
    return walls, walls - refused


def _store(run: Run, book: Book, begun: Sequence[date | None], doses: Floats) -> int:
    """Write the forecasts of all walls of a book, in parts; returns how many were refused."""
    since = np.array([day or "1970-01-01" for day in begun], dtype="datetime64[D]")
    days = np.stack([day_of_dose(book.by_month, since, column) for column in doses.T], axis=1)
    refused = 0
    for start in range(0, len(begun), BATCH):
        part = range(start, min(start + BATCH, len(begun)))
        rows = [_row(run, book, at, begun[at], doses[at], days[at]) for at in part]
        WallForecast.objects.bulk_create(
            rows, update_conflicts=True, unique_fields=["wall"], update_fields=FORECAST_FIELDS
        )
        refused += sum(row.refusal != Refusal.NONE for row in rows)
    return refused


def _row(run: Run, book: Book, at: int, begun: date | None, doses: Floats, days: Any) -> WallForecast:
    history, count = book.histories[at], int(book.reading_counts[at])
    is_untested = history.last_read_on is None or (begun is not None and not count)
    return WallForecast(
        wall_id=int(book.wall_ids[at]),
        model=run.model,
        made_at=run.now,
        limit_half_steps=run.setting.limit_half_steps,
        refusal=_refusal(history, doses, late_on=days[2].item(), today=run.now.date(), is_untested=is_untested),
        since=begun,
        since_what=_since_what(history, begun),
        dose_by_month=[round(dose, 5) for dose in book.by_month[at].tolist()],
        **_found(doses, days.tolist(), has_start=begun is not None),
        reading_count=count,
        last_read_on=history.last_read_on,
        is_untested=is_untested,
    )


def _since_what(history: History, begun: date | None) -> str:
    if history.last_read_on is None and len(history.begun_on) > 1:
        return Since.WITHIN
    return history.life.what if begun == history.life.since else Since.GUESSED


def _refusal(history: History, doses: Floats, *, late_on: date, today: date, is_untested: bool) -> str:
    """Why no days are told: no start, or an interval that says nothing.

    That nearly all walls like an untested one have passed is something, however long ago that may have been.
    """
    if history.life.since is None:
        return Refusal.NO_START
    if is_untested and late_on <= today:
        return Refusal.NONE
    return Refusal.TOO_WIDE if is_too_wide(doses[0], doses[2], is_untested=is_untested) else Refusal.NONE


def _found(doses: Floats, days: list[date], *, has_start: bool) -> dict[str, Any]:
    names = ("early", "middle", "late")
    return {f"{name}_dose": float(dose) if has_start else None for name, dose in zip(names, doses, strict=True)} | {
        f"{name}_on": day if has_start else None for name, day in zip(names, days, strict=True)
    }


@transaction.atomic
def chalk_setting_update(*, actor: Any, **fields: Any) -> ChalkSetting:
    """Change the limit or the day that counts, those of SETTING_FIELDS; all forecasts follow in the background.

    Raises ValidationError for a limit off the scale, TypeError for a field that does not exist.
    """
    setting = chalk_setting_get()
    kind = "chalk_limit.changed"
    if fields_change(row=setting, fields=fields, allowed=SETTING_FIELDS, kind=kind, actor=actor):
        enqueue("chalking.nightly")
    return setting
