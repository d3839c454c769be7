"""Forecasts in words, for the office."""

from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from jobs.chalking.choices import Refusal, Since
from jobs.chalking.domain.forecast import QUANTILES, level_at
from jobs.chalking.domain.seasons import dose_between
from jobs.chalking.domain.verdict import FARTHEST, SEASON, Verdict, chance_passed
from jobs.chalking.models import WallForecast
from jobs.chalking.selectors import forecast_verdict
from jobs.customers.models import Shade, Wall

AHEAD = (Verdict.PROBABLY_PASSED, Verdict.THIS_SEASON, Verdict.MAY_THIS_SEASON)
ROUND_TO_PERCENT = 5


def verdict_words(found: Verdict) -> str:
    """A word or two for a tag."""
    return {
        Verdict.AT_LIMIT: _("read at the limit"),
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


def passes_words(day: date, *, today: date) -> str:
    """`about May 2027`; far ones as `after 2056`, which needs no about."""
    month = month_words(day, today=today)
    return month if day > today + FARTHEST else _("about %(month)s") % {"month": month}


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
    if row.refusal == Refusal.TOO_WIDE and row.early_on and row.early_on <= today:
        return _("It may have passed already, or not for years. Another reading at the next visit will tell more.")
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
        Since.GUESSED: _("fitted about %(year)s, judged by the readings: only the house's year is written down"),
    }[Since(row.since_what)] % {"day": date_format(row.since, "j M Y"), "year": row.since.year}


def light_words(row: WallForecast, wall: Wall, *, has_place: bool, is_southern: bool) -> str:
    """How much light the wall is reckoned to get, and what that rests on where something is not written down.

    `is_southern` says on which side of the equator its property lies, or is taken to lie.
    """
    share = {"percent": round(100 * sum(row.dose_by_month))}
    said = [
        _("%(percent)s %% of an open north wall's light") % share
        if is_southern
        else _("%(percent)s %% of an open south wall's light") % share
    ]
    if wall.shade != Shade.OPEN:
        said.append(str(wall.get_shade_display()))
    if wall.facing_degrees is None:
        said.append(_("which way it looks is not written down, so the mean of all directions is taken"))
    if wall.lightness_percent is None:
        said.append(_("its colour's lightness is not written down, so a mid-tone is taken"))
    if not has_place:
        said.append(_("the property has no place, so it is taken to lie where the others do"))
    return "; ".join(said)


def gain_words(row: WallForecast, *, shape: float, today: date) -> str:
    """How much chalk the wall gains from now on: `0.2 to 0.4 a year now`, of 5. Empty where no day is named."""
    outer = (row.early_dose, row.late_dose)
    if row.refusal or row.since is None or row.since >= today or None in outer:
        return ""
    year_ahead = np.datetime64(today, "D") + 365
    since, days = np.array([row.since] * 2, dtype="datetime64[D]"), np.array([today, year_ahead], dtype="datetime64[D]")
    dose = dose_between(np.array([row.dose_by_month] * 2), since, days)
    ends = [np.diff(level_at(dose, np.full(2, at), limit=row.limit_half_steps / 2, shape=shape))[0] for at in outer]
    slow, fast = sorted(f"{gain:.1f}" for gain in ends)
    if slow == fast:
        return _("%(gain)s a year now") % {"gain": fast}
    return _("%(slow)s to %(fast)s a year now") % {"slow": slow, "fast": fast}


def season_chance(row: WallForecast, *, today: date) -> float | None:
    """The chance that the wall has passed the limit by the end of the season; None where no day is named."""
    if row.refusal or row.since is None or not (row.early_dose and row.middle_dose and row.late_dose):
        return None
    since, end = (np.array([day], dtype="datetime64[D]") for day in (row.since, today + SEASON))
    dose = float(dose_between(np.array([row.dose_by_month]), since, end)[0])
    return chance_passed(dose, (row.early_dose, row.middle_dose, row.late_dose), QUANTILES)


def chance_words(chance: float) -> str:
    """`about 35 %`; only that it is beyond where the interval ends."""
    least, most = (round(100 * share) for share in (QUANTILES[0], QUANTILES[-1]))
    percent = ROUND_TO_PERCENT * round(100 * chance / ROUND_TO_PERCENT)
    if percent <= least:
        return _("at most %(percent)s %%") % {"percent": least}
    if percent >= most:
        return _("at least %(percent)s %%") % {"percent": most}
    return _("about %(percent)s %%") % {"percent": percent}


def forecast_facts(row: WallForecast | None, *, reading: Decimal | None, limit: Decimal, today: date) -> dict[str, Any]:
    """A forecast in words: when, between when and when, the verdict, its chance, since when, and why not.

    `reading` is the wall's newest. `month`, `passes` and `interval` are empty where no day is to be named.
    """
    if row is None:
        return {"verdict": "never", "refusal": refusal_words(None, today=today)}
    found = forecast_verdict(row, reading=reading, limit=limit, today=today)
    said: dict[str, Any] = {"verdict": str(found), "verdict_words": verdict_words(found), "since": since_words(row)}
    if found == Verdict.AT_LIMIT:
        return said | {"seen": _("Seen on the wall; that goes before any forecast.")}
    if found == Verdict.TOO_LITTLE:
        return said | {"refusal": refusal_words(row, today=today)}
    chance = season_chance(row, today=today) if found in AHEAD else None
    return said | {
        "month": month_words(row.middle_on, today=today) if row.middle_on else "",
        "passes": passes_words(row.middle_on, today=today) if row.middle_on else "",
        "interval": interval_words(row, today=today),
        "chance": "" if chance is None else chance_words(chance),
    }
