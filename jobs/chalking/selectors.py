"""The limit, the stored fit, and the forecasts of walls by how they stand to the limit."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from math import exp

from django.db.models import Avg, F, OuterRef, Q, QuerySet, Subquery

from jobs.chalking.choices import Refusal
from jobs.chalking.domain.verdict import SEASON, Verdict, verdict
from jobs.chalking.models import ChalkModel, ChalkSetting, WallForecast
from jobs.customers.models import Property, Wall
from jobs.walkthroughs.models import FIELD_SCALE, ChalkReading

USUAL_LATITUDE = 40.0  # where no property of the company has a place


def chalk_setting_get() -> ChalkSetting:
    """The owner's limit; with its defaults, and not stored, where nobody set it yet."""
    return ChalkSetting.objects.filter(pk=1).first() or ChalkSetting(pk=1)


def chalk_model_now() -> ChalkModel | None:
    """The newest fit, or nothing before the first."""
    return ChalkModel.objects.order_by("-fitted_at", "-id").first()


def usual_latitude() -> float:
    """Of the properties that have a place: where the others are taken to lie."""
    found: float | None = Property.objects.filter(latitude__isnull=False).aggregate(at=Avg("latitude"))["at"]
    return USUAL_LATITUDE if found is None else found


def forecast_verdict(row: WallForecast, *, reading: Decimal | None, limit: Decimal, today: date) -> Verdict:
    """How a wall stands to the limit today; `reading` is its newest."""
    is_since = row.since is None or (row.last_read_on is not None and row.last_read_on > row.since)
    is_at_limit = reading is not None and reading >= limit and is_since
    days = (row.early_on, row.middle_on, row.late_on) if row.refusal == Refusal.NONE else (None, None, None)
    return verdict(*days, today=today, is_at_limit=is_at_limit)


def _with(found: Verdict, limit: Decimal, today: date) -> Q:
    """The rows of a verdict, annotated with `reading`; the same rule as `domain.verdict`, for the database."""
    was_read = Q(reading__isnull=False, last_read_on__isnull=False)  # so that it may be turned round: no NULL is left
    at_limit = was_read & Q(reading__gte=limit) & (Q(since__isnull=True) | Q(last_read_on__gt=F("since")))
    if found == Verdict.AT_LIMIT:
        return at_limit
    ahead, named = today + SEASON, Q(refusal=Refusal.NONE)
    return (
        ~at_limit
        & {
            Verdict.HAS_PASSED: named & Q(late_on__lte=today),
            Verdict.PROBABLY_PASSED: named & Q(middle_on__lte=today, late_on__gt=today),
            Verdict.THIS_SEASON: named & Q(middle_on__gt=today, middle_on__lte=ahead),
            Verdict.MAY_THIS_SEASON: named & Q(middle_on__gt=ahead, early_on__lte=ahead),
            Verdict.LATER: named & Q(early_on__gt=ahead),
            Verdict.TOO_LITTLE: ~named,
        }[found]
    )


def forecast_list(
    *,
    limit: Decimal,
    today: date,
    verdicts: tuple[Verdict, ...] = (),
    words: str = "",
    property_id: int | None = None,
    is_untested: bool | None = None,
) -> QuerySet[WallForecast]:
    """Forecasts with their newest reading as `reading`, the earliest first, those without a day last; after all of them
    the untested walls, in the same order.

    `verdicts` narrows to some of them by the owner's `limit`; with those at the limit among them the worst reading is
    first. `is_untested` narrows to walls whose present surface nobody has read, or to the others. Each of `words` must
    occur in street, town, customer or wall.
    """
    newest = ChalkReading.objects.filter(wall=OuterRef("wall"), scale=FIELD_SCALE).order_by("-read_on", "-id")
    rows = WallForecast.objects.select_related("wall__property__customer").annotate(
        reading=Subquery(newest.values("reading")[:1])
    )
    if verdicts:
        chosen = Q()
        for found in verdicts:
            chosen |= _with(found, limit, today)
        rows = rows.filter(chosen)
    if property_id is not None:
        rows = rows.filter(wall__property=property_id)
    if is_untested is not None:
        rows = rows.filter(is_untested=is_untested)
    for word in words.split():
        rows = rows.filter(
            Q(wall__property__street__icontains=word)
            | Q(wall__property__city__icontains=word)
            | Q(wall__property__customer__name__icontains=word)
            | Q(wall__name__icontains=word)
        )
    worst_first = [F("reading").desc(nulls_last=True)] if Verdict.AT_LIMIT in verdicts else []
    return rows.order_by("is_untested", *worst_first, "refusal", "middle_on", "id")


def reading_of(row: WallForecast) -> Decimal | None:
    """The newest reading of a row of `forecast_list`."""
    found: Decimal | None = row.reading  # type: ignore[attr-defined]  # annotated
    return found


@dataclass(frozen=True)
class WallChalk:
    """One wall with all its readings (oldest first) and its forecast, if it was ever read or walls like it were."""

    wall: Wall
    readings: tuple[ChalkReading, ...]
    forecast: WallForecast | None

    @property
    def newest(self) -> ChalkReading | None:
        return self.readings[-1] if self.readings else None


def property_chalk(place: Property) -> list[WallChalk]:
    """The walls of a property in their order, in three queries."""
    walls = list(Wall.objects.filter(property=place).order_by("pk"))
    forecasts = {row.wall_id: row for row in WallForecast.objects.filter(wall__property=place)}
    readings: dict[int, list[ChalkReading]] = {}
    for reading in ChalkReading.objects.filter(wall__property=place, scale=FIELD_SCALE).order_by("read_on", "pk"):
        readings.setdefault(reading.wall_id, []).append(reading)
    return [WallChalk(wall, tuple(readings.get(wall.pk, ())), forecasts.get(wall.pk)) for wall in walls]


def wall_chalk(wall: Wall) -> WallChalk:
    """One wall, in two queries."""
    readings = ChalkReading.objects.filter(wall=wall, scale=FIELD_SCALE).order_by("read_on", "pk")
    return WallChalk(wall, tuple(readings), WallForecast.objects.filter(wall=wall).first())


def growth_shape() -> float:
    """The exponent of growth of the newest fit; 1 before the first."""
    model = chalk_model_now()
    return exp(model.parameters.get("log_shape", 0.0)) if model else 1.0
