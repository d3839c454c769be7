"""What is due, in which order, and whether its owner may be written to."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from jobs.reminders.selectors import DueItem, due_list
from tests import factories as make

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 1)


@pytest.fixture(autouse=True)
def company() -> Any:
    return make.set_company(reminder_lead_days=30, reminder_gap_days=60)


def removal(**over: Any) -> Any:
    return make.make_service(name="Chalk removal", removes_chalk=True, interval_months=48, **over)


def only(items: list[DueItem]) -> DueItem:
    (item,) = items
    return item


def test_an_interval_is_due_from_the_lead_time_on() -> None:
    """The last day inside the lead time counts, the day after does not."""
    make.make_interval(next_due_on=TODAY + timedelta(days=30))
    make.make_interval(next_due_on=TODAY + timedelta(days=31))
    assert [item.due_on for item in due_list(today=TODAY)] == [TODAY + timedelta(days=30)]
    assert len(due_list(today=TODAY, lead_days=31)) == 2


def test_the_reason_is_one_plain_line() -> None:
    """Interval and last time in words."""
    make.make_interval(last_done_on=date(2025, 5, 3), next_due_on=date(2026, 5, 3))
    assert only(due_list(today=TODAY)).reason == "House wash every 12 months, last done 3 May 2025"


def test_chalk_is_due_a_season_after_it_was_read() -> None:
    """A reading of 2 or more makes the property due 90 days later; one below 2 does not."""
    removal()
    place = make.make_property()
    make.make_reading(wall=make.make_wall(property=place, name="south wall"), reading=3, read_on=date(2025, 6, 2))
    make.make_reading(wall=make.make_wall(property=place, name="north wall"), reading=1.5, read_on=date(2025, 6, 2))
    item = only(due_list(today=TODAY))
    assert item.reason == "south wall read 3 of 5 on 2 June 2025, no removal since"
    assert (item.kind, item.due_on) == ("chalk", date(2025, 8, 31))


def test_the_worst_wall_is_named_and_the_newest_reading_dates_it() -> None:
    """Several walls are one due thing: the worst is named, and a fresh look puts the date off."""
    removal()
    place = make.make_property()
    make.make_reading(wall=make.make_wall(property=place, name="south wall"), reading=2, read_on=date(2026, 1, 10))
    make.make_reading(wall=make.make_wall(property=place, name="west wall"), reading=2.5, read_on=date(2025, 6, 2))
    item = only(due_list(today=TODAY))
    assert item.reason == "west wall read 2.5 of 5 on 2 June 2025, no removal since; 1 more wall at 2 or above"
    assert item.due_on == date(2026, 4, 10)


def test_a_newer_reading_replaces_an_older_one() -> None:
    """A correction is a new reading: a 1 after a 3 means that nothing is due."""
    removal()
    wall = make.make_wall()
    make.make_reading(wall=wall, reading=3, read_on=date(2025, 6, 2))
    make.make_reading(wall=wall, reading=1, read_on=date(2025, 6, 2))
    assert due_list(today=TODAY) == []


@pytest.mark.parametrize(("days_after", "due"), [(-1, True), (0, False), (40, False)])
def test_a_removal_since_settles_the_reading(days_after: int, due: bool) -> None:
    """Walls are read before the work, so a removal on the same day counts as after the reading."""
    service = removal()
    place = make.make_property()
    read_on = date(2025, 6, 2)
    make.make_reading(wall=make.make_wall(property=place), reading=3, read_on=read_on)
    make.make_visit_of(service, place, read_on + timedelta(days=days_after))
    assert bool(due_list(today=TODAY)) is due


@pytest.mark.parametrize(("named", "due"), [("this", False), ("other", True), ("all", False)])
def test_a_removal_settles_the_walls_it_was_done_on(named: str, due: bool) -> None:
    """Chalk that was read on another wall of the house is still there."""
    service, place = removal(), make.make_property()
    wall = make.make_wall(property=place)
    make.make_reading(wall=wall, reading=3, read_on=date(2025, 6, 2))
    visit = make.make_visit_of(service, place, date(2025, 7, 2))
    walls = {"this": [wall], "other": [make.make_wall(property=place)], "all": []}[named]
    visit.job.lines.get().walls.set(walls)
    assert bool(due_list(today=TODAY)) is due


def test_a_wash_does_not_settle_the_reading() -> None:
    """Only a removal takes chalk off."""
    removal()
    place = make.make_property()
    make.make_reading(wall=make.make_wall(property=place), reading=3, read_on=date(2025, 6, 2))
    make.make_visit_of(make.make_service(), place, date(2025, 7, 2))
    assert only(due_list(today=TODAY)).kind == "chalk"


@pytest.mark.parametrize(
    ("state", "due"),
    [("agreed", False), ("planned", False), ("on_site", False), ("done", True), ("called_off", True), ("lead", True)],
)
def test_nobody_is_reminded_of_work_that_is_coming(state: str, due: bool) -> None:
    """Agreed, planned or running work of the same service at the property, and only that, takes it off."""
    interval = make.make_interval()
    make.make_job(property=interval.property, state=state, lines=[{"service": interval.service}])
    make.make_job(property=interval.property, state="agreed", lines=[{"service": make.make_service()}])
    assert bool(due_list(today=TODAY)) is due


def test_agreed_removal_settles_the_chalk() -> None:
    """An agreed removal is coming: the chalk is not due."""
    service = removal()
    place = make.make_property()
    make.make_reading(wall=make.make_wall(property=place), reading=3, read_on=date(2025, 6, 2))
    make.make_job(property=place, state="agreed", lines=[{"service": service}])
    assert due_list(today=TODAY) == []


def test_chalk_that_was_read_goes_before_the_calendar() -> None:
    """One line about chalk, not two, where reading and interval of the removal are both due."""
    service = removal()
    interval = make.make_interval(service=service)
    make.make_reading(wall=make.make_wall(property=interval.property), reading=3, read_on=date(2025, 6, 2))
    assert only(due_list(today=TODAY)).kind == "chalk"


def test_a_service_no_longer_offered_is_not_due() -> None:
    """Nobody is offered what the company does not do any more, chalk removal included."""
    make.make_interval(service=make.make_service(is_offered=False))
    removal(is_offered=False)
    make.make_reading(reading=4, read_on=date(2025, 6, 2))
    assert due_list(today=TODAY) == []


def test_the_order_is_total() -> None:
    """By date, then property, then kind, whatever order the rows were written in."""
    place = make.make_property()
    late = make.make_interval(property=place, next_due_on=date(2026, 6, 2))
    first = make.make_interval(property=place, service=make.make_service(code="a-first"), next_due_on=date(2026, 5, 1))
    second = make.make_interval(
        property=place, service=make.make_service(code="b-second"), next_due_on=date(2026, 5, 1)
    )
    assert [item.kind for item in due_list(today=TODAY)] == [
        first.service.code,
        second.service.code,
        late.service.code,
    ]


def test_email_needs_no_consent_and_text_does() -> None:
    """Mail first; without an address and without consent for texts there is no way to write, and the list says why."""
    by_mail = make.make_interval(property=make.make_property(customer=make.make_customer()))
    no_mail = make.make_interval(property=make.make_property(customer=make.make_customer(email="")))
    by_text = make.make_interval(property=make.make_property(customer=make.make_customer(email="")))
    make.make_consent(customer=by_text.property.customer, channel="text", given=True)
    neither = make.make_interval(property=make.make_property(customer=make.make_customer(email="", phone_e164="")))
    found = {item.property_id: (item.channel, item.why_not) for item in due_list(today=TODAY)}
    assert found[by_mail.property_id] == ("email", "")
    assert found[no_mail.property_id] == ("", "no email address; no consent for text messages")
    assert found[by_text.property_id] == ("text", "")
    assert found[neither.property_id] == ("", "no email address; no telephone number")


def test_an_opt_out_is_shown_with_its_date() -> None:
    """The day is the company's local day, not the UTC one."""
    customer = make.make_customer(phone_e164="")
    make.make_interval(property=make.make_property(customer=customer))
    make.make_consent(customer=customer, at=datetime(2026, 3, 5, 2, tzinfo=UTC))
    assert only(due_list(today=TODAY)).why_not == "opted out of email on 4 March 2026; no telephone number"


