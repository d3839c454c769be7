"""The proposal from rows: room from the crews' hours, rates from what came of earlier reminders, why in words."""

import json
from datetime import UTC, date, datetime, timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from jobs.reminders.domain.choosing import ResponseRate
from jobs.reminders.expected import response_rates
from jobs.reminders.models import Reminder, ReminderAnswer
from jobs.reminders.proposal import Room, due_proposal
from jobs.work.models import ServiceInterval
from routing.plans.selectors.filling import proposal_of
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)
TODAY = date(2026, 6, 1)


@pytest.fixture(autouse=True)
def moment(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)
    make.set_company(timezone="America/New_York")


def due_place(number: int, days_overdue: int = 0) -> Any:
    person = make.make_customer(email=f"p{number}@example.com")
    place = make.make_property(customer=person, street=f"{number} Alder Street")
    ServiceInterval.objects.create(
        property=place, service=wash(), interval_months=12, next_due_on=TODAY - timedelta(days=days_overdue)
    )
    return place


def wash() -> Any:
    from pricing.catalogue.models import Service

    return Service.objects.filter(code="wash").first() or make.make_service(code="wash", name="House wash")


def proposed(room_minutes: int) -> Any:
    return due_proposal(today=TODAY, now=NOW, room=Room(room_minutes), detours=lambda places: {})


def test_rates_count_what_came_within_the_time() -> None:
    """Sent 60 days ago: one brought a job after ten days, one after fifty, one nothing; a fresh one is not counted."""
    asked = NOW - timedelta(days=60)
    for number, job_after in enumerate((10, 50, None)):
        place = due_place(number)
        message = make.make_message(state="sent", claimed_at=asked)
        Reminder.objects.create(property=place, kind="wash", due_on=TODAY, message=message, created_at=asked)
        if job_after is not None:
            make.make_job(property=place, created_at=asked + timedelta(days=job_after))
    fresh = make.make_message(state="sent", claimed_at=NOW)
    Reminder.objects.create(property=due_place(9), kind="wash", due_on=TODAY, message=fresh, created_at=NOW)
    assert response_rates(now=NOW) == {("wash", "email"): ResponseRate(1, 3)}


def test_the_overdue_hear_first_and_the_others_know_why_not() -> None:
    """With little room only some hear, the most overdue first, and the rest wait with the reason."""
    for number in range(12):
        due_place(number, days_overdue=30 * number)
    found = proposed(300)
    overdue = [line.item.due_on for line in found.chosen]
    assert 0 < len(found.chosen) < 12
    assert overdue == sorted(overdue)
    assert "days overdue" in found.chosen[0].why
    assert found.waiting[-1].why == (
        "Others come first and fill the free hours; here it is due today, no crew goes near yet, never reminded yet."
    )
    assert all("no free hours" in line.why for line in proposed(0).waiting)


def test_a_long_job_waits_for_another_reason_than_a_late_one() -> None:
    """Alone too long for what is free; or too long for what is left, while shorter ones still fit."""
    for number in range(3):
        due_place(number, days_overdue=30)
    long = due_place(9, days_overdue=400)
    make.make_visit_of(wash(), long, TODAY - timedelta(days=800), minutes=1_200)
    alone = {line.item.street: line.why for line in proposed(500).waiting}
    assert alone["9 Alder Street"] == "The job takes 20 h: alone it may be more than the free hours hold."
    for number in range(20, 60):
        due_place(number, days_overdue=500)
    left = {line.item.street: line.why for line in proposed(1_800).waiting}
    assert left["9 Alder Street"] == "The job takes 20 h, which no longer fits; shorter ones still did."


def test_nobody_hears_while_earlier_reminders_may_fill_the_room() -> None:
    """The reason names them, not the length of the job."""
    for number in range(12):
        message = make.make_message(state="sent", claimed_at=NOW)
        Reminder.objects.create(
            property=due_place(number, 90), kind="wash", due_on=TODAY, message=message, created_at=NOW
        )
    due_place(40, 10)
    (line,) = proposed(300).waiting
    assert line.why == "Reminders that went out before may still be answered and would fill the free hours."


