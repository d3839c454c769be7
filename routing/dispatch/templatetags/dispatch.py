"""Words of the crew's pages: `{% load dispatch %}`."""

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from jobs.walkthroughs.domain import STEPS, step_text
from routing.dispatch.models import MarkKind

register = template.Library()


@register.simple_tag
def mark_words(kind: str) -> str:
    """arrived, started, finished."""
    return str(MarkKind(kind).label)


@register.simple_tag
def chalk_options() -> SafeString:
    """The entries of a list of chalk readings, "not read" first."""
    entries = format_html_join(
        "", '<option value="{}">{}</option>', ((step_text(step), step_text(step)) for step in STEPS)
    )
    return format_html('<option value="">{}</option>{}', _("not read"), entries)
