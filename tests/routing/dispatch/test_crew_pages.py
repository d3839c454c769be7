"""The crew lead's phone: own stops of today and tomorrow, marks, finishing, chalk."""

import io
import re
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from pypdf import PdfReader

from jobs.walkthroughs.services import notice_acknowledge, notice_send
from jobs.work.models import Visit
from pricing.earnings.models import EarningEntry
from routing.dispatch.models import SentStop, StopMark
from routing.dispatch.selectors.sheets import sheet_of_sent
from routing.dispatch.services import plan_send_out, stop_mark
from routing.plans.models import Route
from shared.events.models import Event
from tests import factories

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 2, 16, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def noon() -> Any:
    """2 June 2026, noon in New York."""
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


@pytest.fixture
def crew(crew_lead: Any) -> Any:
    return factories.make_crew(lead=crew_lead, code="A", name="Crew Heron")


@pytest.fixture
def client(client_of: Any, crew_lead: Any) -> Any:
    return client_of(crew_lead)


def sent_day(crew: Any, *jobs: Any, **over: Any) -> list[SentStop]:
    plan = factories.make_planned_day((crew, list(jobs)), **over)
    plan_send_out(plan=plan, expected_version=1)
    return list(SentStop.objects.filter(route__sent__plan=plan).order_by("position"))


def house(street: str, **over: Any) -> Any:
    return factories.make_job(property=factories.make_property(street=street), **over)


def text_of(response: Any) -> str:
    return str(response.content.decode())


# --- what a crew lead sees ---


def test_today_and_tomorrow_and_no_more(client: Any, crew: Any) -> None:
    """By the yard's calendar; yesterday and the day after tomorrow are not there."""
    for day, street in ((1, "Monday Road"), (2, "Tuesday Road"), (3, "Wednesday Road"), (4, "Thursday Road")):
        sent_day(crew, house(street), work_date=date(2026, 6, day))
    page = text_of(client.get("/crew/"))
    assert [street in page for street in ("Monday Road", "Tuesday Road", "Wednesday Road", "Thursday Road")] == [
        False, True, True, False,
    ]  # fmt: skip
    assert page.index("Tuesday Road") < page.index("Wednesday Road")


def test_the_next_working_day_where_tomorrow_is_off(client: Any, crew: Any) -> None:
    """On the evening before days off the route of the day after them is there, under its own date."""
    crew.patterns.filter(weekday__in=(2, 3)).delete()
    for day, street in ((2, "Tuesday Road"), (5, "Friday Road"), (6, "Saturday Road")):
        sent_day(crew, house(street), work_date=date(2026, 6, day))
    page = text_of(client.get("/crew/"))
    assert [street in page for street in ("Tuesday Road", "Friday Road", "Saturday Road")] == [True, True, False]
    assert "Tomorrow" not in page


def test_today_is_the_yards_day(client: Any, crew: Any, noon: Any) -> None:
    """At half past eleven in the evening in New York it is still the second, although UTC has the third."""
    for day in (2, 3, 4):
        sent_day(crew, house(f"Road {day}"), work_date=date(2026, 6, day))
    noon.move_to(datetime(2026, 6, 3, 3, 30, tzinfo=UTC))
    page = text_of(client.get("/crew/"))
    assert ("Road 2" in page, "Road 3" in page, "Road 4" in page) == (True, True, False)


def test_other_crews_and_drafts_are_not_there(client: Any, crew: Any) -> None:
    """Neither the stops of crew B nor what was not sent out."""
    other = factories.make_crew(yard=crew.yard, code="B", lead=factories.make_user(role="crew_lead"))
    plan = factories.make_planned_day((crew, [house("Mine Road")]), (other, [house("Theirs Road")]))
    assert "Nothing has been sent out to you" in text_of(client.get("/crew/"))
    plan_send_out(plan=plan, expected_version=1)
    factories.set_routes(
        plan, (crew, [stop.job for stop in plan.routes.get(crew=crew).stops.all()] + [house("Draft Road")])
    )
    page = text_of(client.get("/crew/"))
    assert ("Mine Road" in page, "Theirs Road" in page, "Draft Road" in page) == (True, False, False)


