"""The report in words, the same on the page and in the terminal."""

from django.utils.translation import gettext as _

from pricing.earnings.domain.report import KindEarnings, PerCrewHour
from pricing.earnings.domain.verdict import Verdict
from shared.money import format_cents


def verdict_word(verdict: Verdict) -> str:
    """The verdict as it is said."""
    return {
        Verdict.BELOW: _("below"),
        Verdict.ABOVE: _("above"),
        Verdict.NOT_ENOUGH: _("not enough to tell"),
    }[verdict]


def interval_words(per_crew_hour: PerCrewHour | None) -> str:
    """Both ends of the interval; a dash where the jobs cannot bound it."""
    if per_crew_hour is None or per_crew_hour.low_cents is None or per_crew_hour.high_cents is None:
        return "–"
    return _("%(low)s to %(high)s") % {
        "low": format_cents(per_crew_hour.low_cents),
        "high": format_cents(per_crew_hour.high_cents),
    }


def remedy_sentence(kind: KindEarnings, target_cents: int) -> str:
    """For a kind below the target: how far, and what would reach it. Empty for the others."""
    if kind.verdict != Verdict.BELOW or kind.earned is None:
        return ""
    fall_short = _("%(name)s earns %(earned)s a crew-hour, %(short)s below the target.") % {
        "name": kind.sums.service_name,
        "earned": format_cents(kind.earned.cents),
        "short": format_cents(target_cents - kind.earned.cents),
    }
    return f"{fall_short} {_cure(kind)}"


def _cure(kind: KindEarnings) -> str:
    if kind.remedy is None:
        return _("It brought in nothing, so no percentage reaches the target.")
    return _(
        "Prices %(percent)s %% higher reach it at the present hours (%(more)s more a job), "
        "or %(minutes)s crew-minutes less a job at the present prices (now %(now)s)."
    ) % {
        "percent": kind.price_rise_percent,
        "more": format_cents(kind.price_rise_cents_per_job or 0),
        "minutes": kind.minutes_to_save_per_job,
        "now": kind.crew_minutes_per_job,
    }
