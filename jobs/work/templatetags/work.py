"""Words about jobs for templates: `{% load work %}`."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.customers.models import Property, Wall
from jobs.walkthroughs.models import ChalkReading
from jobs.walkthroughs.words import reading_words
from jobs.work.met import notes_of_house
from jobs.work.models import Job, JobLine
from jobs.work.selectors import poured_list, poured_on_wall
from shared import clock
from shared.web.present import company_now

register = template.Library()
SHOWN = 40  # entries of a wall

STEP_BUTTONS = {
    "estimate": gettext_lazy("Price was given"),
    "agree": gettext_lazy("Customer agreed"),
    "agree_again": gettext_lazy("Put back to agreed"),
    "decline": gettext_lazy("Decline"),
    "call_off": gettext_lazy("Call off"),
}


@register.simple_tag
def step_words(step: str) -> str:
    """What the button of a step says."""
    return str(STEP_BUTTONS[step])


@register.simple_tag
def chalk_words(wall: Wall, readings: Mapping[int, ChalkReading], removals: Mapping[int, date]) -> str:
    """The newest chalk reading of a wall, and whether the chalk was taken off since."""
    return reading_words(readings.get(wall.pk), removals.get(wall.pk))


@register.simple_tag
def job_line_name(lines: Sequence[JobLine], index: int) -> str:
    """The service of a line of the booking form; the form has one part for each line, in their order."""
    return lines[index].service.name if index < len(lines) else _("unknown line")


@register.inclusion_tag("work/parts/poured.html", takes_context=True)
def job_poured(context: dict[str, Any], job: Job) -> dict[str, Any]:
    """What was poured and rinsed on a job, what met there, and the page's form to answer for a rinse."""
    zone = company_now().timezone
    notes = notes_of_house(property_id=job.property_id, now=clock.now(), zone=zone)
    return {
        "csrf_token": context.get("csrf_token"),
        "job": job,
        "rows": poured_list(job_id=job.pk),
        "met": notes.for_job(job.pk),
        "unrinsed": notes.unrinsed,
        "may_confirm": bool(notes.unrinsed) or any(not note.is_rinsed for note in notes.met),
        "walls": job.property.walls.all() if notes.unrinsed or notes.met else (),
        "form": context["confirm_form"],
        "zone": zone,
    }


@register.inclusion_tag("work/parts/poured.html")
def wall_poured(wall: Wall) -> dict[str, Any]:
    """What was poured on a wall and on its whole house, newest first, and what met on it."""
    zone = company_now().timezone
    notes = notes_of_house(property_id=wall.property_id, now=clock.now(), zone=zone)
    return {"rows": poured_on_wall(wall=wall)[:SHOWN], "met": notes.for_wall(wall.pk), "zone": zone}


@register.inclusion_tag("work/parts/met.html")
def property_met(place: Property) -> dict[str, Any]:
    """What met at a house, newest first, and what is not rinsed there."""
    notes = notes_of_house(property_id=place.pk, now=clock.now(), zone=company_now().timezone)
    return {"met": notes.met, "unrinsed": notes.unrinsed}
