"""Advice in sentences."""

from django.utils.translation import gettext as _

from pricing.triage.domain.closing import Band
from pricing.triage.domain.leads import Advice, Judged
from shared.web.words import day_words, money_words

MOST_DAYS = 3


def advice_words(row: Judged, currency: str) -> str:
    """The advice with its price or days."""
    if row.advice == Advice.TAKE:
        return _("Take")
    if row.advice == Advice.TAKE_AT and row.ask_cents is not None:
        return _("Take at %(price)s or more") % {"price": money_words(row.ask_cents, currency)}
    if row.advice == Advice.THIN_DAY:
        return _("Only on a thin day")
    return _("Decline kindly")


def why_words(row: Judged, currency: str) -> str:
    """What the advice rests on."""
    if row.best is None:
        return _("No crew with the skills works on its days, or no road leads there.")
    words = _("Its hours are worth %(worth)s on the best day, with materials %(least)s; it brings %(price)s.")
    return words % {
        "worth": money_words(row.hours_worth_cents, currency),
        "least": money_words(row.best.least_price_cents, currency),
        "price": money_words(row.lead.price_cents, currency),
    }


def days_words(row: Judged) -> tuple[str, ...]:
    """The days on which it pays, nearest crew first; without any, the best day there is."""
    chosen = sorted(row.good, key=lambda fit: (not fit.has_room, fit.detour_minutes, fit.work_date))
    fits = chosen[:MOST_DAYS] or ([row.best] if row.best else [])
    lines = []
    for fit in fits:
        words = _("%(day)s, crew %(crew)s, %(minutes)s min out of the way")
        line = words % {"day": day_words(fit.work_date), "crew": fit.crew, "minutes": fit.detour_minutes}
        lines.append(line if fit.has_room else line + _(", in place of other work"))
    return tuple(lines)


def band_words(band: Band) -> str:
    """Prices of a band against the card."""
    if band.from_percent is None:
        return _("below %(to)s %% of the card") % {"to": band.to_percent}
    if band.to_percent is None:
        return _("%(first)s %% of the card and more") % {"first": band.from_percent}
    return _("%(first)s to %(to)s %% of the card") % {"first": band.from_percent, "to": band.to_percent}
