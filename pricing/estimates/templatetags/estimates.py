"""Words about estimates for templates: `{% load estimates %}`."""

from collections.abc import Sequence
from typing import Any

from django import template
from django.urls import reverse
from django.utils.translation import gettext as _

from pricing.estimates.estimate_words import line_name, option_name, tax_words
from pricing.estimates.links import estimate_token
from pricing.estimates.models import Estimate, EstimateLine, SentEstimate
from pricing.estimates.selectors import OptionView, ends_soon, estimates_of_job, is_over, option_views
from shared import clock
from shared.web.present import company_now

register = template.Library()
register.filter("tax_rate", tax_words)


@register.simple_tag
def option_title(view: OptionView) -> str:
    return option_name(view.option.name, view.lines)


@register.simple_tag
def line_title(line: EstimateLine) -> str:
    return line_name(line)


@register.simple_tag
def line_legend(lines: Sequence[EstimateLine], index: int) -> str:
    """The line of the changing form; the form has one part for each line, in their order."""
    return line_name(lines[index]) if index < len(lines) else _("unknown line")


@register.simple_tag
def drive_words(estimate: Estimate) -> str:
    """Where the share of driving comes from, in a sentence."""
    parts = [estimate.get_drive_basis_display()]
    if estimate.drive_days:
        parts.append(_("%(days)s days") % {"days": estimate.drive_days})
    if estimate.drive_source:
        parts.append(estimate.drive_source)
    return _("Driving: %(basis)s.") % {"basis": ", ".join(parts)}


@register.simple_tag
def homeowner_link(sent: SentEstimate) -> str:
    return reverse("estimates:opened", args=[estimate_token(sent.pk)])


@register.inclusion_tag("estimates/parts/of_job.html")
def job_estimates(job: Any) -> dict[str, Any]:
    """The estimates for a job, and the way to a new one; for one past being estimated it is for further work."""
    today = clock.local_date(company_now().timezone, clock.now())
    rows = [
        {
            "estimate": row,
            "views": option_views(row),
            "is_over": is_over(row, today),
            "ends_soon": ends_soon(row, today),
        }
        for row in estimates_of_job(job_ref=job.pk)
    ]
    return {"job": job, "rows": rows, "may_estimate": job.state not in ("declined", "called_off")}
