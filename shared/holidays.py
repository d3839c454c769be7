"""Public holidays of a country, and business days counted around them."""

from collections.abc import Container
from datetime import date, timedelta
from functools import lru_cache

from holidays import country_holidays, list_supported_countries

SATURDAY = 5


@lru_cache(maxsize=8)
def holidays_of(country: str) -> Container[date]:
    """National holidays, observed days included, of an ISO 3166-1 country; none where the country is not known.

    For the United States the federal ones (5 USC 6103), for any year asked about.
    """
    return country_holidays(country) if country in list_supported_countries() else frozenset()


def business_day_after(day: date, count: int, holidays: Container[date]) -> date:
    """The `count`-th day after `day` that is neither Saturday, Sunday nor a holiday; `count` at least 0."""
    while count > 0:
        day += timedelta(days=1)
        count -= day.weekday() < SATURDAY and day not in holidays
    return day
