"""The limit, the stored fit, and the forecasts of walls by how they stand to the limit."""

from dataclasses import dataclass
from datetime import date
from math import exp

from django.db.models import OuterRef, Q, QuerySet, Subquery

from jobs.chalking.choices import Refusal
from jobs.chalking.domain.verdict import SEASON, Verdict, verdict
from jobs.chalking.models import ChalkModel, ChalkSetting, WallForecast
from jobs.customers.models import Property, Wall
from jobs.walkthroughs.models import ChalkReading


def chalk_setting_get() -> ChalkSetting:
    """The owner's limit; with its defaults, and not stored, where nobody set it yet."""
    return ChalkSetting.objects.filter(pk=1).first() or ChalkSetting(pk=1)


def chalk_model_now() -> ChalkModel | None:
    """The newest fit, or nothing before the first."""
    return ChalkModel.objects.order_by("-fitted_at", "-id").first()


def forecast_verdict(row: WallForecast, *, today: date) -> Verdict:
    """How a wall stands to the limit today."""
    if row.refusal != Refusal.NONE:
        return Verdict.TOO_LITTLE
    return verdict(row.early_on, row.middle_on, row.late_on, today=today)


def _with(found: Verdict, today: date) -> Q:
    """The rows of a verdict; the same rule as `domain.verdict`, for the database."""
    ahead, named = today + SEASON, Q(refusal=Refusal.NONE)
    return {
        Verdict.HAS_PASSED: named & Q(late_on__lte=today),
        Verdict.PROBABLY_PASSED: named & Q(middle_on__lte=today, late_on__gt=today),
        Verdict.THIS_SEASON: named & Q(middle_on__gt=today, middle_on__lte=ahead),
        Verdict.MAY_THIS_SEASON: named & Q(middle_on__gt=ahead, early_on__lte=ahead),
        Verdict.LATER: named & Q(early_on__gt=ahead),
        Verdict.TOO_LITTLE: ~named,
    }[found]


def forecast_list(
    *, today: date, verdicts: tuple[Verdict, ...] = (), words: str = "", property_id: int | None = None
) -> QuerySet[WallForecast]:
    """Forecasts with their newest reading as `reading`, the earliest first, those without a day last.

    `verdicts` narrows to some of them; each of `words` must occur in street, town, customer or wall.
    """
    newest = ChalkReading.objects.filter(wall=OuterRef("wall")).order_by("-read_on", "-id").values("reading")[:1]
    rows = WallForecast.objects.select_related("wall__property__customer").annotate(reading=Subquery(newest))
    if verdicts:
        chosen = Q()
        for found in verdicts:
            chosen |= _with(found, today)
        rows = rows.filter(chosen)
    if property_id is not None:
        rows = rows.filter(wall__property=property_id)
    for word in words.split():
        rows = rows.filter(
            Q(wall__property__street__icontains=word)
            | Q(wall__property__city__icontains=word)
            | Q(wall__property__customer__name__icontains=word)
            | Q(wall__name__icontains=word)
        )
    return rows.order_by("refusal", "middle_on", "id")


@dataclass(frozen=True)
class WallChalk:
    """One wall with all its readings (oldest first) and its forecast, if it was ever read."""

    wall: Wall
    readings: tuple[ChalkReading, ...]
    forecast: WallForecast | None


def property_chalk(place: Property) -> list[WallChalk]:
    """The walls of a property in their order, in three queries."""
    walls = list(Wall.objects.filter(property=place).order_by("pk"))
    forecasts = {row.wall_id: row for row in WallForecast.objects.filter(wall__property=place)}
    readings: dict[int, list[ChalkReading]] = {}
    for reading in ChalkReading.objects.filter(wall__property=place).order_by("read_on", "pk"):
        readings.setdefault(reading.wall_id, []).append(reading)
    return [WallChalk(wall, tuple(readings.get(wall.pk, ())), forecasts.get(wall.pk)) for wall in walls]


def growth_shape() -> float:
    """The exponent of growth of the newest fit; 1 before the first."""
    model = chalk_model_now()
    return exp(model.parameters.get("log_shape", 0.0)) if model else 1.0