def test_a_stop_as_a_card(client: Any, crew: Any, assert_query_count: Any) -> None:
    """Arrival, window, notes, telephone, map, chalk in words; in a few queries."""
    place = factories.make_property(street="14 Elm Street", gate_note="code 1234", pet_note="two dogs")
    factories.make_reading(wall=factories.make_wall(property=place, name="south wall"), reading=3)
    sent_day(crew, factories.make_job(property=place, note="ring first"), house("Other Road"))
    with assert_query_count("crew's phone"):
        page = text_of(client.get("/crew/"))
    for words in ("14 Elm Street", "7:40 am", "code 1234", "two dogs", "ring first", 'href="tel:+1', 'href="geo:40',
                  "south wall: chalk 3 of 5: show the homeowner before any water flows", "Arrived"):  # fmt: skip
        assert words in page, words


def test_changes_are_said(client: Any, crew: Any) -> None:
    """After a new version the crew reads what is different, in its own part only."""
    jobs = [house("First Road"), house("Second Road")]
    stops = sent_day(crew, *jobs)
    plan = stops[0].route.sent.plan
    factories.set_routes(plan, (crew, jobs[1:]))
    plan_send_out(plan=plan, expected_version=plan.version)
    page = text_of(client.get("/crew/"))
    assert "No longer on the route: First Road." in page
    assert "version 2" in page


def test_in_spanish(client: Any, crew: Any) -> None:
    """A phone that asks for Spanish gets buttons, cautions and times in Spanish."""
    sent_day(crew, house("14 Elm Street"))
    page = text_of(client.get("/crew/", headers={"Accept-Language": "es"}))
    for words in ("Llegamos", "Mi ruta", "Hoy", "Precauciones", "7:40 a. m."):
        assert words in page, words
    for words in ("Arrived", "Today", "Cautions", "Thunder", "Load-out"):
        assert words not in page, words


def test_the_sheet_on_the_phone(client: Any, client_of: Any, crew: Any) -> None:
    """The own PDF as it was sent; nobody else's."""
    (stop,) = sent_day(crew, house("14 Elm Street"))
    response = client.get(f"/crew/routes/{stop.route_id}.pdf")
    assert "14 Elm Street" in PdfReader(io.BytesIO(response.content)).pages[0].extract_text()
    stranger = client_of(factories.make_user(role="crew_lead"))
    assert stranger.get(f"/crew/routes/{stop.route_id}.pdf").status_code == 404


# --- marks ---


def test_a_day_on_the_phone(client: Any, crew: Any, noon: Any) -> None:
    """Arrived, started, finished with the minutes from the clock: booked, and the next button follows."""
    job = house("14 Elm Street", lines=[{"estimated_minutes": 100}, {"estimated_minutes": 50, "price_cents": 9_000}])
    factories.settle_notice(job)
    (stop,) = sent_day(crew, job)
    client.post(f"/crew/stops/{stop.pk}/arrived/")
    assert "Started" in text_of(client.get("/crew/"))
    client.post(f"/crew/stops/{stop.pk}/started/")
    noon.shift(150 * 60)
    page = text_of(client.get(f"/crew/stops/{stop.pk}/finish/"))
    assert 'data-arrived="2026-06-02T' in page  # a phone that kept the page counts from there
    assert 'value="100"' in page
    assert 'value="50"' in page
    wash, gutters = job.lines.all()
    body = {
        "lines-TOTAL_FORMS": 2, "lines-INITIAL_FORMS": 2,
        "lines-0-line_id": wash.pk, "lines-0-minutes": 90, "lines-0-materials_cents": "25.00",
        "lines-1-line_id": gutters.pk, "lines-1-minutes": 45, "note": "hose bib leaks",
    }  # fmt: skip
    response = client.post(f"/crew/stops/{stop.pk}/finish/", body)
    assert response["Location"] == f"/crew/#stop-{stop.pk}"
    visit = Visit.objects.get()
    assert (visit.on_site_minutes, visit.note, visit.drive_minutes) == (135, "hose bib leaks", 20)
    assert sorted(EarningEntry.objects.values_list("on_site_minutes", "materials_cents")) == [(45, 2_000), (90, 2_500)]
    page = text_of(client.get("/crew/"))
    assert "arrived 12:00 pm · started 12:00 pm · finished 2:30 pm" in " ".join(page.split())
    assert f"/crew/stops/{stop.pk}/finish/" not in page


