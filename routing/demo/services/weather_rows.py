"""Weather of the demo company's next days: a hot one with thunder first, whatever the season, so that what the crews
read of it can be seen; then milder ones, wind, and frost."""

from datetime import date, timedelta

from routing.dispatch.services import day_weather_set
from routing.plans.models import Yard

# Highest temperature in F, humidity then in percent, wind in miles an hour, thunder.
DAYS = ((91, 58, 8, True), (84, 55, 12, False), (72, 50, 24, False), (66, 45, 6, False), (38, 60, 10, False))


def weather_store(*, yard: Yard, first: date) -> None:
    for number, (high_f, humidity, wind, thunder) in enumerate(DAYS):
        day_weather_set(
            yard=yard,
            work_date=first + timedelta(days=number),
            high_f=high_f,
            humidity_percent=humidity,
            wind_mph=wind,
            has_thunder=thunder,
        )
