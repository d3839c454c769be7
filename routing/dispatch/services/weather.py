from datetime import date
from typing import Any

from django.db import transaction

from routing.dispatch.models import DayWeather
from routing.plans.models import Yard
from shared.events.services import event_record


@transaction.atomic
def day_weather_set(
    *,
    yard: Yard,
    work_date: date,
    high_f: int,
    humidity_percent: int,
    wind_mph: int | None = None,
    has_thunder: bool = False,
    actor: Any = None,
) -> DayWeather:
    """Write down a day's weather, in place of what stood there. Raises ValidationError."""
    row = DayWeather.objects.filter(yard=yard, work_date=work_date).first() or DayWeather(
        yard=yard, work_date=work_date
    )
    row.high_f, row.humidity_percent, row.wind_mph, row.has_thunder = high_f, humidity_percent, wind_mph, has_thunder
    row.full_clean(exclude=["yard"])
    row.save()
    data = {"day": work_date.isoformat(), "high_f": high_f, "humidity": humidity_percent, "thunder": has_thunder}
    event_record(kind="weather.set", subject=yard, actor=actor, data=data)
    return row