def test_a_finish_is_put_right_on_the_next_day(client: Any, crew: Any, noon: Any) -> None:
    """Yesterday's stop: no minutes from a clock that ran on; the written time is one of its day."""
    (stop,) = sent_day(crew, house("14 Elm Street"))
    factories.settle_notice(stop.job)
    for kind in ("arrived", "started"):
        client.post(f"/crew/stops/{stop.pk}/{kind}/")
    noon.shift(20 * 3600)
    page = text_of(client.get(f"/crew/stops/{stop.pk}/finish/"))
    (minutes,) = re.findall('<input[^>]*name="lines-0-minutes"[^>]*>', page)
    assert "value" not in minutes
    line = {"lines-0-line_id": stop.job.lines.get().pk, "lines-0-minutes": 60}
    body = {"lines-TOTAL_FORMS": 1, "lines-INITIAL_FORMS": 1, **line, "clock": "13:10"}
    assert client.post(f"/crew/stops/{stop.pk}/finish/", body).status_code == 302
    assert Visit.objects.get().finished_at == datetime(2026, 6, 2, 17, 10, tzinfo=UTC)


def test_a_forgotten_button(client: Any, crew: Any) -> None:
    """The time can be written down: hours of the yard's clock."""
    (stop,) = sent_day(crew, house("14 Elm Street"))
    client.post(f"/crew/stops/{stop.pk}/arrived/", {"clock": "08:15"})
    assert StopMark.objects.get().at == datetime(2026, 6, 2, 12, 15, tzinfo=UTC)
    response = client.post(f"/crew/stops/{stop.pk}/started/", {"clock": "25:99"}, follow=True)
    assert "hours and minutes" in text_of(response)
    assert "not come yet" in text_of(client.post(f"/crew/stops/{stop.pk}/started/", {"clock": "15:00"}, follow=True))


def test_out_of_order_is_said(client: Any, crew: Any) -> None:
    """In words on the next page, also when finishing."""
    (stop,) = sent_day(crew, house("14 Elm Street"))
    page = text_of(client.post(f"/crew/stops/{stop.pk}/started/", follow=True))
    assert "First mark this stop as arrived" in page
    body = {"lines-TOTAL_FORMS": 0, "lines-INITIAL_FORMS": 0}
    response = client.post(f"/crew/stops/{stop.pk}/finish/", body)
    assert (response.status_code, "First mark this stop" in text_of(response)) == (409, True)
    assert "A mark is" in text_of(client.post(f"/crew/stops/{stop.pk}/left/", follow=True))


def test_unreadable_minutes_come_back(client: Any, crew: Any) -> None:
    """The form is shown again with what is wrong, and nothing is booked."""
    (stop,) = sent_day(crew, house("14 Elm Street"))
    line = stop.job.lines.get().pk
    body = {"lines-TOTAL_FORMS": 1, "lines-INITIAL_FORMS": 1, "lines-0-line_id": line, "lines-0-minutes": "two"}
    response = client.post(f"/crew/stops/{stop.pk}/finish/", body)
    assert response.status_code == 422
    assert "whole number" in text_of(response)
    assert not Visit.objects.exists()


ACTIONS = ("arrived/", "started/", "finish/")


