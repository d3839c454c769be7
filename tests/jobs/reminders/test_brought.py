"""The held-back group from the choice to the report."""

import csv
import json
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from io import StringIO
from typing import Any

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.test import Client

from jobs.reminders.answers import Answer, answer_take, offer_get
from jobs.reminders.brought import Brought, CampaignResult, brought
from jobs.reminders.domain.gain import Arm, gain
from jobs.reminders.holding import holding_back_get, holding_back_set
from jobs.reminders.models import HeldBack, HoldingBack, Reminder
from jobs.reminders.selectors import due_list
from jobs.reminders.services import opt_out_record, reminder_preview, reminders_queue
from jobs.reminders.views import brought as brought_views
from shared.outbox.models import Message
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)
LATER = NOW + timedelta(days=46)


@pytest.fixture(autouse=True)
def moment() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        make.set_company(timezone="America/New_York")
        HoldingBack.objects.update(percent=20, seed="seed")
        yield


def due_people(number: int, **over: Any) -> list[Any]:
    service = make.make_service(code="wash")
    people = [make.make_customer(**{"phone_e164": f"+1614555{100 + each:04d}", **over}) for each in range(number)]
    places = [make.make_property(customer=person) for person in people]
    for place in places:
        make.make_interval(property=place, service=service)
    return places


def queue(**over: Any) -> Any:
    keys = [item.key for item in due_list(today=NOW.date()) if item.is_ready]
    return reminders_queue(keys=keys, actor=None, now=NOW, **over)


def total(now: datetime = LATER) -> CampaignResult:
    return brought(now=now).total


def test_a_few_are_held_back_as_the_preview_said() -> None:
    """The preview names them, the queue writes them down, nobody writes to them, and a second call does nothing."""
    due_people(40)
    keys = [item.key for item in due_list(today=NOW.date())]
    seen = reminder_preview(keys=keys, now=NOW)
    result = queue()
    held = {row.property.customer.name for row in HeldBack.objects.all()}
    assert 0 < result.held_back == len(held) < 20
    assert {draft.customer_name for draft in seen.held_back} == held
    assert len(seen.drafts) == len(result.message_ids) == 40 - len(held)
    assert Reminder.objects.filter(was_drawn=True).count() == 40 - len(held)
    assert queue().as_json() == {"messages": [], "reminders": 0, "held_back": 0, "skipped": []}


def test_who_is_held_back_waits_and_is_then_reminded() -> None:
    """The due list says why; after 45 days the reminder goes, and nobody is held back twice in a campaign."""
    due_people(40)
    held_back = queue().held_back
    waits = [item for item in due_list(today=NOW.date()) if item.state == "waits"]
    assert len(waits) == held_back
    assert "held back until 16 July 2026" in waits[0].why_not
    with time_machine.travel(LATER, tick=False):
        keys = [item.key for item in waits]
        late = reminders_queue(keys=keys, actor=None, now=LATER)
    assert (late.held_back, len(late.message_ids)) == (0, held_back)
    assert Reminder.objects.filter(was_drawn=False).count() == held_back


def test_nobody_who_asked_is_held_back() -> None:
    """Who asked to be written to again, wrote lately or waits for an offer takes no part; nor does anybody where the
    office says that they asked."""
    HoldingBack.objects.update(percent=20)
    places = due_people(40)
    drawn = {row.property_id for row in _held_by(places)}
    assert drawn
    for place in places:
        if place.pk in drawn:
            make.make_job(property=place, state="estimated", lines=[])
    assert not _held_by(places)
    assert queue(hold_back=False).held_back == 0


def _held_by(places: list[Any]) -> list[Any]:
    keys = [item.key for item in due_list(today=NOW.date())]
    return [draft.items[0] for draft in reminder_preview(keys=keys, now=NOW).held_back]


