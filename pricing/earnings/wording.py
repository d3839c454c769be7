"""The report in words, the same on the page and in the terminal."""

from fractions import Fraction

from django.utils.translation import gettext as _

from pricing.earnings.domain.report import KindEarnings, PerCrewHour
from pricing.earnings.domain.verdict import Verdict
from shared.money import format_cents
from shared.units import minutes_to_hours, round_half_up

NOTHING = "–"


def verdict_word(verdict: Verdict) -> str:
    """The verdict as it is said."""
    return {
        Verdict.BELOW: _("below"),
        Verdict.ABOVE: _("above"),
        Verdict.NOT_ENOUGH: _("not enough to tell"),
    }[verdict]


def hourly_words(per_crew_hour: PerCrewHour | None, currency: str) -> str:
    """The estimate in whole units of money; the interval is wider than a unit anyway."""
    return whole_money(per_crew_hour.cents, currency) if per_crew_hour else NOTHING


def interval_words(per_crew_hour: PerCrewHour | None, currency: str) -> str:
    """Both ends of the interval; a dash where the jobs cannot bound it."""
    if per_crew_hour is None or per_crew_hour.low_cents is None or per_crew_hour.high_cents is None:
        return NOTHING
    return _("%(low)s to %(high)s") % {
        "low": whole_money(per_crew_hour.low_cents, currency),
        "high": whole_money(per_crew_hour.high_cents, currency),
    }


def crew_hours_words(crew_minutes: int) -> str:
    """Hours with one decimal: sums of many days read badly as hours and minutes."""
    return f"{minutes_to_hours(crew_minutes):,.1f}"


def whole_money(cents: int, currency: str) -> str:
    """`12345` -> `$123`."""
    return format_cents(round_half_up(Fraction(cents, 100)) * 100, currency).removesuffix(".00")


def remedy_sentence(kind: KindEarnings, target_cents: int, currency: str) -> str:
    """For a kind below the target: how far, and what would reach it. Empty for the others."""
    if kind.verdict != Verdict.BELOW or kind.earned is None:
        return ""
    fall_short = _("%(name)s earns %(earned)s a crew-hour, %(short)s below the target.") % {
        "name": kind.sums.service_name,
        "earned": whole_money(kind.earned.cents, currency),
        "short": whole_money(target_cents - kind.earned.cents, currency),
    }
    return f"{fall_short} {_cure(kind, currency)}"


def _cure(kind: KindEarnings, currency: str) -> str:
    if kind.price_rise_cents_per_job is None:
        return _("It brought in nothing, so no rise in percent reaches the target.")
    return _(
        "Prices %(percent)s%% higher reach it at the present hours (%(more)s more a job); "
        "so do %(minutes)s crew-minutes less a job at the present prices (now %(now)s)."
    ) % {
        "percent": kind.price_rise_percent,
        "more": whole_money(kind.price_rise_cents_per_job, currency),
        "minutes": kind.minutes_to_save_per_job,
        "now": kind.crew_minutes_per_job,
    }