@pytest.mark.parametrize("action", ACTIONS)
def test_crew_b_cannot_touch_crew_as_stop(client_of: Any, crew: Any, action: str) -> None:
    """Another crew's lead finds nothing there, by GET or POST."""
    (stop,) = sent_day(crew, house("14 Elm Street"))
    stranger = factories.make_user(role="crew_lead")
    factories.make_crew(yard=crew.yard, lead=stranger)
    assert client_of(stranger).post(f"/crew/stops/{stop.pk}/{action}").status_code == 404
    assert client_of(stranger).get(f"/crew/stops/{stop.pk}/finish/").status_code == 404
    assert not StopMark.objects.exists()


@pytest.mark.parametrize(("day", "status"), [(1, 404), (3, 302), (4, 404)])
def test_only_today_and_tomorrow_can_be_reached(client: Any, crew: Any, day: int, status: int) -> None:
    """Tomorrow's stop is found, and the mark refused in words; the day after is not even found."""
    (stop,) = sent_day(crew, house("14 Elm Street"), work_date=date(2026, 6, day))
    assert client.post(f"/crew/stops/{stop.pk}/arrived/").status_code == status
    assert not StopMark.objects.exists()


def test_a_page_of_the_version_before_still_works(client: Any, crew: Any) -> None:
    """The phone shows version 1 while version 2 was sent out: the mark finds the same stop."""
    jobs = [house("First Road"), house("Second Road")]
    stops = sent_day(crew, *jobs)
    plan = stops[0].route.sent.plan
    factories.set_routes(plan, (crew, jobs[1:]))
    plan_send_out(plan=plan, expected_version=plan.version)
    assert client.post(f"/crew/stops/{stops[1].pk}/arrived/").status_code == 302
    assert StopMark.objects.get().job == jobs[1]
    assert client.post(f"/crew/stops/{stops[0].pk}/arrived/").status_code == 404


def test_an_owner_who_drives(client_of: Any, owner: Any) -> None:
    """Somebody of the office who leads a crew sees the own route, not everybody's."""
    mine = factories.make_crew(lead=owner, code="O")
    other = factories.make_crew(yard=mine.yard, code="B")
    plan = factories.make_planned_day((mine, [house("Mine Road")]), (other, [house("Theirs Road")]))
    plan_send_out(plan=plan, expected_version=1)
    page = text_of(client_of(owner).get("/crew/"))
    assert ("Mine Road" in page, "Theirs Road" in page) == (True, False)


# --- chalk ---


def test_chalk_is_read_on_the_walkthrough_alone(client: Any, crew: Any) -> None:
    """A stop with walls leads there, whether its services need it or not; there is no quicker, shallower way."""
    wash, gutters = factories.make_service(needs_walkthrough=True), factories.make_service(needs_walkthrough=False)
    jobs = [factories.make_job(lines=[{"service": service}]) for service in (wash, gutters, gutters)]
    factories.make_wall(property=jobs[1].property)
    sent_day(crew, *jobs)
    page = text_of(client.get("/crew/"))
    assert [f"/crew/walkthrough/{job.pk}/" in page for job in jobs] == [True, True, False]


def test_what_the_homeowner_has_seen_is_not_asked_for_again(client: Any, crew: Any) -> None:
    """Before: show it. After the name: what was read, and who saw it; the two lines never contradict each other."""
    job = house("14 Elm Street")
    sent_day(crew, job)
    notice = factories.make_notice(job=job)
    asked = "chalk 3 of 5: show the homeowner before any water flows"
    assert asked in text_of(client.get("/crew/"))
    notice_acknowledge(notice=notice, language="en", typed_name="Ann Sample", now=NOON, by_link=False)
    page = text_of(client.get("/crew/"))
    assert (asked in page, "chalk 3 of 5" in page, "Ann Sample acknowledged the notice" in page) == (False, True, True)