def test_work_without_a_day_and_hours_to_keep_take_room(office: Any, client_of: Any) -> None:
    """Agreed, with no plan and no promise, for these weeks: not what is for later, planned, promised or only asked."""
    crew = make.make_crew()
    free = proposal_of(today=TODAY, now=NOW, weeks=1).room.free
    assert free > 0
    here, later = [{"first_date": day, "last_date": day} for day in (TODAY, TODAY + timedelta(days=90))]
    make.make_job(lines=[{"estimated_minutes": 100}])
    make.make_job(lines=[{"estimated_minutes": 20}], windows=[here, later])
    make.make_job(lines=[{"estimated_minutes": 1_000}], windows=[later])
    make.make_job(lines=[{"estimated_minutes": 1_000}], windows=[{**here, "promised": True}])
    make.make_job(lines=[{"estimated_minutes": 1_000}], state="lead")
    planned = make.make_job(lines=[{"estimated_minutes": 1_000}])
    make.make_planned_day((crew, [planned]), work_date=TODAY)
    room = proposal_of(today=TODAY, now=NOW, weeks=1, keep_hours=2).room
    assert (room.undated, room.kept, room.minutes) == (120, 120, room.free - 240)
    assert proposal_of(today=TODAY, now=NOW, weeks=1, keep_hours=10_000).room.minutes == 0
    client = client_of(office)
    page = client.get(reverse("reminders:proposal"), {"weeks": "1", "keep_hours": "2"}).content.decode()
    assert "2 h of agreed work that has no day yet" in page
    assert "2 h are kept for calls" in page
    assert client.get("/api/due-list/proposal/?keep_hours=2&weeks=1").json()["kept_minutes"] == 120
    assert client.get(reverse("reminders:proposal"), {"weeks": "1", "keep_hours": "-2"}).status_code == 422
    with pytest.raises(CommandError, match="keep-hours"):
        call_command("propose_reminders", "--keep-hours", "-1")


def test_the_week_after_is_what_is_left_of_it_alone() -> None:
    """Its free minutes less work that has no day and opens in it; work for any time takes of the weeks to fill."""
    make.make_crew()
    room = proposal_of(today=TODAY, now=NOW, weeks=2).room
    assert proposal_of(today=TODAY, now=NOW, weeks=3).room.free == room.free + room.later
    after = TODAY + timedelta(days=15)
    make.make_job(lines=[{"estimated_minutes": 30}])
    make.make_job(lines=[{"estimated_minutes": 100}], windows=[{"first_date": after, "last_date": after}])
    gone = TODAY - timedelta(days=1)
    make.make_job(lines=[{"estimated_minutes": 500}], windows=[{"first_date": gone, "last_date": gone}])
    then = proposal_of(today=TODAY, now=NOW, weeks=2).room
    assert (then.free, then.undated, then.later) == (room.free, 30, room.later - 100)


def test_who_was_asked_lately_takes_room_until_an_answer_or_a_job() -> None:
    """Five were written to yesterday: their expected work is kept free. An answer and a job end the waiting."""
    for number in range(5):
        message = make.make_message(state="sent", claimed_at=NOW)
        Reminder.objects.create(
            property=due_place(number, 90), kind="wash", due_on=TODAY, message=message,
            created_at=NOW - timedelta(days=1),
        )  # fmt: skip
    before = proposed(2_000).pending_minutes
    assert before == pytest.approx(5 * 120 / 7, rel=0.2)
    first, second = Reminder.objects.order_by("pk")[:2]
    make.make_job(property=first.property, created_at=NOW)
    ReminderAnswer.objects.create(
        customer=second.property.customer, written_on=TODAY - timedelta(days=1), kind="not_now", at=NOW
    )
    assert proposed(2_000).pending_minutes == pytest.approx(before * 3 / 5)


def test_page_command_and_program_say_the_same(
    office: Any, crew_lead: Any, client_of: Any, assert_query_count: Any
) -> None:
    """A crew with usual hours makes room; the page leads to the preview."""
    from routing.plans.models import ShiftPattern

    crew = make.make_crew()
    ShiftPattern.objects.filter(crew=crew).delete()
    for weekday in range(5):
        ShiftPattern.objects.create(crew=crew, weekday=weekday, start_minute=480, end_minute=960)
    due_place(1)
    client = client_of(office)
    with assert_query_count("who should hear now"):
        page = client.get(reverse("reminders:proposal"), {"weeks": "2"}).content.decode()
    assert "1 Alder Street" in page
    body = client.get("/api/due-list/proposal/?weeks=2").json()
    out = StringIO()
    call_command("propose_reminders", "--weeks", "2", "--json", stdout=out)
    assert json.loads(out.getvalue()) == body
    assert body["room_minutes"] == 9 * 384
    assert len(body["chosen"]) == 1
    assert client.get("/api/due-list/proposal/?weeks=99").status_code == 400
    assert client_of(crew_lead).get(reverse("reminders:proposal")).status_code == 403
    with pytest.raises(CommandError):
        call_command("propose_reminders", "--weeks", "0")
    call_command("propose_reminders", stdout=out)
    assert "1 should hear now, 0 wait" in out.getvalue()
