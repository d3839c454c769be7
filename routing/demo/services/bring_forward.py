"""Keeps the demo's book fresh: what nobody planned in time waits for the next day instead."""

from datetime import date, timedelta

from django.db import transaction

from jobs.work.choices import JobState
from jobs.work.models import JobWindow
from routing.demo.services.make import MADE
from shared.company.selectors import company_get
from shared.events.models import Event
from shared.events.services import event_record

BROUGHT_FORWARD = "demo.brought_forward"


@transaction.atomic
def open_jobs_bring_forward(*, day: date) -> int:
    """Move the windows of the demo's agreed jobs that ended before `day` by the days since they were set.

    Returns how many windows moved. The demo of last month has a contested day this way too.
    """
    marks = Event.objects.filter(kind__in=(MADE, BROUGHT_FORWARD)).order_by("-id")
    set_for = max((date.fromisoformat(mark.data["day"]) for mark in marks[:1]), default=day)
    if set_for >= day:
        return 0
    shift = day - set_for
    ended = JobWindow.objects.filter(job__reference__startswith="demo-o", job__state=JobState.AGREED, last_date__lt=day)
    windows = [_moved(window, shift) for window in ended]
    JobWindow.objects.bulk_update(windows, ["first_date", "last_date"])
    event_record(kind=BROUGHT_FORWARD, subject=company_get(), data={"day": day.isoformat(), "windows": len(windows)})
    return len(windows)


def _moved(window: JobWindow, shift: timedelta) -> JobWindow:
    window.first_date += shift
    window.last_date += shift
    return window
