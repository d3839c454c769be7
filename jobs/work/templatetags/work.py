"""Words about jobs for templates: `{% load work %}`."""

from collections.abc import Mapping, Sequence
from datetime import date

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.customers.models import Wall
from jobs.walkthroughs.models import ChalkReading
from jobs.walkthroughs.words import reading_words
from jobs.work.models import JobLine

register = template.Library()

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
