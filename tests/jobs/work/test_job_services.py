"""A job through its states: who may follow whom, versions, reasons, history."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from jobs.work import services
from jobs.work.choices import JobState
from jobs.work.domain.states import STEPS, state_after
from jobs.work.errors import JobStale, ReasonMissing, StepRefused
from jobs.work.models import Job
from jobs.work.services import NewLine, NewWindow
from shared.errors import Conflict, Refused
from shared.events.selectors import event_list
from tests import factories

pytestmark = pytest.mark.django_db
DAY = date(2026, 6, 2)

TAKE: dict[str, Callable[[Job], Any]] = {
    "estimate": lambda job: services.job_estimate(job=job),
    "agree": lambda job: services.job_agree(job=job),
    "decline": lambda job: services.job_decline(job=job, reason="too far"),
    "plan": lambda job: services.job_mark_planned(job=job, work_date=DAY),
    "agree_again": lambda job: services.job_mark_agreed_again(job=job, reason="thunder"),
    "arrive": lambda job: services.job_arrive(job=job),
    "finish": lambda job: services.visit_record(job=job, work_date=DAY, on_site_minutes=60),
    "call_off": lambda job: services.job_call_off(job=job, reason="sold the house"),
}


def new_line(**over: Any) -> NewLine:
    fields = {"service": factories.make_service(), "price_cents": 40_000, "estimated_minutes": 120, **over}
    return NewLine(**fields)


def job_create(**over: Any) -> Job:
    fields = {"property": factories.make_property(), "lines": [new_line()], "created_at": factories.MOMENT, **over}
    return services.job_create(**fields)


@pytest.mark.parametrize("state", JobState.values)
@pytest.mark.parametrize("step", STEPS)
def test_each_service_follows_the_table(state: str, step: str) -> None:
    """A step moves the job where the table says and leaves one event; a refused one changes nothing."""
    job = factories.make_job(state=state)
    target = state_after(state, step)
    if target is None:
        with pytest.raises(StepRefused, match="cannot be"):
            TAKE[step](job)
    else:
        TAKE[step](job)
    stored = Job.objects.get(pk=job.pk)
    assert (stored.state, stored.version) == ((target, 2) if target else (state, 1))
    assert event_list(subject=job).count() == (1 if target else 0)


def test_the_table_of_services_is_whole() -> None:
    """A new step needs a line in this test."""
    assert TAKE.keys() == STEPS.keys()


def test_a_job_keeps_what_was_agreed(office: Any) -> None:
    """Lines, walls, days and the first event are stored together."""
    place = factories.make_property()
    walls = [factories.make_wall(property=place) for _ in range(2)]
    windows = [NewWindow(DAY, DAY, 480, 600, promised=True), NewWindow(DAY, date(2026, 6, 9))]
    lines = [new_line(walls=walls, card_price_cents=42_000), new_line(price_cents=10_000)]
    job = job_create(property=place, lines=lines, windows=windows, state="agreed", discount_cents=500, actor=office)
    assert [line.price_cents for line in job.lines.all()] == [40_000, 10_000]
    assert set(job.lines.all()[0].walls.all()) == set(walls)
    assert [(w.first_date, w.promised) for w in job.windows.all()] == [(DAY, False), (DAY, True)]
    event = event_list(subject=job).get()
    assert (event.kind, event.actor, event.data) == ("job.created", office, {"state": "agreed"})


@pytest.mark.parametrize("state", sorted(set(JobState.values) - {"lead", "estimated", "agreed"}))
def test_a_job_does_not_begin_as_done(state: str) -> None:
    """Later states are reached by steps only."""
    with pytest.raises(Refused, match="lead, estimated or agreed"):
        job_create(state=state)


@pytest.mark.parametrize(
    ("over", "words"),
    [
        ({"lines": []}, "at least one service"),
        ({"discount_cents": 40_001}, "discount"),
        ({"discount_cents": -1}, "discount"),
    ],
)
def test_unsound_jobs_are_refused(over: dict[str, Any], words: str) -> None:
    """Nothing is stored of a job that cannot be."""
    with pytest.raises(Refused, match=words):
        job_create(**over)
    assert not Job.objects.exists()


def test_a_price_below_nothing_is_refused() -> None:
    """Money off goes into the discount."""
    with pytest.raises(Refused, match="discount"):
        job_create(lines=[new_line(price_cents=-1)])


def test_a_wall_of_another_house_is_refused() -> None:
    """Walls on a line belong to the job's property."""
    with pytest.raises(Refused, match="another property"):
        job_create(lines=[new_line(walls=[factories.make_wall()])])
    assert not Job.objects.exists()