@pytest.mark.parametrize("way", ["not_now", "text"])
def test_a_word_from_the_customer_counts_as_asking(way: str) -> None:
    """An answer "not now" and a text, each for itself."""
    from jobs.reminders.inbound import inbound_text_take
    from jobs.reminders.models import DueHold, ReminderAnswer

    places = due_people(40)
    held = _held_by(places)
    for item in held:
        if way == "not_now":
            ReminderAnswer.objects.create(
                customer_id=item.customer_id, written_on=date(2026, 1, 1), kind="not_now", at=NOW - timedelta(days=100)
            )
        else:
            phone = next(place.customer.phone_e164 for place in places if place.customer_id == item.customer_id)
            inbound_text_take(event=f"e{item.key}", sender=phone, body="Thank you", at=NOW - timedelta(days=2))
    assert held
    assert DueHold.objects.count() == 0
    assert _held_by(places) == []


def test_what_came_is_counted_in_both_groups() -> None:
    """Two of those reminded book, one is washed; one of those held back comes by itself."""
    due_people(40)
    queue()
    Message.objects.update(state="sent", claimed_at=NOW)
    Message.objects.filter(pk__in=Message.objects.order_by("pk")[:5]).update(delivered_at=NOW)
    told = list(Reminder.objects.order_by("pk"))
    held = list(HeldBack.objects.order_by("pk"))
    soon = NOW + timedelta(days=10)
    washed = make.make_job(property=told[0].property, state="done", created_at=soon)
    make.make_job(property=told[1].property, state="agreed", created_at=soon)
    make.make_job(property=told[2].property, state="lead", created_at=soon)
    make.make_job(property=told[3].property, state="agreed", created_at=LATER)
    make.make_job(property=held[0].property, state="agreed", created_at=soon)
    make.make_earning(job_ref=washed.pk, price_cents=30_000, on_site_minutes=100, setup_minutes=0, drive_minutes=20)
    with time_machine.travel(soon, tick=False):
        offer = offer_get(customer_id=told[2].property.customer_id, written_on=NOW.date())
        answer_take(offer=offer, answer=Answer("not_now", months=3), free_days=list, now=soon)
        opt_out_record(
            customer=told[3].property.customer, channel="email", everything=False, wording="", source="page", now=soon
        )
    row = total()
    assert (row.written, row.sent, row.delivered) == (len(told), len(told), 5)
    assert (row.answered, row.booked, row.washed, row.opted_out) == (1, 2, 1, 1)
    assert (row.told.people, row.told.booked) == (len(told), 2)
    assert (row.held.people, row.held.booked) == (len(held), 1)
    assert (row.earned_cents, row.earned_per_crew_hour) == (30_000, (15_000, None, None))
    assert row.gain
    assert row.more_jobs
    assert row.gain.value == pytest.approx(2 / len(told) - 1 / len(held))
    assert total(NOW + timedelta(days=20)).gain is None


