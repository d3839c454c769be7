"""From chosen due things to one draft for each customer. Reads only: the preview shows it, the queue does it again."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.customers.models import Property
from jobs.reminders.composing import Draft, OwnWordsBook, compose
from jobs.reminders.domain.due import property_of_key
from jobs.reminders.own_words import own_words_book
from jobs.reminders.selectors import DueItem, due_list
from shared import clock
from shared.company.models import Company
from shared.company.selectors import company_get
from shared.errors import Refused

MOST_AT_ONCE = 2000
LONGEST_LEAD_DAYS = 3660


@dataclass(frozen=True)
class Group:
    """The chosen keys of one customer; no customer where the property is unknown."""

    customer_id: int | None
    keys: tuple[str, ...]


@dataclass(frozen=True)
class Skipped:
    """A due thing that was chosen and will not be written about, and why."""

    key: str
    reason: str


@dataclass(frozen=True)
class Drafted:
    """What a group comes to as things stand: its message, if any, and what is left out of it."""

    draft: Draft | None
    skipped: tuple[Skipped, ...]


def skipped_words(skipped: Sequence[Skipped]) -> list[str]:
    """One line for each reason: whom it concerns, the first three by name, and why."""
    by_reason: dict[str, dict[str, None]] = {}
    names = _names_of(skipped)
    for skip in skipped:
        by_reason.setdefault(skip.reason, {})[names.get(skip.key, _("somebody who is gone"))] = None
    return [f"{_first_three(list(people))}: {reason}" for reason, people in by_reason.items()]


def _names_of(skipped: Sequence[Skipped]) -> dict[str, str]:
    """The customer's name by key; none for a property that is gone."""
    places = {skip.key: property_of_key(skip.key) for skip in skipped}
    names = dict(Property.objects.filter(pk__in=set(places.values())).values_list("pk", "customer__name"))
    return {key: names[place] for key, place in places.items() if place in names}


def _first_three(people: list[str]) -> str:
    named, others = ", ".join(people[:3]), len(people) - 3
    if others < 1:
        return named
    return ngettext("%(named)s and %(count)s other", "%(named)s and %(count)s others", others) % {
        "named": named,
        "count": others,
    }


def groups_of(keys: Iterable[str]) -> list[Group]:
    """Keys by customer, in the order in which the customers first come.

    Raises Refused for a key that cannot be read or for more than 2000 of them.
    """
    wanted = list(dict.fromkeys(keys))
    if len(wanted) > MOST_AT_ONCE:
        raise Refused(_("Choose at most %(most)s at once.") % {"most": MOST_AT_ONCE})
    try:
        places = {key: property_of_key(key) for key in wanted}
    except ValueError as error:
        raise Refused(str(error)) from error
    owners = dict(Property.objects.filter(pk__in=set(places.values())).values_list("pk", "customer_id"))
    groups: dict[int | None, list[str]] = {}
    for key in wanted:
        groups.setdefault(owners.get(places[key]), []).append(key)
    return [Group(customer_id, tuple(mine)) for customer_id, mine in groups.items()]


def drafts_of(groups: Sequence[Group], *, now: datetime) -> list[Drafted]:
    """One draft for each group, from one look at the due list."""
    company = company_get()
    today = clock.local_date(company.timezone, now)
    items, own_words = _items_of(groups, company, today), own_words_book()
    return [_drafted(group, items.get(group.customer_id, {}), company, today, own_words) for group in groups]


def _items_of(groups: Sequence[Group], company: Company, today: date) -> dict[int | None, dict[str, DueItem]]:
    """All that is due at the customers' properties, chosen or not, by customer and key."""
    customers = [group.customer_id for group in groups if group.customer_id is not None]
    places = list(Property.objects.filter(customer_id__in=customers).values_list("pk", flat=True))
    found: dict[int | None, dict[str, DueItem]] = {}
    for item in due_list(today=today, lead_days=_lead_days(groups, company, today), property_ids=places):
        found.setdefault(item.customer_id, {})[item.key] = item
    return found


def _lead_days(groups: Sequence[Group], company: Company, today: date) -> int:
    """Far enough to reach the last date chosen: the office may choose from a list with a longer lead."""
    dates = [key.rpartition(":")[2] for group in groups for key in group.keys]
    days = [(date.fromisoformat(day) - today).days for day in dates if _is_date(day)]
    return min(max([company.reminder_lead_days, *days]), LONGEST_LEAD_DAYS)


def _is_date(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _drafted(
    group: Group, items: dict[str, DueItem], company: Company, today: date, own_words: OwnWordsBook
) -> Drafted:
    ready = [items[key] for key in group.keys if key in items and items[key].is_ready]
    chosen = {item.key for item in ready}
    skipped = tuple(Skipped(key, _why_not(items.get(key))) for key in group.keys if key not in chosen)
    if not ready:
        return Drafted(None, skipped)
    also_due = [item for item in items.values() if item.is_ready and item.key not in chosen]
    earliest_first = sorted(ready, key=lambda item: (item.due_on, item.key))
    draft = compose(earliest_first, company, today=today, also_due=also_due, own_words=own_words)
    return Drafted(draft, skipped)


def _why_not(item: DueItem | None) -> str:
    return item.why_not if item else _("It is not due any more.")
