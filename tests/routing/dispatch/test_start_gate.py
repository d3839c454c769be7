"""A stop cannot be started until what was found on the walls is shown and settled."""

from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine

from jobs.walkthroughs.errors import NoticeUnsettled
from jobs.walkthroughs.models import StartOverride
from jobs.walkthroughs.selectors import start_gates
from jobs.walkthroughs.services import notice_acknowledge, notice_send, start_override
from routing.dispatch.models import SentStop, StopMark
from routing.dispatch.services import plan_send_out, stop_mark
from shared.errors import Refused
from shared.events.models import Event
from tests import factories

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 2, 16, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def noon() -> Any:
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def stop(crew_lead: Any) -> SentStop:
    crew = factories.make_crew(lead=crew_lead)
    plan_send_out(plan=factories.make_planned_day((crew, [factories.make_job()])), expected_version=1)
    found = SentStop.objects.get()
    stop_mark(stop=found, kind="arrived", at=NOON, now=NOON)
    return SentStop.objects.get()


def start(stop: SentStop) -> StopMark:
    return stop_mark(stop=SentStop.objects.get(pk=stop.pk), kind="started", at=NOON, now=NOON)


def test_refused_step_by_step_until_acknowledged(stop: SentStop) -> None:
    """No walkthrough, nothing shown, not acknowledged: refused in words each time; then it starts."""
    with pytest.raises(NoticeUnsettled, match="walk around the house"):
        start(stop)
    walkthrough = factories.make_walkthrough(job=stop.job)
    with pytest.raises(NoticeUnsettled, match="show the homeowner"):
        start(stop)
    notice = factories.make_notice(walkthrough=walkthrough)
    with pytest.raises(NoticeUnsettled, match="not acknowledged yet"):
        start(stop)
    assert not StopMark.objects.filter(kind="started").exists()
    notice_acknowledge(notice=notice, language="en", typed_name="Ann Sample", now=NOON, by_link=False)
    assert start(stop).kind == "started"


def test_nobody_home_and_sent(stop: SentStop) -> None:
    """Left on paper at the door settles it."""
    notice = factories.make_notice(walkthrough=factories.make_walkthrough(job=stop.job))
    notice_send(notice=notice, sent_how="paper", now=NOON)
    assert start(stop).kind == "started"


def test_nothing_found(stop: SentStop) -> None:
    """A walkthrough that found nothing to show is enough."""
    factories.settle_notice(stop.job)
    assert start(stop).kind == "started"


def test_a_newer_walkthrough_counts(stop: SentStop) -> None:
    """What was acknowledged before the correction does not settle the correction."""
    notice = factories.make_notice(walkthrough=factories.make_walkthrough(job=stop.job))
    notice_acknowledge(notice=notice, language="en", typed_name="Ann", now=NOON, by_link=False)
    factories.make_walkthrough(job=stop.job, chalk=4)
    with pytest.raises(NoticeUnsettled):
        start(stop)


@pytest.fixture
def gutters(crew_lead: Any) -> SentStop:
    """A stop without a service that needs a walkthrough."""
    job = factories.make_job(lines=[{"service": factories.make_service(needs_walkthrough=False)}])
    crew = factories.make_crew(lead=crew_lead)
    plan_send_out(plan=factories.make_planned_day((crew, [job])), expected_version=1)
    stop = SentStop.objects.get()
    stop_mark(stop=stop, kind="arrived", at=NOON, now=NOON)
    return stop


def test_gutters_only_need_none(gutters: SentStop) -> None:
    """It is started as ever."""
    assert start(gutters).kind == "started"


def test_what_was_found_though_none_was_needed_is_shown_first(
    gutters: SentStop, client_of: Any, crew_lead: Any
) -> None:
    """Whoever walks around nevertheless and finds chalk can show it, and has to."""
    walkthrough = factories.make_walkthrough(job=gutters.job)
    page = client_of(crew_lead).get(f"/crew/walkthrough/{gutters.job_id}/").content.decode()
    assert "Show the homeowner" in page
    with pytest.raises(NoticeUnsettled, match="show the homeowner"):
        start(gutters)
    notice_send(notice=factories.make_notice(walkthrough=walkthrough), sent_how="paper", now=NOON)
    assert start(gutters).kind == "started"


def test_the_owner_overrides_with_a_reason(
    stop: SentStop, client_of: Any, owner: Any, office: Any, crew_lead: Any
) -> None:
    """The owner only, with a reason; it shows on the stop, on the job's page and in the history."""
    address = f"/jobs/{stop.job_id}/start-anyway/"
    for user in (office, crew_lead):
        assert client_of(user).post(address, {"reason": "in a hurry"}).status_code == 403
    client_of(owner).post(address, {"reason": " "})
    assert not StartOverride.objects.exists()
    with pytest.raises(Refused):
        start_override(job=stop.job, reason=" ", now=NOON, actor=owner)
    page = client_of(owner).post(address, {"reason": "he is abroad and said yes"}, follow=True).content.decode()
    assert "he is abroad and said yes" in page
    assert "he is abroad and said yes" in client_of(crew_lead).get("/crew/").content.decode()
    assert Event.objects.get(kind="job.start_allowed").reason == "he is abroad and said yes"
    assert start(stop).kind == "started"


def test_by_page_and_api(stop: SentStop, client_of: Any, crew_lead: Any) -> None:
    """The page says it in words, the API with its code and 409."""
    client = client_of(crew_lead)
    page = client.post(f"/crew/stops/{stop.pk}/started/", follow=True).content.decode()
    assert "First walk around the house" in page
    answer = client.post(f"/api/stops/{stop.pk}/marks/", {"kind": "started"}, content_type="application/json")
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/notice_unsettled")
    assert not StopMark.objects.filter(kind="started").exists()


def test_many_gates_in_few_queries(django_assert_max_num_queries: Any) -> None:
    """The number of queries does not grow with the jobs."""
    jobs = [factories.make_walkthrough().job for _ in range(5)]
    factories.make_notice(walkthrough=jobs[0].walkthroughs.get())
    with django_assert_max_num_queries(8):
        gates = start_gates(job_ids=[job.pk for job in jobs])
    assert [gates[job.pk].state for job in jobs] == ["open", *["unshown"] * 4]
