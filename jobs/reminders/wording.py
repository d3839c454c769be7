"""Dates, walls, reasons and findings in words, for the office and for the homeowner."""

from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache

from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.reminders.domain.consent import Obstacle, Standing
from jobs.reminders.domain.due import CHALK, Due, ForecastFact, ReadingFact
from jobs.reminders.domain.lint import Finding
from jobs.reminders.models import DueHold
from shared import clock

_SPANISH_SIDES = ("norte", "noreste", "este", "sureste", "sur", "suroeste", "oeste", "noroeste")
_SPANISH_KINDS = {"shutters": "las contraventanas", "garage_door": "la puerta del garaje", "trim": "las molduras"}


def date_words(day: date, language: str = "") -> str:
    """`3 May 2025`, or `3 de mayo de 2025`; in the reader's language unless one is given."""
    return _date_words(day, language or translation.get_language() or "en")


@lru_cache(maxsize=4096)  # a long due list says the same few hundred dates again and again
def _date_words(day: date, language: str) -> str:
    with translation.override(language):
        return date_format(day, r"j \d\e F \d\e Y" if language.startswith("es") else "j F Y")


def month_words(day: date, language: str = "") -> str:
    """`May 2027`, or `mayo de 2027`: as exact as a forecast is."""
    language = language or translation.get_language() or "en"
    with translation.override(language):
        return date_format(day, r"F \d\e Y" if language.startswith("es") else "F Y")


def short_month_words(day: date, language: str) -> str:
    """`May 2027`, or `mayo 2027`: for a text message."""
    with translation.override(language):
        return date_format(day, "M Y")


def reading_words(reading: Decimal) -> str:
    """`3` or `2.5`."""
    return f"{reading.normalize():f}"


def wall_words(wall: ReadingFact | ForecastFact, language: str) -> str:
    """`the south wall`: by the name that the office gave it; in Spanish by kind and facing, where they are known."""
    if language == "es":
        return _spanish_wall(wall)
    name = wall.wall_name
    return name if name.lower().startswith("the ") else f"the {lower_first(name)}"


def _spanish_wall(wall: ReadingFact | ForecastFact) -> str:
    if wall.wall_kind in _SPANISH_KINDS:
        return _SPANISH_KINDS[wall.wall_kind]
    if wall.facing_degrees is None:
        return f"la pared «{wall.wall_name}»"
    return f"la pared {_SPANISH_SIDES[round(wall.facing_degrees / 45) % 8]}"


def lower_first(text: str) -> str:
    """`House wash` inside a sentence; a word in capitals stays as it is."""
    return text if text[1:2].isupper() else text[:1].lower() + text[1:]


def reason_words(found: Due, service_name: str) -> str:
    """Why it is due, in one plain line for the office."""
    return _chalk_reason(found) if found.kind == CHALK else _interval_reason(found, service_name)


def _interval_reason(found: Due, service_name: str) -> str:
    fact = found.interval
    if fact is None:
        raise ValueError("A due service needs its interval.")
    often = ngettext(
        "%(service)s every month", "%(service)s every %(months)s months", fact.interval_months
    ) % {"service": service_name, "months": fact.interval_months}  # fmt: skip
    if fact.last_done_on is None:
        return _("%(often)s, due %(date)s") % {"often": often, "date": date_words(fact.next_due_on)}
    return _("%(often)s, last done %(date)s") % {"often": often, "date": date_words(fact.last_done_on)}


def _chalk_reason(found: Due) -> str:
    limit = reading_words(found.limit)
    if found.forecasts:
        return _forecast_reason(found.forecasts, limit)
    worst, *others = found.walls
    line = _("%(wall)s read %(reading)s of 5 on %(date)s, no removal since") % {
        "wall": worst.wall_name,
        "reading": reading_words(worst.reading),
        "date": date_words(worst.read_on),
    }
    more = ngettext(
        "%(count)s more wall at %(limit)s or above", "%(count)s more walls at %(limit)s or above", len(others)
    )
    return f"{line}; {more % {'count': len(others), 'limit': limit}}" if others else line


