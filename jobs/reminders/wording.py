"""Dates, walls, reasons and findings in words, for the office and for the homeowner."""

from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache

from dateutil.relativedelta import relativedelta
from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from jobs.reminders.domain.consent import Obstacle
from jobs.reminders.domain.due import Cause, ForecastFact, IntervalFact, ReadingFact
from jobs.reminders.domain.lint import Finding, claims, fears, links
from jobs.reminders.domain.own_words import CauseKind
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
    return _month_words(day.year, day.month, language or translation.get_language() or "en")


@lru_cache(maxsize=4096)
def _month_words(year: int, month: int, language: str) -> str:
    with translation.override(language):
        return date_format(date(year, month, 1), r"F \d\e Y" if language.startswith("es") else "F Y")


def short_month_words(day: date, language: str) -> str:
    """`May 2027`, or `mayo 2027`: for a text message."""
    with translation.override(language):
        return date_format(day, "M Y")


@lru_cache(maxsize=64)
def reading_words(reading: Decimal) -> str:
    """`3` or `2.5`."""
    return f"{reading.normalize():f}"


def wall_words(wall: ReadingFact | ForecastFact, language: str) -> str:
    """`the south wall`: by the name that the office gave it; in Spanish by kind and facing, where they are known."""
    return wall_called(wall.wall_name, wall.wall_kind, wall.facing_degrees, language)


def wall_called(name: str, kind: str, facing_degrees: int | None, language: str) -> str:
    """The same of any wall."""
    if language == "es":
        return _spanish_wall(name, kind, facing_degrees)
    return name if name.lower().startswith("the ") else f"the {lower_first(name)}"


def _spanish_wall(name: str, kind: str, facing_degrees: int | None) -> str:
    if kind in _SPANISH_KINDS:
        return _SPANISH_KINDS[kind]
    if facing_degrees is None:
        return f"la pared «{name}»"
    return f"la pared {_SPANISH_SIDES[round(facing_degrees / 45) % 8]}"


def lower_first(text: str) -> str:
    """`House wash` inside a sentence; a word in capitals stays as it is."""
    return text if text[1:2].isupper() else text[:1].lower() + text[1:]


def reason_words(cause: Cause, service_name: str) -> str:
    """Why it is due, in one plain line for the office."""
    fact, more, limit = cause.fact, cause.more_walls, cause.limit
    if isinstance(fact, IntervalFact):
        return interval_words(service_name, fact.interval_months, fact.last_done_on, fact.next_due_on)
    if isinstance(fact, ReadingFact):
        return read_words(fact.wall_name, reading_words(fact.reading), fact.read_on, more, reading_words(limit))
    days = (fact.passes_on, fact.early_on, fact.late_on)
    read = (reading_words(fact.reading), fact.read_on)
    return expected_words(fact.wall_name, *days, *read, more, reading_words(limit))


def interval_words(service_name: str, months: int, last_done_on: date | None, due_on: date) -> str:
    """`House wash every 12 months, last done 3 May 2025`."""
    often = ngettext(
        "%(service)s every month", "%(service)s every %(months)s months", months
    ) % {"service": service_name, "months": months}  # fmt: skip
    if last_done_on is None:
        return _("%(often)s, due %(date)s") % {"often": often, "date": date_words(due_on)}
    return _("%(often)s, last done %(date)s") % {"often": often, "date": date_words(last_done_on)}


_READ = gettext_noop("%(wall)s read %(reading)s of 5 on %(date)s, no removal since")
_EXPECTED = gettext_noop(
    "%(wall)s expected to pass %(limit)s about %(month)s (%(early)s to %(late)s); read %(reading)s on %(date)s"
)


@lru_cache(maxsize=64)  # looking up the language and the text for each line of a long due list takes half of its time
def _template(message: str, language: str) -> str:
    with translation.override(language):
        return _(message)


def read_words(wall_name: str, reading: str, read_on: date, more_walls: int, limit: str, language: str = "") -> str:
    """`south wall read 3 of 5 on 2 June 2025, no removal since; 1 more wall at 2 or above`, from readings in words; in
    the reader's language unless that is given."""
    language = language or translation.get_language() or "en"
    line = _template(_READ, language) % {
        "wall": wall_name,
        "reading": reading,
        "date": _date_words(read_on, language),
    }
    if not more_walls:
        return line
    more = ngettext(
        "%(count)s more wall at %(limit)s or above", "%(count)s more walls at %(limit)s or above", more_walls
    )
    return f"{line}; {more % {'count': more_walls, 'limit': limit}}"