@pytest.mark.parametrize(
    ("told", "held", "words"),
    [
        (Arm(400, 200), Arm(100, 10), "So reminders bring more"),
        (Arm(400, 10), Arm(100, 50), "seem to keep people away"),
        (Arm(10, 2), Arm(2, 0), "too few people yet to tell"),
        (Arm(10, 2), Arm(0, 0), "Not known yet"),
    ],
)
def test_the_page_says_what_the_interval_means(
    office: Any, client_of: Any, told: Arm, held: Arm, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Above zero, below it, around it, and without anybody to compare with; one of the four and no other."""
    row = CampaignResult(
        campaign=None, written=told.people, sent=told.people, delivered=0, answered=0, booked=told.booked, washed=0,
        opted_out=0, earned_cents=0, earned=None, told=told, held=held, gain=gain([(told, held)]),
    )  # fmt: skip
    monkeypatch.setattr(brought_views, "brought", lambda now: Brought(campaigns=(), total=row))
    shown = client_of(office).get("/due/brought/").content.decode()
    every = ["So reminders bring more", "seem to keep people away", "too few people yet to tell", "Not known yet"]
    assert [each for each in every if each in shown] == [words]


def test_a_message_about_two_things_is_one_person() -> None:
    """It belongs to the month of the earliest; a job counts once, and for the newest message before it."""
    HoldingBack.objects.update(percent=0)
    (place,) = due_people(1)
    make.make_interval(property=place, service=make.make_service(code="gutters"), next_due_on=date(2026, 5, 3))
    queue()
    make.make_job(property=place, state="agreed", created_at=NOW + timedelta(days=1))
    found = brought(now=LATER)
    assert [row.campaign for row in found.campaigns] == [date(2026, 5, 1)]
    assert (found.total.written, found.total.booked) == (1, 1)
    assert found.total.gain is None
    assert brought(now=LATER, since=date(2026, 6, 20)).campaigns == ()


def test_page_program_and_command_say_the_same(
    owner: Any, office: Any, crew_lead: Any, client_of: Any, assert_query_count: Any
) -> None:
    """And only the owner changes how many are held back."""
    due_people(40)
    queue()
    told, held = Reminder.objects.count(), HeldBack.objects.count()
    make.make_job(property=Reminder.objects.all()[0].property, state="agreed", created_at=NOW)
    with time_machine.travel(LATER, tick=False):
        client: Client = client_of(office)
        with assert_query_count("what it brought"):
            page = " ".join(client.get("/due/brought/").content.decode().split())
        body = client.get("/api/reminders/brought/").json()
        out = StringIO()
        call_command("reminders_brought", "--json", stdout=out)
        call_command("reminders_brought", "--since", "2026-06-01", stdout=out)
        file = client.get("/due/brought/file/")
        sheet = StringIO()
        call_command("reminders_brought", "--csv", stdout=sheet)
        assert client.get("/api/reminders/brought/?since=x").status_code == 400
    assert f"of the {held} who were held back 0.0% did" in page
    assert body["total"]["compared"] == {
        "reminded": {"people": told, "booked": 1},
        "held_back": {"people": held, "booked": 0},
    }
    assert json.loads(out.getvalue().splitlines()[0]) == body
    assert f"2026-06: {told} written, 0 sent" in out.getvalue()
    assert file.content.decode("utf-8-sig") == sheet.getvalue()
    rows = list(csv.DictReader(StringIO(sheet.getvalue(), newline="")))
    assert [row["campaign"] for row in rows] == ["2026-06", "all"]
    assert (rows[1]["compared_reminded_people"], rows[1]["compared_held_back_people"]) == (str(told), str(held))
    assert float(rows[1]["gain_low"]) == body["total"]["gain"]["low"]
    assert client_of(crew_lead).get("/due/brought/file/").status_code == 403
    assert client_of(crew_lead).get("/due/brought/").status_code == 403
    assert client_of(office).post("/due/brought/holding-back/", {"percent": 3}).status_code == 403
    assert client_of(owner).post("/due/brought/holding-back/", {"percent": 3}).status_code == 302
    assert client_of(owner).post("/due/brought/holding-back/", {"percent": 90}).status_code == 302
    assert holding_back_get().percent == 3


def test_the_page_queues_everybody_on_demand(office: Any, client_of: Any) -> None:
    """The tick under the preview; without it the draw counts."""
    due_people(40)
    client = client_of(office)
    preview = client.post("/due/preview/", {"all": "1"})
    held = len(preview.context["found"].held_back)
    assert "hold nobody back" in preview.content.decode()
    keys = preview.context["good_keys"]
    shown = client.post("/due/queue/", {"keys": keys}, follow=True).content.decode()
    assert f"{held} customers are held back." in shown
    again = " ".join(item.key for item in due_list(today=NOW.date()) if item.state == "waits")
    assert client.post("/due/queue/", {"keys": again, "everyone": "1"}, follow=True).status_code == 200
    assert Message.objects.count() == 40 - held


def test_no_more_than_a_fifth(owner: Any) -> None:
    """The setting is a few per cent."""
    with pytest.raises(ValidationError):
        holding_back_set(percent=21, actor=owner)
    before = holding_back_get().seed
    assert holding_back_set(percent=0, actor=owner).seed == before
