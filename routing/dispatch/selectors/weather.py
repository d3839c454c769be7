"""A day's weather as the office wrote it down."""

from datetime import date

from routing.dispatch.models import DayWeather
from routing.plans.models import Yard


def day_weather(*, yard: Yard, work_date: date) -> DayWeather | None:
    return DayWeather.objects.filter(yard=yard, work_date=work_date).first()
