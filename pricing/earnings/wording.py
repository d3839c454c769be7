"""The report in words, the same on the page and in the terminal."""

from collections.abc import Callable
from fractions import Fraction

from django.utils.translation import gettext as _

from pricing.earnings.domain.breakdown import Breakdown
from pricing.earnings.domain.remedy import Range
from pricing.earnings.domain.report import Decision, GroupEarnings, PerCrewHour
from pricing.earnings.domain.split import Cause
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


def breakdown_word(by: Breakdown) -> str:
    """The head of the first column."""
    return {
        Breakdown.SERVICE: _("Kind of job"),
        Breakdown.STOREYS: _("Storeys"),
        Breakdown.TOWN_PART: _("Part of town"),
        Breakdown.CREW: _("Crew"),
        Breakdown.SOURCE: _("Source of the lead"),
        Breakdown.CUSTOMER: _("New or returning"),
        Breakdown.MONTH: _("Month"),
    }[by]


def cause_words(cause: Cause) -> str:
    """One part of a shortfall."""
    return {
        Cause.CARD: _("the card's own price"),
        Cause.PRICE: _("price against the card"),
        Cause.MINUTES: _("minutes over the estimate"),
        Cause.DRIVING: _("driving"),
        Cause.CALLBACKS: _("free return visits"),
        Cause.REFUNDS: _("refunds"),
    }[cause]


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


def whole_money(cents: float, currency: str) -> str:
    """`12345` -> `$123`."""
    return format_cents(round_half_up(Fraction(cents) / 100) * 100, currency).removesuffix(".00")


def decision_words(group: GroupEarnings) -> str:
    """What to do, in a few words: `Raise Deck wash by 22%`; empty for a group that is not below."""
    names = {"name": group.sums.name, "percent": _percent(group), "minutes": _minutes(group)}
    if group.decision == Decision.STOP:
        return _("Stop %(name)s, or raise it by %(percent)s") % names if _percent(group) else _("Stop %(name)s") % names
    if group.decision == Decision.RAISE and _percent(group):
        return _("Raise %(name)s by %(percent)s") % names
    return _("Save %(minutes)s crew-minutes a job: %(name)s") % names if group.decision else ""


def remedy_sentence(group: GroupEarnings, target_cents: int, currency: str) -> str:
    """For a group below the target: how far, and what would reach it. Empty for the others."""
    short = short_sentence(group, target_cents, currency)
    return " ".join(filter(None, (short, _price_cure(group, currency), _time_cure(group)))) if short else ""


def short_sentence(group: GroupEarnings, target_cents: int, currency: str) -> str:
    """How far a group is below the target; empty for the others."""
    if group.verdict != Verdict.BELOW or group.earned is None:
        return ""
    return _("%(name)s earns %(earned)s a crew-hour, %(short)s below the target.") % {
        "name": group.sums.name,
        "earned": whole_money(group.earned.cents, currency),
        "short": whole_money(target_cents - group.earned.cents, currency),
    }


def choices_of(group: GroupEarnings, currency: str) -> list[str]:
    """What can be done about a group below the target, each with its 90 % interval."""
    if group.decision is None:
        return []
    ways = [_time_way(group), _elsewhere_way(group, currency)]
    if group.decision != Decision.SAVE_TIME:
        ways.insert(0, _price_way(group, currency))
    return [way for way in ways if way]


def why_sentence(group: GroupEarnings, currency: str) -> str:
    """The largest causes of what an hour falls short, most first."""
    found = group.shortfall_per_crew_hour
    if group.decision is None or found is None:
        return ""
    worst = [part for part in sorted(found.parts, key=lambda part: -part[1]) if part[1] * 10 >= found.total_cents][:3]
    causes = ", ".join(f"{whole_money(cents, currency)} {cause_words(cause)}" for cause, cents in worst)
    return _("What takes most from each crew-hour: %(causes)s.") % {"causes": causes}


def _percent(group: GroupEarnings) -> str:
    return f"{int(group.price_rise_percent.value)}%" if group.price_rise_percent else ""


def _minutes(group: GroupEarnings) -> str:
    return str(int(group.minutes_to_save_per_job.value)) if group.minutes_to_save_per_job else ""


def _price_cure(group: GroupEarnings, currency: str) -> str:
    if group.price_rise_percent is None or group.price_rise_cents_per_job is None:
        return _("It brought in nothing, so no rise in percent reaches the target.")
    return _("Prices %(percent)s higher reach it at the present hours (%(more)s more a job);") % {
        "percent": _percent(group),
        "more": whole_money(group.price_rise_cents_per_job.value, currency),
    }


def _time_cure(group: GroupEarnings) -> str:
    if group.price_rise_percent is None:
        return ""
    return _("so do %(minutes)s crew-minutes less a job at the present prices (now %(now)s).") % {
        "minutes": _minutes(group),
        "now": group.crew_minutes_per_job,
    }


def _price_way(group: GroupEarnings, currency: str) -> str:
    percent, more = group.price_rise_percent, group.price_rise_cents_per_job
    if percent is None or more is None:
        return _("It brought in nothing, so no rise in percent reaches the target.")
    return _("Raise prices by %(percent)s%(range)s at the present hours: %(more)s more a job%(more_range)s.") % {
        "percent": _percent(group),
        "range": _range_words(percent, lambda value: f"{int(value)}%"),
        "more": whole_money(more.value, currency),
        "more_range": _range_words(more, lambda cents: whole_money(cents, currency)),
    }


def _time_way(group: GroupEarnings) -> str:
    saved = group.minutes_to_save_per_job
    if saved is None:
        return ""
    return _("Or save %(minutes)s%(range)s of the %(now)s crew-minutes that a job takes, at the present prices.") % {
        "minutes": _minutes(group),
        "range": _range_words(saved, lambda value: str(int(value))),
        "now": group.crew_minutes_per_job,
    }


def _elsewhere_way(group: GroupEarnings, currency: str) -> str:
    """What dropping it is worth; only where that is a choice and other work earns more."""
    gain = group.elsewhere_cents
    if gain is None or gain.value <= 0 or group.others_cents_per_crew_hour is None:
        return ""
    return _(
        "Or do without: its %(hours)s crew-hours at what all other work earns, %(others)s an hour, would have "
        "brought %(gain)s more%(range)s, if they could have been filled."
    ) % {
        "hours": crew_hours_words(group.crew_minutes),
        "others": whole_money(group.others_cents_per_crew_hour, currency),
        "gain": whole_money(gain.value, currency),
        "range": _range_words(gain, lambda cents: whole_money(cents, currency)),
    }


def _range_words(found: Range, write: Callable[[float], str]) -> str:
    """` (12% to 30%)`, or nothing where the jobs cannot bound the figure."""
    if found.low is None or found.high is None:
        return ""
    return _(" (%(low)s to %(high)s)") % {"low": write(found.low), "high": write(found.high)}
