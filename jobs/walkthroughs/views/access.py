"""Who may see the walkthroughs of a job: the office all, a crew lead those on the own routes of today and tomorrow."""

from typing import Any

from django.utils.translation import gettext as _

from jobs.walkthroughs.domain import LATE_BY
from jobs.walkthroughs.models import Notice, NoticePrint, OfflineAnswer, Photo, Walkthrough
from jobs.work.models import Job
from routing.dispatch.models import SentStop
from routing.dispatch.selectors.sent import sent_route_list
from shared import clock
from shared.errors import NotFound


def job_for(*, user: Any, job_id: int, late: bool = False) -> Job:
    """Raises NotFound, also for a job that is not for this person. `late` allows what waited on a phone to go up."""
    job = Job.objects.select_related("property__customer").filter(pk=job_id).first()
    if job is None or not (_may_see(user, job_id) or late and _was_there(user, job_id)):
        raise NotFound(_("This stop is not on your route."))
    return job


def _may_see(user: Any, job_id: int) -> bool:
    return user.is_office or sent_route_list(user=user, now=clock.now()).filter(stops__job=job_id).exists()


def _was_there(user: Any, job_id: int) -> bool:
    since = clock.now().date() - LATE_BY
    stops = SentStop.objects.filter(job=job_id, route__crew__lead=user, route__sent__plan__work_date__gte=since)
    return stops.exists()


def walkthrough_for(*, user: Any, key: Any) -> Walkthrough:
    """By its key. Raises NotFound."""
    row = Walkthrough.objects.select_related("job").filter(key=key).first()
    if row is None:
        raise NotFound(_("There is no such walkthrough."))
    job_for(user=user, job_id=row.job_id, late=True)
    return row


def notice_get(*, pk: int) -> Notice:
    """Raises NotFound."""
    rows = Notice.objects.select_related(
        "walkthrough__job", "walkthrough__property__customer", "acknowledgement__offline__settled"
    )
    row = rows.filter(pk=pk).first()
    if row is None:
        raise NotFound(_("There is no such notice."))
    return row


def notice_for(*, user: Any, pk: int) -> Notice:
    """A notice that `user` may see. Raises NotFound."""
    row = notice_get(pk=pk)
    job_for(user=user, job_id=row.walkthrough.job_id)
    return row


def offline_of(notice: Notice) -> OfflineAnswer:
    """The acknowledgement that a phone without a signal gave. Raises NotFound where there is none."""
    row: OfflineAnswer | None = getattr(getattr(notice, "acknowledgement", None), "offline", None)
    if row is None:
        raise NotFound(_("This notice was not acknowledged without a signal."))
    return row


def photo_of(*, notice: Notice, digest: str) -> Photo:
    """A picture that was printed with a notice. Raises NotFound for any other."""
    printed = NoticePrint.objects.filter(notice=notice).first()
    row = notice.walkthrough.photos.filter(digest=digest).first()
    if row is None or printed is None or digest not in printed.picture_digests:
        raise NotFound(_("There is no such picture."))
    return row