def test_an_opt_out_holds_for_everybody_at_the_address() -> None:
    """Two customers share a mailbox: the opt-out of one stops reminders to both, however the address is written."""
    first = make.make_customer(email="home@example.com", phone_e164="")
    second = make.make_customer(email="Home@Example.com", phone_e164="")
    make.make_interval(property=make.make_property(customer=second))
    make.make_consent(customer=first)
    assert only(due_list(today=TODAY)).state == "no_channel"


def test_a_gap_lies_between_two_reminders_to_one_customer() -> None:
    """Two months by default, counted from the last reminder at any property of the customer; a failed one is none."""
    from jobs.reminders.models import Reminder

    customer = make.make_customer()
    make.make_interval(property=make.make_property(customer=customer))
    message = make.make_message(state="sent")
    at = datetime(2026, 5, 3, 15, tzinfo=UTC)
    Reminder.objects.create(
        property=make.make_property(customer=customer),
        kind="x",
        due_on=TODAY,
        reason="",
        message=message,
        created_at=at,
    )
    item = only(due_list(today=date(2026, 7, 1)))
    assert (item.state, item.why_not) == ("waits", "reminded on 3 May 2026: wait until 2 July 2026")
    assert only(due_list(today=date(2026, 7, 2))).state == "ready"
    message.state = "failed"
    message.save()
    assert only(due_list(today=date(2026, 7, 1))).state == "ready"


def test_queries_do_not_grow_with_the_list(django_assert_num_queries: Any, django_assert_max_num_queries: Any) -> None:
    """Forty due things take as many queries as one."""
    removal()
    make.make_interval()
    make.make_reading(reading=3, read_on=date(2025, 6, 2))
    with django_assert_max_num_queries(21) as few:
        due_list(today=TODAY)
    for _ in range(20):
        make.make_interval()
        make.make_reading(reading=3, read_on=date(2025, 6, 2))
    with django_assert_num_queries(len(few)):
        assert len(due_list(today=TODAY)) == 42