@pytest.mark.parametrize(
    "window",
    [
        NewWindow(DAY, date(2026, 6, 1)),
        NewWindow(DAY, DAY, 600, 480),
        NewWindow(DAY, DAY, 0, 1440),
        NewWindow(DAY, date(2026, 6, 3), promised=True),
    ],
)
def test_unsound_windows_are_refused(window: NewWindow) -> None:
    """Days in order, minutes in order and on the day, a promise for one day."""
    with pytest.raises(ValidationError):
        job_create(windows=[window])
    assert not Job.objects.exists()


def test_a_free_return_visit_counts_against_the_first_job() -> None:
    """Also when it makes good another return visit; and it has no price."""
    first = factories.make_job(state="done")
    again = job_create(callback_of=first, lines=[new_line(price_cents=0)])
    third = job_create(callback_of=again, lines=[new_line(price_cents=0)])
    assert (again.callback_of, third.callback_of) == (first, first)
    with pytest.raises(Refused, match="no price"):
        job_create(callback_of=first)


def test_agreeing_replaces_the_days() -> None:
    """The customer's yes comes with the days that suit; without days the old ones stay."""
    job = factories.make_job(state="lead", windows=[{"first_date": DAY, "last_date": DAY}])
    services.job_agree(job=job, windows=[NewWindow(date(2026, 7, 1), date(2026, 7, 3))])
    assert [w.first_date for w in job.windows.all()] == [date(2026, 7, 1)]
    other = factories.make_job(state="lead", windows=[{"first_date": DAY, "last_date": DAY}])
    services.job_agree(job=other)
    assert other.windows.count() == 1


def test_setting_days_is_for_open_jobs() -> None:
    """Days can change until the job is closed, each change under a new version."""
    job = factories.make_job(state="planned")
    services.job_windows_set(job=job, windows=[NewWindow(DAY, DAY)])
    assert (job.windows.count(), Job.objects.get(pk=job.pk).version) == (1, 2)
    with pytest.raises(Conflict, match="closed"):
        services.job_windows_set(job=factories.make_job(state="done"), windows=[])


@pytest.mark.parametrize("reason", ["", "   "])
def test_closing_needs_a_reason(reason: str) -> None:
    """Declining and calling off say why."""
    with pytest.raises(ReasonMissing):
        services.job_decline(job=factories.make_job(state="lead"), reason=reason)
    with pytest.raises(ReasonMissing):
        services.job_call_off(job=factories.make_job(), reason=reason)


def test_two_people_at_once() -> None:
    """The second of two who read the same version is told, and changes nothing."""
    job = factories.make_job(state="lead")
    theirs = Job.objects.get(pk=job.pk)
    services.job_agree(job=job)
    with pytest.raises(JobStale, match="meanwhile"):
        services.job_decline(job=theirs, reason="no answer")
    with pytest.raises(JobStale):
        services.job_call_off(job=job, reason="moved", expected_version=1)
    assert Job.objects.get(pk=job.pk).state == "agreed"


def test_the_reason_is_in_the_history(office: Any) -> None:
    """Who called it off, and why, without blanks around it."""
    job = factories.make_job()
    services.job_call_off(job=job, reason="  sold the house ", actor=office)
    event = event_list(subject=job).get()
    assert (event.kind, event.actor, event.reason) == ("job.called_off", office, "sold the house")