def _forecast_reason(walls: tuple[ForecastFact, ...], limit: str) -> str:
    first, *others = walls
    line = _(
        "%(wall)s expected to pass %(limit)s about %(month)s (%(early)s to %(late)s); read %(reading)s on %(date)s"
    ) % {
        "wall": first.wall_name,
        "limit": limit,
        "month": month_words(first.passes_on),
        "early": month_words(first.early_on),
        "late": month_words(first.late_on),
        "reading": reading_words(first.reading),
        "date": date_words(first.read_on),
    }
    more = ngettext("%(count)s more wall", "%(count)s more walls", len(others)) % {"count": len(others)}
    return f"{line}; {more}" if others else line


def obstacle_words(hindrance: Obstacle, zone: str) -> str:
    texts = {
        ("email", "no_address"): _("no email address"),
        ("text", "no_address"): _("no telephone number"),
        ("text", "no_consent"): _("no consent for text messages"),
    }
    if hindrance.at is None:
        return texts[hindrance.channel, hindrance.code]
    day = {"date": date_words(clock.local_date(zone, hindrance.at))}
    if hindrance.code == "unread":
        return _("a text of %(date)s waits to be read; see Texts that came in") % day
    if hindrance.code == "closed":
        return _("%(channel)s closed on %(date)s; see Messages") % {
            "channel": _("email") if hindrance.channel == "email" else _("text messages"),
            **day,
        }
    if hindrance.channel == "email":
        return _("opted out of email on %(date)s") % day
    return _("opted out of text messages on %(date)s") % day


def consent_words(stands: Standing, channel: str, zone: str) -> str:
    """What allows a message: texts need an agreement, mail needs that nobody opted out of it."""
    if stands.agreed_at is None:
        return _("not opted out; mail needs no more")
    words = _("agreed to email on %(date)s") if channel == "email" else _("agreed to texts on %(date)s")
    return words % {"date": date_words(clock.local_date(zone, stands.agreed_at))}


def reminded_words(at: datetime, state: str, zone: str) -> str:
    """Why a due date that was written about is not written about again."""
    day = {"date": date_words(clock.local_date(zone, at))}
    if state in ("failed", "dropped"):
        return _("a reminder of %(date)s did not go out; see Messages") % day
    return _("reminded of this on %(date)s") % day


def hold_words(hold: DueHold) -> str:
    """Why a property is held back."""
    if hold.until is None:
        return _("the customer sold the house; see Answers")
    return _("asked to be written to again from %(date)s on") % {"date": date_words(hold.until)}


def held_back_words(until: date) -> str:
    """Why a customer who was drawn for the held-back group is not written to."""
    return _("held back until %(date)s, to learn what comes anyway; see What it brought") % {"date": date_words(until)}


def wait_words(last: date, until: date) -> str:
    return _("reminded on %(last)s: wait until %(until)s") % {"last": date_words(last), "until": date_words(until)}


def finding_words(finding: Finding) -> str:
    """What is wrong with a message and what to do about it."""
    texts = {
        "no_name": _("The company's name is not in the message. Set it under Company."),
        "no_postal_address": _("Mail needs the company's postal address. Set it under Company."),
        "no_sender_email": _("There is no address to send from. Set the company's email under Company."),
        "no_phone": _("A text message needs a number to call. Set the company's telephone under Company."),
        "no_opt_out": _("The link for opting out is not in the message."),
        "site_not_https": _("The link for opting out must begin with https. Set WALLDAY_SITE_URL."),
        "claim": _(
            "This reads as a claim to act against growth, which only a registered product may make: “%(found)s”"
        ),
        "foreign_link": _("This link does not lead to your own pages: %(found)s"),
        "many_parts": _("This text message takes %(found)s parts; each part is paid for. One is better."),
    }
    return texts[finding.code] % {"found": finding.found}
