from collections.abc import Collection
from datetime import date

from django.db.models import Max, Prefetch, Q, QuerySet
from django.utils.translation import gettext as _

from jobs.customers.models import Property, Wall
from jobs.work.models import Job, JobLine, Visit, VisitLine
from shared.errors import NotFound


def job_list(*, state: str = "", words: str = "") -> QuerySet[Job]:
    """Jobs, newest first, with what a list shows; `words` are looked for in names, streets and references."""
    jobs = Job.objects.select_related("property__customer").prefetch_related(
        Prefetch("lines", JobLine.objects.select_related("service")), "windows"
    )
    if state:
        jobs = jobs.filter(state=state)
    for word in words.split():
        jobs = jobs.filter(
            Q(property__customer__name__icontains=word)
            | Q(property__street__icontains=word)
            | Q(property__city__icontains=word)
            | Q(reference__iexact=word)
        )
    return jobs.order_by("-id")


def job_get(*, pk: int) -> Job:
    """One job with its customer, lines, walls and days. Raises NotFound."""
    job = job_list().prefetch_related("lines__walls").filter(pk=pk).first()
    if job is None:
        raise NotFound(_("There is no job %(number)s.") % {"number": pk})
    return job


def visit_list(*, job: Job) -> QuerySet[Visit]:
    """What was booked for a job, newest first, corrections and what they correct included."""
    lines = VisitLine.objects.select_related("service")
    return job.visits.select_related("recorded_by").prefetch_related(Prefetch("lines", lines), "corrections")


def service_history(*, property: Property) -> QuerySet[VisitLine]:
    """Every service done at a property, newest first; of a corrected visit only the newest stands."""
    lines = VisitLine.objects.filter(visit__job__property=property, visit__corrections__isnull=True)
    return lines.select_related("service", "visit__job").order_by("-visit__work_date", "-id")


def last_removals(*, wall_ids: Collection[int]) -> dict[int, date]:
    """The day on which chalk was last taken off each wall; walls where it never was are not in the answer.

    A removal line that names walls counts for those, one that names none for every wall of the property. Readings
    are measured, so a removal writes none: whether a reading is older than the removal is for the reader to compare.
    """
    removals = VisitLine.objects.filter(service__removes_chalk=True)
    named = removals.filter(job_line__walls__in=wall_ids).order_by("job_line__walls")
    found = dict(named.values_list("job_line__walls").annotate(day=Max("visit__work_date")))
    whole = removals.filter(job_line__walls__isnull=True, visit__job__property__walls__in=wall_ids)
    by_property = whole.order_by("visit__job__property__walls").values_list("visit__job__property__walls")
    for wall, day in by_property.annotate(day=Max("visit__work_date")):
        found[wall] = max(day, found.get(wall, day))
    return found


def last_removal_on(*, wall: Wall) -> date | None:
    """The day on which chalk was last taken off one wall, or None."""
    return last_removals(wall_ids=[wall.pk]).get(wall.pk)
