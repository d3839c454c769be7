"""Walkthroughs on the pages of other rooms: `{% load walkthroughs %}`."""

from typing import Any

from django import template
from django.utils import translation
from django.utils.translation import gettext as _

from jobs.customers.models import Property
from jobs.walkthroughs.domain import must_be_shown, step_text
from jobs.walkthroughs.models import Notice, OfflineAnswer, Photo, Walkthrough, WallFinding
from jobs.walkthroughs.notice_words import statement_words
from jobs.walkthroughs.selectors import start_gate
from jobs.walkthroughs.selectors.removal import may_open_removal, removal_job
from jobs.walkthroughs.selectors.walkthroughs import walkthrough_list
from jobs.walkthroughs.words import photo_words, wall_name
from jobs.work.choices import JobState
from jobs.work.models import Job

register = template.Library()
BEFORE_WORK = (JobState.LEAD, JobState.ESTIMATED, JobState.AGREED, JobState.PLANNED, JobState.ON_SITE)


@register.inclusion_tag("walkthroughs/parts/office.html", takes_context=True)
def job_walkthroughs(context: dict[str, Any], job: Job) -> dict[str, Any]:
    """Walkthroughs and notices of a job, and whether it may start."""
    user = getattr(context.get("request"), "user", None)
    return {
        "csrf_token": context.get("csrf_token"),
        "company": context.get("company"),
        "job": job,
        "rows": walkthrough_list(job=job),
        "gate": start_gate(job_id=job.pk) if job.state in BEFORE_WORK else None,
        "may_override": getattr(user, "is_owner", False),
        "may_settle": getattr(user, "is_office", False),
    }


@register.inclusion_tag("walkthroughs/parts/office.html", takes_context=True)
def property_walkthroughs(context: dict[str, Any], place: Property) -> dict[str, Any]:
    """Every walkthrough of a property, newest first."""
    return {
        "csrf_token": context.get("csrf_token"),
        "company": context.get("company"),
        "rows": walkthrough_list(place=place),
    }


@register.simple_tag
def statement_in(language: str) -> str:
    """The sentence above the name, in the language of the notice."""
    with translation.override(language):
        return statement_words()


@register.filter
def wall(name: str) -> str:
    """A wall's name as it is read; the usual ones are translated."""
    return wall_name(name)


@register.simple_tag
def removal_of(row: Walkthrough) -> dict[str, Any]:
    """Whether chalk was found on a walkthrough that nobody takes off yet, and the open job that does."""
    is_chalky = any(must_be_shown(found.reading.reading) for found in row.wall_findings.all())
    return {"job": removal_job(row.property_id) if is_chalky else None, "is_asked": is_chalky and may_open_removal(row)}


@register.simple_tag
def offline_difference(notice: Notice) -> OfflineAnswer | None:
    """The answer without a signal whose text differs from ours, also where the office settled that."""
    offline: OfflineAnswer | None = getattr(getattr(notice, "acknowledgement", None), "offline", None)
    return offline if offline is not None and offline.differs else None


@register.simple_tag
def taken_words(photo: Photo, place: Property) -> str:
    """When and how far from the house a picture was taken, by its own file; for the office only."""
    return photo_words(photo, place)


@register.simple_tag
def spots_words(found: WallFinding) -> str:
    """The reading of a wall with its spots."""
    spots = ", ".join(f"{spot:g}" for spot in found.spots)
    return _("chalk %(reading)s of 5 (%(spots)s)") % {"reading": step_text(found.reading.reading), "spots": spots}
