"""Sending a plan out: versions, what they say, and the jobs that follow."""

from typing import Any

import pytest

from jobs.work.services import job_call_off
from routing.dispatch.errors import NothingToSend, PlanStale
from routing.dispatch.models import SentPlan, SentStop
from routing.dispatch.services import plan_send_out
from routing.plans.models import DayPlan
from routing.plans.services import stop_take_out
from shared.errors import Conflict
from shared.events.append_only import AppendOnlyError
from shared.events.selectors import event_list
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def crews() -> tuple[Any, Any]:
    yard = factories.make_yard()
    return factories.make_crew(yard=yard, code="A"), factories.make_crew(yard=yard, code="B")


@pytest.fixture
def jobs() -> list[Any]:
    return [factories.make_job() for _ in range(4)]


def send(plan: DayPlan, **over: Any) -> SentPlan:
    return plan_send_out(plan=plan, **{"expected_version": plan.version, **over})


def states(jobs: list[Any]) -> list[str]:
    for job in jobs:
        job.refresh_from_db()
    return [job.state for job in jobs]


def kinds(sent: SentPlan) -> list[tuple[str, str]]:
    return [(change["crew"], change["kind"]) for change in sent.changes]


def test_the_first_version(crews: tuple[Any, Any], jobs: list[Any], office: Any) -> None:
    """Rows, drives and state are frozen; the jobs on routes are planned, the others are not."""
    plan = factories.make_planned_day((crews[0], jobs[:3]))
    sent = send(plan, actor=office)
    assert (sent.number, sent.changes, sent.sent_by) == (1, [], office)
    route = sent.routes.get()
    assert (route.break_length_minutes, route.home_leg_minutes, route.home_leg_metres) == (30, 10, 8_000)
    stops = list(route.stops.all())
    assert [stop.job for stop in stops] == jobs[:3]
    assert [(stop.leg_minutes, stop.drive_minutes) for stop in stops] == [(10, 10), (10, 10), (10, 20)]
    assert states(jobs) == ["planned"] * 3 + ["agreed"]
    stored = DayPlan.objects.get()
    assert (stored.state, stored.version) == ("sent_out", 2)
    event = event_list(subject=plan).get()
    assert (event.kind, event.actor, event.data) == ("plan.sent_out", office, {"number": 1, "stops": 3})


def test_the_next_version_says_what_changed(crews: tuple[Any, Any], jobs: list[Any]) -> None:
    """A stop taken over, one dropped, one new; the dropped job waits to be planned again."""
    plan = factories.make_planned_day((crews[0], jobs[:2]), (crews[1], [jobs[2]]))
    send(plan)
    factories.set_routes(plan, (crews[0], [jobs[0]]), (crews[1], [jobs[1], jobs[3]]))
    sent = send(plan)
    assert sent.number == 2
    assert kinds(sent) == [("A", "to_crew"), ("B", "added"), ("B", "from_crew"), ("B", "taken_out")]
    assert states(jobs) == ["planned", "planned", "agreed", "planned"]
    assert event_list(subject=jobs[2]).first().kind == "job.agreed_again"


def test_nothing_changed_is_refused(crews: tuple[Any, Any], jobs: list[Any]) -> None:
    """Sending out the same again, or times moved by a few minutes, makes no version."""
    plan = factories.make_planned_day((crews[0], jobs[:2]))
    send(plan)
    with pytest.raises(NothingToSend, match="since version 1"):
        send(plan)
    factories.set_routes(plan, (crews[0], jobs[:2]), leave_minute=454)
    with pytest.raises(NothingToSend):
        send(plan)
    assert SentPlan.objects.count() == 1


def test_an_empty_plan_is_not_sent(crews: tuple[Any, Any]) -> None:
    """There is nobody to send."""
    with pytest.raises(NothingToSend, match="no stop"):
        send(factories.make_planned_day((crews[0], [])))


def test_a_day_can_be_emptied_afterwards(crews: tuple[Any, Any], jobs: list[Any]) -> None:
    """Storm all day: the next version has no stops and the crews hear of each."""
    plan = factories.make_planned_day((crews[0], jobs[:2]))
    send(plan)
    factories.set_routes(plan)
    assert kinds(send(plan)) == [("A", "taken_out")] * 2
    assert states(jobs[:2]) == ["agreed", "agreed"]


def test_somebody_elses_change_is_not_sent_unseen(crews: tuple[Any, Any], jobs: list[Any]) -> None:
    """The version that was looked at must be the one in the database; the answer names the present one."""
    plan = factories.make_planned_day((crews[0], jobs[:2]), version=3)
    with pytest.raises(PlanStale) as error:
        send(plan, expected_version=2)
    assert error.value.fields == {"version": 3}
    assert (SentPlan.objects.count(), states(jobs[:1])) == (0, ["agreed"])


@pytest.mark.parametrize("state", ["lead", "estimated", "declined", "called_off"])
def test_a_closed_job_stops_the_sending(crews: tuple[Any, Any], state: str) -> None:
    """The sentence names the job and what to do; nothing is frozen."""
    job = factories.make_job(state=state)
    plan = factories.make_planned_day((crews[0], [job]))
    with pytest.raises(Conflict, match=f"Job {job.pk}, .* Take it out of the plan first"):
        send(plan)
    assert (SentPlan.objects.count(), DayPlan.objects.get().version) == (0, 1)


def test_a_called_off_job_that_was_dropped_stays_called_off(crews: tuple[Any, Any], jobs: list[Any]) -> None:
    """Only jobs that were still planned go back to agreed."""
    plan = factories.make_planned_day((crews[0], jobs[:2]))
    send(plan)
    jobs[0].refresh_from_db()
    job_call_off(job=jobs[0], reason="sold the house")
    factories.set_routes(plan, (crews[0], [jobs[1]]))
    send(plan)
    assert states(jobs[:2]) == ["called_off", "planned"]


def test_a_job_that_another_day_took_over_stays_planned(crews: tuple[Any, Any], jobs: list[Any]) -> None:
    """Moved to tomorrow and sent out there first, then dropped here."""
    plan = factories.make_planned_day((crews[0], jobs[:2]))
    send(plan)
    later = factories.make_planned_day((crews[0], [jobs[1]]), work_date=plan.work_date.replace(day=3))
    send(later)
    factories.set_routes(plan, (crews[0], [jobs[0]]))
    send(plan)
    assert states(jobs[:2]) == ["planned", "planned"]


def test_what_was_sent_out_is_never_changed(crews: tuple[Any, Any], jobs: list[Any]) -> None:
    """Versions, routes and stops are append-only."""
    sent = send(factories.make_planned_day((crews[0], jobs[:1])))
    sent.number = 7
    with pytest.raises(AppendOnlyError):
        sent.save()
    with pytest.raises(AppendOnlyError):
        SentStop.objects.update(position=9)


def test_a_change_by_hand_after_sending_out(crews: tuple[Any, Any], jobs: list[Any], office: Any) -> None:
    """The plan says that it was changed, the next version tells the crew, and the plan is as sent again."""
    plan = factories.make_planned_day((crews[0], jobs[:3]))
    send(plan)
    changed = stop_take_out(plan_id=plan.pk, job_id=jobs[1].pk, expected_version=2, actor=office)
    assert (changed.state, changed.version) == ("changed", 3)
    sent = send(DayPlan.objects.get())
    assert (sent.number, ("A", "taken_out") in kinds(sent)) == (2, True)
    assert (DayPlan.objects.get().state, states(jobs[:3])) == ("sent_out", ["planned", "agreed", "planned"])
