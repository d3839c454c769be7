"""Fitting the growth model, forecasting walls, setting the limit."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
from django.db import transaction

from jobs.chalking.choices import Refusal, Since
from jobs.chalking.domain.fitting import fit
from jobs.chalking.domain.forecast import crossings
from jobs.chalking.domain.growth import NAMES, Floats, prior_of
from jobs.chalking.domain.life import Life
from jobs.chalking.domain.seasons import day_of_dose
from jobs.chalking.domain.verdict import is_too_wide
from jobs.chalking.models import ChalkModel, ChalkSetting, WallForecast
from jobs.chalking.rows import Book, book_of, reader_ids_of, stored_fit
from jobs.chalking.selectors import chalk_model_now, chalk_setting_get
from shared.background.services import enqueue
from shared.events.services import event_record

BATCH = 1000
MANY_READINGS = 100_000  # from here on a fit takes a second thread
FORECAST_FIELDS = [
    "model", "made_at", "limit_half_steps", "refusal", "since", "since_what", "dose_by_month", "early_dose",
    "middle_dose", "late_dose", "early_on", "middle_on", "late_on", "reading_count", "last_read_on",
]  # fmt: skip
SETTING_FIELDS = frozenset(("limit_half_steps", "due_when"))


@dataclass(frozen=True)
class ForecastCounts:
    """What a run came to."""

    walls: int
    forecast: int
    refused: int
    is_refitted: bool

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


def forecasts_update(*, now: datetime, property_ids: Sequence[int] | None = None) -> ForecastCounts:
    """Forecast every wall that was ever read, or those of some properties. Safe to repeat.

    For all walls the growth model is fitted anew where anything that it rests on has changed; for some properties the
    stored fit is taken, so that it takes a moment, and the fit learns of them at night. Nothing is locked meanwhile.
    """
    model = None if property_ids is None else chalk_model_now()
    if model is None:
        book = book_of()
        model, is_refitted = model_fit(book, now=now)
    else:
        book, is_refitted = book_of(property_ids=property_ids, reader_ids=reader_ids_of(model)), False
    refused = _forecasts_store(book, model, now)
    return ForecastCounts(len(book.wall_ids), len(book.wall_ids) - refused, refused, is_refitted)


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


def _forecasts_store(book: Book, model: ChalkModel, now: datetime) -> int:
    """Write the forecasts of all walls of a book; returns how many were refused."""
    setting = chalk_setting_get()
    _names, fitted = stored_fit(model, book.reader_ids)
    found = crossings(book.walls, book.readings, book.again_now, fitted, limit=setting.limit)
    begun = [history.begun(story) for history, story in zip(book.histories, found.stories.tolist(), strict=True)]
    since = np.array([day or "1970-01-01" for day in begun], dtype="datetime64[D]")
    days = [day_of_dose(book.by_month, since, column) for column in found.doses.T]
    rows = _rows(book, begun, found.doses, np.stack(days, axis=1), setting, model, now)
    for start in range(0, len(rows), BATCH):
        WallForecast.objects.bulk_create(
            rows[start : start + BATCH],
            update_conflicts=True,
            unique_fields=["wall"],
            update_fields=FORECAST_FIELDS,
        )
    return sum(row.refusal != Refusal.NONE for row in rows)


def _rows(
    book: Book, begun: Sequence[date | None], doses: Floats, days: Any, setting: ChalkSetting, model: ChalkModel,
    now: datetime,
) -> list[WallForecast]:  # fmt: skip
    return [
        WallForecast(
            wall_id=int(wall_id),
            model=model,
            made_at=now,
            limit_half_steps=setting.limit_half_steps,
            refusal=_refusal(book, at, doses[at]),
            since=begun[at],
            since_what=_since_what(book.histories[at].life, begun[at]),
            dose_by_month=[round(dose, 5) for dose in book.by_month[at].tolist()],
            **_found(doses[at], days[at].tolist(), has_start=begun[at] is not None),
            reading_count=int(book.reading_counts[at]),
            last_read_on=book.histories[at].last_read_on,
        )
        for at, wall_id in enumerate(book.wall_ids)
    ]


def _since_what(life: Life, begun: date | None) -> str:
    return life.what if begun == life.since else Since.GUESSED


def _refusal(book: Book, at: int, doses: Floats) -> str:
    """Why no day is named: no start, no reading in a life that can be dated, or an interval that says nothing."""
    if book.histories[at].life.since is None:
        return Refusal.NO_START
    if not book.reading_counts[at]:
        return Refusal.TOO_EARLY
    return Refusal.TOO_WIDE if is_too_wide(doses[0], doses[2]) else Refusal.NONE


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
    unknown = fields.keys() - SETTING_FIELDS
    if unknown:
        raise TypeError(f"The limit has no {', '.join(sorted(unknown))}.")
    setting = chalk_setting_get()
    changed = [name for name, value in fields.items() if getattr(setting, name) != value]
    for name in changed:
        setattr(setting, name, fields[name])
    setting.full_clean()
    if changed:
        setting.save()
        event_record(kind="chalk_limit.changed", subject=setting, actor=actor, data={"fields": sorted(changed)})
        enqueue("chalking.nightly")
    return setting
