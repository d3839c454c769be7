"""Words of this room's pages, and what is due on the pages of other rooms."""

from collections.abc import Iterable
from typing import Any

from django import template
from django.utils.translation import get_language

from jobs.customers.models import Property, Wall
from jobs.reminders.answers import Offered
from jobs.reminders.drafting import LONGEST_LEAD_DAYS
from jobs.reminders.selectors import due_list
from jobs.reminders.wording import wall_called, why_due_words
from pricing.catalogue.models import Service
from shared import clock
from shared.units import round_half_up
from shared.web.present import company_now
from shared.web.words import NOTHING, whole_money_words

register = template.Library()


@register.simple_tag
def service_words(service: Service) -> str:
    """The service's name in the reader's language, where it has one."""
    return service.name_es if get_language() == "es" and service.name_es else service.name


@register.simple_tag
def due_words(thing: Offered) -> str:
    """Why a thing is due, as its message said; empty where that was not kept."""
    today = clock.local_date(company_now().timezone, clock.now())
    return why_due_words(thing.cause, today) if thing.cause else ""


@register.filter
def called(walls: Iterable[Wall]) -> str:
    """Walls by name in the reader's language: `the south wall, the west wall`."""
    language = get_language() or "en"
    return ", ".join(wall_called(wall.name, wall.kind, wall.facing_degrees, language) for wall in walls)


@register.filter
def points(difference: float) -> str:
    """A difference of two shares in percentage points: `0.125` -> `+12.5`."""
    return f"{round_half_up(1000 * difference) / 10:+.1f}"


@register.filter
def whole_money(cents: int | None) -> str:
    """Cents as an amount without cents where there are none."""
    return NOTHING if cents is None else whole_money_words(round_half_up(cents / 100) * 100, company_now().currency)


@register.inclusion_tag("reminders/parts/property_due.html")
def property_due(place: Property) -> dict[str, Any]:
    """What makes a property due first, and why; what comes after it."""
    today = clock.local_date(company_now().timezone, clock.now())
    found = due_list(today=today, lead_days=LONGEST_LEAD_DAYS, property_ids=[place.pk])
    return {"first": found[0] if found else None, "later": found[1:], "today": today}
