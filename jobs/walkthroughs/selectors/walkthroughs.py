from collections.abc import Collection

from django.db.models import Max, Prefetch, QuerySet

from jobs.customers.models import Property
from jobs.walkthroughs.models import Finding, NobodyHome, Notice, Photo, Walkthrough, WallFinding, WallLeftOut
from jobs.work.models import Job


def walkthrough_list(*, job: Job | None = None, place: Property | None = None) -> QuerySet[Walkthrough]:
    """Walkthroughs of a job, or of all jobs at a property, with all that was found, newest first."""
    rows = Walkthrough.objects.filter(job=job) if job else Walkthrough.objects.filter(job__property=place)
    absences = NobodyHome.objects.select_related("message", "offline")
    notices = Notice.objects.select_related("acknowledgement__offline__settled").prefetch_related(
        Prefetch("absences", absences)
    )
    return (
        rows.select_related("walked_by", "property")
        .prefetch_related(
            Prefetch("wall_findings", WallFinding.objects.select_related("wall", "reading")),
            Prefetch("findings", Finding.objects.select_related("wall")),
            Prefetch("notices", notices),
            Prefetch("left_out", WallLeftOut.objects.select_related("wall")),
            Prefetch("photos", Photo.objects.select_related("wall")),
        )
        .order_by("-pk")
    )


def newest_findings(*, job_ids: Collection[int]) -> dict[int, list[Finding]]:
    """What else was found on each job's newest walkthrough, in one query."""
    newest = Walkthrough.objects.filter(job__in=job_ids).order_by().values("job").annotate(newest=Max("pk"))
    rows = Finding.objects.filter(walkthrough__in=newest.values("newest")).select_related("wall", "walkthrough")
    found: dict[int, list[Finding]] = {}
    for row in rows.order_by("pk"):
        found.setdefault(row.walkthrough.job_id, []).append(row)
    return found
