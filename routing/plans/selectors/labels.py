"""How sentences name jobs, crews and times."""

from collections.abc import Iterable
from datetime import date

from django.utils.translation import gettext as _

from jobs.work.models import Job
from routing.plans.domain.keys import for_people, job_ids_in
from routing.plans.models import Crew, Yard
from routing.plans.selectors.hours import clock_text


def job_labels(job_ids: Iterable[int]) -> dict[int, str]:
    """By id: "job 17, 14 Elm Street". One query."""
    jobs = Job.objects.filter(pk__in=list(job_ids)).select_related("property").order_by("pk")
    return {job.pk: _("job %(number)s, %(street)s") % {"number": job.pk, "street": job.property.street} for job in jobs}


def in_words(sentences: Iterable[str], *, yard: Yard, work_date: date) -> list[str]:
    """Sentences of the solver about a yard's day as the office reads them. Two queries."""
    given = list(sentences)
    labels = job_labels({job for sentence in given for job in job_ids_in(sentence)})
    names = dict(Crew.objects.values_list("code", "name"))

    def clock_of(minute: int) -> str:
        return clock_text(work_date, minute, yard.timezone)

    return [for_people(sentence, labels, names, clock_of) for sentence in given]
