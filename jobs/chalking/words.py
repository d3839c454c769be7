"""Forecasts in words, for the office."""

from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.chalking.choices import Refusal, Since
from jobs.chalking.domain.draws import QUANTILES
from jobs.chalking.domain.forecast import level_at
from jobs.chalking.domain.seasons import dose_between
from jobs.chalking.domain.verdict import FARTHEST, SEASON, Verdict, chance_passed
from jobs.chalking.models import WallForecast
from jobs.chalking.selectors import forecast_verdict
from jobs.customers.models import Shade, Wall
from jobs.walkthroughs.domain import step_text

AHEAD = (Verdict.PROBABLY_PASSED, Verdict.THIS_SEASON, Verdict.MAY_THIS_SEASON)
ROUND_TO_PERCENT = 5


def verdict_words(found: Verdict, *, is_untested: bool = False) -> str:
    """A word or two for a tag; of an untested wall they are about the walls like it."""
    if is_untested and found in _OF_LIKE_WALLS:
        return str(_OF_LIKE_WALLS[found])
    return {
        Verdict.AT_LIMIT: _("read at the limit"),
        Verdict.HAS_PASSED: _("has passed the limit"),
        Verdict.PROBABLY_PASSED: _("has probably passed"),
        Verdict.THIS_SEASON: _("passes this season"),
        Verdict.MAY_THIS_SEASON: _("may pass this season"),
        Verdict.LATER: _("later"),
        Verdict.TOO_LITTLE: _("too little data"),
    }[found]


_OF_LIKE_WALLS = {
    Verdict.HAS_PASSED: gettext_lazy("nearly all walls like it have passed"),
    Verdict.PROBABLY_PASSED: gettext_lazy("most walls like it have passed"),
    Verdict.THIS_SEASON: gettext_lazy("walls like it pass this season"),
    Verdict.MAY_THIS_SEASON: gettext_lazy("walls like it may pass this season"),
    Verdict.LATER: gettext_lazy("walls like it pass later"),
}


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


def untested_words(row: WallForecast) -> str:
    """What nobody has read: the wall, or what it is clad in now."""
    if row.last_read_on is None:
        return _("Nobody has tested this wall.")
    if row.since_what == Since.REMOVAL:
        return _("Nobody has tested this wall since its chalk was taken off.")
    return _("Nobody has tested this siding: it was fitted after the last reading.")


def like_words(row: WallForecast, *, limit: Decimal, today: date) -> str:
    """What is told of an untested wall: `Walls like it pass 2 between May 2019 and June 2031.` Empty where refused."""
    if row.refusal or row.early_on is None or row.late_on is None:
        return ""
    early, late = (month_words(day, today=today) for day in (row.early_on, row.late_on))
    told = {"limit": step_text(limit), "early": early, "late": late}
    if row.late_on <= today:
        return _("Nine in ten walls like it had passed %(limit)s by %(late)s.") % told
    if row.late_on > today + FARTHEST:
        return _("Nine in ten walls like it pass %(limit)s only after %(early)s.") % told
    return _("Walls like it pass %(limit)s between %(early)s and %(late)s, four times in five.") % told


def refusal_words(row: WallForecast | None, *, today: date) -> str:
    """Why no day is named, and what would help. A wall without a forecast was never read, nor was any like it."""
    if row is None:
        return _("Never read. One finger test at the next visit is enough to begin.")
    if row.refusal == Refusal.NO_START:
        return _("Nobody knows since when it weathers. Write the year it was fitted, or the year the house was built.")
    if row.refusal != Refusal.TOO_WIDE or row.early_on is None:
        return ""
    is_open = row.early_on <= today
    if row.is_untested and is_open:
        return _("Walls like it may have passed already, or not for years. One finger test will tell more.")
    if is_open:
        return _("It may have passed already, or not for years. Another reading at the next visit will tell more.")
    month = {"month": month_words(row.early_on, today=today)}
    if row.is_untested:
        return _("Walls like it say only: hardly before %(month)s. One finger test will tell more.") % month
    return _("Its readings say only: hardly before %(month)s. Another one at the next visit will tell more.") % month


def since_words(row: WallForecast) -> str:
    """Since when the surface weathers, and how that is known."""
    if row.since is None:
        return _("not known")
    return {
        Since.REMOVAL: _("chalk taken off %(day)s"),
        Since.FITTED: _("fitted %(year)s"),
        Since.BUILT: _("as old as the house, %(year)s"),
        Since.WITHIN: _("as old as the house, %(year)s, or younger: only the house's year is written down"),
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

    `reading` is the wall's newest. `month`, `passes` and `interval` are empty where no day is to be named. Of an
    untested wall there is an interval but no month, and `untested` says whose it is.
    """
    if row is None:
        return {"verdict": "never", "refusal": refusal_words(None, today=today)}
    found = forecast_verdict(row, reading=reading, limit=limit, today=today)
    said: dict[str, Any] = {
        "verdict": str(found),
        "verdict_words": verdict_words(found, is_untested=row.is_untested),
        "since": since_words(row),
        "untested": untested_words(row) if row.is_untested else "",
    }
    if found == Verdict.AT_LIMIT:
        return said | {"seen": _("Seen on the wall; that goes before any forecast.")}
    if found == Verdict.TOO_LITTLE:
        return said | {"refusal": refusal_words(row, today=today)}
    chance = season_chance(row, today=today) if found in AHEAD else None
    day = None if row.is_untested else row.middle_on
    return said | {
        "month": "" if day is None else month_words(day, today=today),
        "passes": "" if day is None else passes_words(day, today=today),
        "interval": interval_words(row, today=today),
        "like": like_words(row, limit=limit, today=today) if row.is_untested else "",
        "chance": "" if chance is None else chance_words(chance),
    }