def test_nor_on_paper(client_of: Any, owner: Any, crew: Any) -> None:
    """The printed sheet, sent out or as planned now, says the same as the phone."""
    job = house("14 Elm Street")
    (stop,) = sent_day(crew, job)
    notice = factories.make_notice(job=job)
    asked = "show the homeowner before any water flows"
    papers = [f"/sheets/{row}.pdf" for row in Route.objects.values_list("pk", flat=True)]
    before = [paper_of(client_of(owner).get(paper)) for paper in papers]
    assert before
    assert all(asked in paper for paper in before)
    notice_acknowledge(notice=notice, language="en", typed_name="Ann Sample", now=NOON, by_link=False)
    after = [paper_of(client_of(owner).get(paper)) for paper in papers]
    assert all("chalk 3 of 5" in paper and asked not in paper for paper in after)
    (note,) = sheet_of_sent(route=stop.route).stops[0].chalk
    assert (note.words, note.is_shown_first) == ("chalk 3 of 5", False)


@pytest.mark.parametrize(("minutes", "told"), [(-30, True), (-1, False), (1, False)])
def test_a_start_before_the_notice_was_seen_is_kept_and_told(
    client: Any, client_of: Any, office: Any, crew: Any, minutes: int, told: bool
) -> None:
    """It waited on a phone and comes up after the answer: the truth stays, and the job's page says so to the office."""
    job = house("14 Elm Street")
    (stop,) = sent_day(crew, job)
    seen = NOON - timedelta(hours=1)
    notice = factories.make_notice(job=job)
    notice_acknowledge(notice=notice, language="en", typed_name="Ann Sample", now=seen, by_link=False)
    stop_mark(stop=stop, kind="arrived", at=seen - timedelta(hours=1), now=NOON)
    start = stop_mark(stop=stop, kind="started", at=seen + timedelta(minutes=minutes), now=NOON)
    assert start.at == seen + timedelta(minutes=minutes)
    page = text_of(client_of(office).get(f"/jobs/{job.pk}/"))
    assert ("STARTED BEFORE the condition notice was acknowledged or sent" in page) is told
    assert ("2026-06-02 10:30, 2026-06-02 11:00" in page) is told


def test_so_is_a_start_before_the_notice_went_out(crew: Any) -> None:
    job = house("14 Elm Street")
    (stop,) = sent_day(crew, job)
    notice_send(notice=factories.make_notice(job=job), sent_how="paper", now=NOON, note="at the door")
    stop_mark(stop=stop, kind="arrived", at=NOON - timedelta(hours=2), now=NOON)
    stop_mark(stop=stop, kind="started", at=NOON - timedelta(hours=1), now=NOON)
    assert Event.objects.filter(kind="job.started_unseen").count() == 1


def paper_of(response: Any) -> str:
    pages = PdfReader(io.BytesIO(response.getvalue())).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_the_button_that_comes_next_is_the_dark_one(client: Any, crew: Any) -> None:
    """After arriving where the walls were not looked at it is the walkthrough; then it is the start."""
    job = house("14 Elm Street", lines=[{"service": factories.make_service(needs_walkthrough=True)}])
    (stop,) = sent_day(crew, job)
    walkthrough, started = f'href="/crew/walkthrough/{job.pk}/">Walkthrough', 'type="submit">Started'

    def is_dark(words: str) -> bool:
        (before,) = re.findall(f"<[^<]*{re.escape(words)}", text_of(client.get("/crew/")))
        return "btn-quiet" not in before

    client.post(f"/crew/stops/{stop.pk}/arrived/")
    assert (is_dark(walkthrough), is_dark(started)) == (True, False)
    steps = f"/crew/stops/{stop.pk}/work/"  # where the same is said, the same leads on
    assert walkthrough in text_of(client.get(steps))
    factories.settle_notice(job)
    assert (is_dark(walkthrough), is_dark(started)) == (False, True)
    assert walkthrough not in text_of(client.get(steps))
