"""Forecasts in words, for the office."""

from datetime import date
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from jobs.chalking.choices import Refusal, Since
from jobs.chalking.domain.verdict import FARTHEST, Verdict
from jobs.chalking.models import WallForecast
from jobs.chalking.selectors import forecast_verdict


def verdict_words(found: Verdict) -> str:
    """A word or two for a tag."""
    return {
        Verdict.HAS_PASSED: _("has passed the limit"),
        Verdict.PROBABLY_PASSED: _("has probably passed"),
        Verdict.THIS_SEASON: _("passes this season"),
        Verdict.MAY_THIS_SEASON: _("may pass this season"),
        Verdict.LATER: _("later"),
        Verdict.TOO_LITTLE: _("too little data"),
    }[found]


def month_words(day: date, *, today: date) -> str:
    """`May 2027`; far ones as `after 2056`."""
    if day > today + FARTHEST:
        return _("after %(year)s") % {"year": (today + FARTHEST).year}
    return date_format(day, "F Y")


def interval_words(row: WallForecast, *, today: date) -> str:
    """`October 2026 to June 2029`, for a forecast with days."""
    if row.early_on is None or row.late_on is None:
        return ""
    early, late = (month_words(day, today=today) for day in (row.early_on, row.late_on))
    return early if early == late else _("%(early)s to %(late)s") % {"early": early, "late": late}


def refusal_words(row: WallForecast | None, *, today: date) -> str:
    """Why no day is named, and what would help. A wall without a forecast was never read."""
    if row is None:
        return _("Never read. One finger test at the next visit is enough to begin.")
    if row.refusal == Refusal.NO_START:
        return _("Nobody knows since when it weathers. Write the year it was fitted, or the year the house was built.")
    if row.refusal == Refusal.TOO_EARLY:
        return _("Not read since this siding was fitted. One finger test at the next visit is enough to begin.")
    if row.refusal == Refusal.TOO_WIDE and row.early_on:
        return _("Its readings say only: hardly before %(month)s. Another one at the next visit will tell more.") % {
            "month": month_words(row.early_on, today=today)
        }
    return ""


def since_words(row: WallForecast) -> str:
    """Since when the surface weathers, and how that is known."""
    if row.since is None:
        return _("not known")
    return {
        Since.REMOVAL: _("chalk taken off %(day)s"),
        Since.FITTED: _("fitted %(year)s"),
        Since.BUILT: _("as old as the house, %(year)s"),
    }[Since(row.since_what)] % {"day": date_format(row.since, "j M Y"), "year": row.since.year}


def forecast_facts(row: WallForecast | None, today: date) -> dict[str, Any]:
    """A forecast in words: when, between when and when, the verdict, since when, and why not."""
    if row is None or row.refusal:
        verdict = "never" if row is None else "too_little"
        return {
            "verdict": verdict,
            "refusal": refusal_words(row, today=today),
            "since": since_words(row) if row else "",
        }
    found = forecast_verdict(row, today=today)
    return {
        "verdict": str(found),
        "verdict_words": verdict_words(found),
        "month": month_words(row.middle_on, today=today) if row.middle_on else "",
        "interval": interval_words(row, today=today),
        "since": since_words(row),
        "refusal": "",
    }
