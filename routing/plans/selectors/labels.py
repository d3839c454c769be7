"""How sentences name a job."""

from collections.abc import Iterable

from django.utils.translation import gettext as _

from jobs.work.models import Job


def job_labels(job_ids: Iterable[int]) -> dict[int, str]:
    """By id: "job 17, 14 Elm Street". One query."""
    jobs = Job.objects.filter(pk__in=list(job_ids)).select_related("property").order_by("pk")
    return {job.pk: _("job %(number)s, %(street)s") % {"number": job.pk, "street": job.property.street} for job in jobs}