def expected_words(
    wall_name: str, passes_on: date, early_on: date, late_on: date, reading: str, read_on: date, more_walls: int,
    limit: str, language: str = "",
) -> str:  # fmt: skip
    """`south wall expected to pass 2 about June 2026 (June 2025 to July 2028); read 1.5 on 1 May 2025`, likewise."""
    language = language or translation.get_language() or "en"
    line = _template(_EXPECTED, language) % {
        "wall": wall_name,
        "limit": limit,
        "month": month_words(passes_on, language),
        "early": month_words(early_on, language),
        "late": month_words(late_on, language),
        "reading": reading,
        "date": _date_words(read_on, language),
    }
    if not more_walls:
        return line
    return f"{line}; {ngettext('%(count)s more wall', '%(count)s more walls', more_walls) % {'count': more_walls}}"


def why_due_words(cause: Cause, today: date) -> str:
    """Why it is due, for the homeowner, in one sentence: what the message said. Empty where the lint of messages would
    not let it pass, such as for the name that somebody gave a wall."""
    fact = cause.fact
    words = _since_words(fact, today) if isinstance(fact, IntervalFact) else _wall_read_words(fact, cause)
    return "" if claims(words) or fears(words) or links(words) else words


def _since_words(fact: IntervalFact, today: date) -> str:
    """`We last did this on 3 May 2025, 13 months ago.`"""
    if fact.last_done_on is None:
        return _("We have this down for about %(date)s.") % {"date": date_words(fact.next_due_on)}
    since = relativedelta(today, fact.last_done_on)
    months = 12 * since.years + since.months
    date = {"date": date_words(fact.last_done_on)}
    if months < 1:
        return _("We last did this on %(date)s.") % date
    words = ngettext(
        "We last did this on %(date)s, %(months)s month ago.", "We last did this on %(date)s, %(months)s months ago.",
        months,
    )  # fmt: skip
    return words % {**date, "months": months}


def _wall_read_words(fact: ReadingFact | ForecastFact, cause: Cause) -> str:
    """`On 2 June 2025 the chalk on the south wall read 3 on our scale of 0 (none) to 5.`"""
    known = {
        "date": date_words(fact.read_on),
        "wall": wall_words(fact, translation.get_language() or "en"),
        "reading": reading_words(fact.reading),
    }
    if isinstance(fact, ReadingFact):
        return _("On %(date)s the chalk on %(wall)s read %(reading)s on our scale of 0 (none) to 5.") % known
    words = _(
        "On %(date)s the chalk on %(wall)s read %(reading)s on our scale of 0 (none) to 5, and we expect it to pass "
        "%(limit)s about %(month)s (four times in five between %(early)s and %(late)s)."
    )
    days = {"month": fact.passes_on, "early": fact.early_on, "late": fact.late_on}
    months = {name: month_words(day) for name, day in days.items()}
    return words % {**known, **months, "limit": reading_words(cause.limit)}


def cause_words(cause: CauseKind) -> str:
    """What makes a thing due, as a heading."""
    return {
        CauseKind.INTERVAL: _("By the time since it was done"),
        CauseKind.READING: _("A wall that was read"),
        CauseKind.FORECAST: _("A wall that is expected to pass the limit"),
    }[cause]


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


def consent_words(agreed_on: date | None, channel: str) -> str:
    """What allows a message: texts need an agreement, mail needs that nobody opted out of it."""
    if agreed_on is None:
        return _("not opted out; mail needs no more")
    words = _("agreed to email on %(date)s") if channel == "email" else _("agreed to texts on %(date)s")
    return words % {"date": date_words(agreed_on)}


def reminded_words(at: datetime, state: str, zone: str) -> str:
    """Why a due date that was written about is not written about again."""
    day = {"date": date_words(clock.local_date(zone, at))}
    if state in ("failed", "dropped"):
        return _("a reminder of %(date)s did not go out; see Messages") % day
    return _("reminded of this on %(date)s") % day


def hold_words(until: date | None) -> str:
    """Why a property is held back."""
    if until is None:
        return _("the customer sold the house; see Answers")
    return _("asked to be written to again from %(date)s on") % {"date": date_words(until)}


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
        "fear": _("This presses or frightens, which reminders never do: “%(found)s”"),
        "unknown_field": _("There is nothing to put in for {%(found)s} here."),
        "stray_brace": _("A brace stands alone: %(found)s. Fields are written like {street}."),
        "own_link": _("Leave links out, such as %(found)s: the answer’s link stands below by itself."),
        "too_long": _("The words have at most %(found)s characters."),
        "many_parts": _("This text message takes %(found)s parts; each part is paid for. One is better."),
    }
    return texts[finding.code] % {"found": finding.found}
