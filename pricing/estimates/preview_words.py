"""What a preview says, in sentences."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from pricing.estimates.preview import PastSums, PreviewRow
from shared.units import round_half_up
from shared.web.words import money_words


def change_words(cents: int, percent: float | None, currency: str) -> str:
    """`+$40.00 (+6%)`, `-$12.00 (-2%)`, or that it stays."""
    if cents == 0:
        return _("no change")
    sign = "+" if cents > 0 else ""
    money = f"{sign}{money_words(cents, currency)}"
    return money if percent is None else f"{money} ({_signed_percent(percent)})"


def _signed_percent(percent: float) -> str:
    """Whole percent; below half a percent one place, so that a change never reads as none."""
    return f"{percent:+.1f}%" if abs(percent) < 0.95 else f"{round_half_up(percent):+d}%"


def row_change_words(row: PreviewRow, currency: str) -> str:
    """What a work's price would do, and why it stays where the card alone asks otherwise."""
    if row.before is None or row.after is None:
        return row.problem
    if row.price_change_cents == 0 and row.card_change_cents:
        words = _("no change: its hours ask %(price)s; the card alone %(before)s, then %(after)s")
        return words % {
            "price": money_words(row.after.price_cents, currency),
            "before": money_words(row.before.card_price_cents, currency),
            "after": money_words(row.after.card_price_cents, currency),
        }
    before = row.before.price_cents
    return change_words(row.price_change_cents, 100 * row.price_change_cents / before if before else None, currency)


def preview_summary(rows: Sequence[PreviewRow], currency: str) -> str:
    """How many would be priced otherwise and what that comes to; in words too where none would."""
    known = [row for row in rows if row.before and row.after]
    if not known:
        return _("No lead and no open estimate waits for a price.")
    changed = [row for row in known if row.price_change_cents]
    if not changed:
        return _unchanged(known)
    cents = sum(row.price_change_cents for row in changed)
    whole = sum(row.before.price_cents for row in known if row.before)
    words = _("%(changed)s of the %(all)s that wait would be priced otherwise: %(change)s in all.")
    change = change_words(cents, 100 * cents / whole if whole else None, currency)
    return words % {"changed": len(changed), "all": len(known), "change": change}


def _unchanged(known: Sequence[PreviewRow]) -> str:
    if any(row.card_change_cents for row in known):
        return _(
            "None of the %(all)s that wait would be priced otherwise: where the card would ask more, their hours ask "
            "more still."
        ) % {"all": len(known)}
    return _("None of the %(all)s that wait would be priced otherwise.") % {"all": len(known)}


def past_summary(sums: Sequence[PastSums], currency: str) -> str:
    """What the year's work would have been asked more; in words where that is nothing."""
    if not sums:
        return _("No work was done in the last year.")
    cents = sum(each.change_cents for each in sums)
    if not any(each.change_cents for each in sums):
        return _("The card would have asked the same for all of it.")
    before = sum(each.before_cents or 0 for each in sums)
    words = _("At the card alone, without haggling: %(change)s for the year's work.")
    return words % {"change": change_words(cents, 100 * cents / before if before else None, currency)}


def past_words(each: PastSums, currency: str) -> str:
    """What a service's work of the year would have been asked more."""
    if each.after_cents is None:
        return _("no longer on the card")
    if each.before_cents is None:
        return _("not on the card in force")
    return change_words(each.change_cents, each.change_percent, currency)
