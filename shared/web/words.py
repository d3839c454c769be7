"""Figures as people read them. One function per kind of figure; the template filters call these."""

from datetime import date

import phonenumbers
from django.utils import formats
from django.utils.translation import gettext, pgettext

from shared.money import format_cents
from shared.units import ML_PER_FLUID_OUNCE, ML_PER_US_GALLON, metres_to_miles, round_half_up

NOTHING = "–"
MINUTES_PER_DAY = 1440
SMALLEST_IN_GALLONS_ML = ML_PER_US_GALLON / 4


def money_words(cents: int | float | None, currency: str = "USD") -> str:
    """`123450` -> `$1,234.50`; parts of a cent are rounded."""
    return NOTHING if cents is None else format_cents(round_half_up(cents), currency)


def whole_money_words(cents: int | float, currency: str = "USD") -> str:
    """An amount for an axis: without cents where there are none."""
    return money_words(cents, currency).removesuffix(".00")


def hours_words(minutes: int | float | None) -> str:
    """`80` -> `1 h 20 min`."""
    if minutes is None:
        return NOTHING
    whole = round_half_up(minutes)
    hours, rest = divmod(abs(whole), 60)
    parts = [f"{hours} h"] if hours else []
    if rest or not hours:
        parts.append(f"{rest} min")
    return ("-" if whole < 0 else "") + " ".join(parts)


def clock_words(minute: int | None) -> str:
    """Minutes after midnight as a clock shows them: `485` -> `8:05 am`. Times after midnight say so."""
    if minute is None:
        return NOTHING
    days, of_day = divmod(int(minute), MINUTES_PER_DAY)
    hour, rest = divmod(of_day, 60)
    half = pgettext("time of day", "am") if hour < 12 else pgettext("time of day", "pm")
    clock = f"{hour % 12 or 12}:{rest:02d} {half}"
    if days == 0:
        return clock
    return f"{clock} " + (gettext("(next day)") if days > 0 else gettext("(day before)"))


def miles_words(metres: int | float | None) -> str:
    """`5500` -> `3.4 mi`; whole miles from 100 on."""
    if metres is None:
        return NOTHING
    miles = metres_to_miles(metres)
    return f"{miles:.1f} mi" if abs(miles) < 99.95 else f"{round_half_up(miles):,} mi"


def phone_words(e164: str | None, country: str = "US") -> str:
    """E.164 as it is written in `country`: numbers of the same country without their code."""
    if not e164:
        return NOTHING
    try:
        number = phonenumbers.parse(e164, None)
    except phonenumbers.NumberParseException:
        return e164
    at_home = phonenumbers.country_code_for_region(country) == number.country_code
    style = phonenumbers.PhoneNumberFormat.NATIONAL if at_home else phonenumbers.PhoneNumberFormat.INTERNATIONAL
    return phonenumbers.format_number(number, style)


def day_words(day: date | None) -> str:
    """A date with its weekday in the reader's language: `Wed, Nov 25, 2026`."""
    return NOTHING if day is None else formats.date_format(day, pgettext("date format", "D, M j, Y"))


def percent_words(share: float | None, digits: int = 0) -> str:
    """A share of one as percent: `0.125` -> `13%`, with one digit `12.5%`."""
    if share is None:
        return NOTHING
    return f"{round_half_up(share * 100 * 10**digits) / 10**digits:.{digits}f}%"


def volume_words(volume_ml: int) -> str:
    """US gallons, with one decimal, below one gallon with two; fluid ounces below a quart."""
    if 0 < volume_ml < SMALLEST_IN_GALLONS_ML:
        return gettext("%(ounces).0f fl oz") % {"ounces": max(1.0, volume_ml / ML_PER_FLUID_OUNCE)}
    gallons = volume_ml / ML_PER_US_GALLON
    return gettext("%(gallons)s gal") % {"gallons": f"{gallons:.2f}" if 0 < gallons < 1 else f"{gallons:.1f}"}
