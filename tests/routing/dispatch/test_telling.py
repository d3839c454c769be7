"""Customers hear when the crew comes: the day before, when that changes, and when it is on its way."""

from datetime import UTC, datetime, timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from jobs.customers.models import Consent
from jobs.work.models import JobWindow
from routing.dispatch.domain.telling import TOLD_MINUTES, Coming, news, window_to_tell
from routing.dispatch.models import SentStop, ToldTime
from routing.dispatch.services import (
    customers_tell,
    on_our_way,
    plan_send_out,
    plan_tell,
    stop_mark,
    telling_settings_set,
)
from shared.errors import Conflict, Refused
from shared.outbox.domain.sms import sms_count
from shared.outbox.models import BlockedAddress, Message
from shared.outbox.services import message_send_again, messages_dispatch
from tests import factories

# Tuesday, 2 June 2026; the yard is in New York (UTC-4).
EVE = datetime(2026, 6, 1, 19, 0, tzinfo=UTC)  # 15:00 on the day before
EIGHT = datetime(2026, 6, 2, 12, 0, tzinfo=UTC)
MOMENTS = st.datetimes(datetime(2026, 5, 1), datetime(2026, 7, 1), timezones=st.just(UTC))


def customer(**over: Any) -> Any:
    return factories.make_customer(**{"email": "ann@example.com", "phone_e164": "+16145550101", **over})


def sent_stop(**over: Any) -> SentStop:
    """A stop of a day that was sent out, at a customer who can be written to."""
    factories.set_company(name="Sample Washing", phone_e164="+16145550100")
    place = factories.make_property(customer=customer(**over), street="12 Alder Street")
    job = factories.make_job(property=place)
    plan_send_out(plan=factories.make_planned_day((factories.make_crew(), [job])), expected_version=1)
    return SentStop.objects.get()


def told() -> list[tuple[str, str]]:
    return [(row.kind, row.message.channel) for row in ToldTime.objects.order_by("pk").select_related("message")]


def move(stop: SentStop, minutes: int) -> None:
    """The day is sent out again with another arrival."""
    plan = stop.route.sent.plan
    sent = stop.route.sent
    newer = type(sent).objects.create(plan=plan, number=sent.number + 1, content={}, sent_at=EVE)
    again = type(stop.route).objects.create(
        sent=newer, crew=stop.route.crew, leave_minute=0, back_minute=1000, drive_minutes=0, drive_metres=0,
        paid_minutes=0,
    )  # fmt: skip
    SentStop.objects.create(
        route=again, job=stop.job, position=1, arrive_minute=stop.arrive_minute + minutes,
        start_minute=stop.start_minute + minutes, finish_minute=stop.finish_minute + minutes,
    )  # fmt: skip


@pytest.mark.django_db
def test_the_day_before_from_the_set_hour_on() -> None:
    """Not a minute earlier, once, by mail where nobody agreed to texts; dropped when the crew is there by then."""
    stop = sent_stop()
    assert customers_tell(now=EVE - timedelta(minutes=1)) == 0
    assert customers_tell(now=EVE) == 1
    assert customers_tell(now=EVE + timedelta(minutes=10)) == 0
    message = Message.objects.get()
    assert told() == [("first", "email")]
    assert "12 Alder Street on Tuesday, 2 June" in message.body
    assert not message.is_promotion
    assert message.not_after is not None
    assert message.not_after.date() == stop.route.sent.plan.work_date
    assert messages_dispatch(now=EVE + timedelta(minutes=11)).sent == 1


@pytest.mark.django_db
def test_a_text_where_the_person_agreed_to_texts() -> None:
    """Two parts at most, in English and in Spanish."""
    stop = sent_stop(language="es")
    Consent.objects.create(customer=stop.job.property.customer, channel="text", purpose="service", given=True, at=EVE)
    assert customers_tell(now=EVE) == 1
    message = Message.objects.get()
    assert (message.channel, message.language) == ("text", "es")
    assert "el martes 2 de junio" in message.body
    assert (sms_count(message.body.strip()).parts, sms_count(message.body).encoding) == (2, "GSM-7")


@pytest.mark.django_db
@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("kind", ["first", "changed", "on_our_way"])
def test_no_text_is_longer_than_two_parts(kind: str, language: str) -> None:
    """With a long firm and street; a name with letters that the cheap alphabet lacks keeps them."""
    stop = sent_stop(language=language)
    factories.set_company(name="Tallowick Exterior Washing Co", phone_e164="+16145550100")
    type(stop.job.property).objects.update(street="1284 Whippoorwill Hollow Parkway")
    Consent.objects.create(customer=stop.job.property.customer, channel="text", purpose="service", given=True, at=EVE)
    stop = SentStop.objects.get()
    if kind == "on_our_way":
        on_our_way(stop=stop, now=EIGHT)
    else:
        customers_tell(now=EVE)
        if kind == "changed":
            move(stop, 300)
            customers_tell(now=EVE + timedelta(minutes=20))
    assert told()[-1] == (kind, "text")
    body = ToldTime.objects.latest("pk").message.body.strip()
    assert (sms_count(body).encoding, sms_count(body).parts <= 2) == ("GSM-7", True)


@pytest.mark.django_db
def test_a_street_keeps_its_accents() -> None:
    stop = sent_stop(language="es")
    type(stop.job.property).objects.update(street="12 Álamo Road")
    Consent.objects.create(customer=stop.job.property.customer, channel="text", purpose="service", given=True, at=EVE)
    customers_tell(now=EVE)
    assert "a 12 Álamo Road el martes" in Message.objects.get().body


@pytest.mark.django_db
@pytest.mark.parametrize("purpose", ["service", "all"])
def test_whoever_said_no_is_left_alone(purpose: str) -> None:
    """And the office is told to call."""
    stop = sent_stop()
    for channel in ("email", "text"):
        Consent.objects.create(
            customer=stop.job.property.customer, channel=channel, purpose=purpose, given=False, at=EVE
        )
    assert customers_tell(now=EVE) == 0
    with pytest.raises(Refused, match="Call them"):
        on_our_way(stop=stop, now=EIGHT)


@pytest.mark.django_db
def test_a_no_to_reminders_is_no_no_to_this() -> None:
    stop = sent_stop()
    Consent.objects.create(
        customer=stop.job.property.customer, channel="email", purpose="reminder", given=False, at=EVE
    )
    BlockedAddress.objects.create(channel="text", address="+16145550101", kind="bounced", since=EVE)
    assert customers_tell(now=EVE) == 1


@pytest.mark.django_db
def test_only_a_change_that_matters_is_told() -> None:
    """Inside of what was told nothing is written; outside of it, once, at once, also on the day itself."""
    stop = sent_stop()
    customers_tell(now=EVE)
    move(stop, 20)
    assert customers_tell(now=EVE + timedelta(minutes=20)) == 0
    move(SentStop.objects.latest("pk"), 240)
    assert customers_tell(now=EVE + timedelta(hours=16)) == 1
    assert customers_tell(now=EVE + timedelta(hours=16, minutes=10)) == 0
    assert [kind for kind, _channel in told()] == ["first", "changed"]
    assert "a change for 12 Alder Street" in Message.objects.latest("pk").body


@pytest.mark.django_db
def test_a_promise_is_told_as_it_was_promised() -> None:
    """The customer hears the window that was agreed, not one around the plan."""
    stop = sent_stop()
    JobWindow.objects.create(
        job=stop.job, first_date="2026-06-02", last_date="2026-06-02", start_minute=7 * 60, end_minute=14 * 60,
        promised=True,
    )  # fmt: skip
    customers_tell(now=EVE)
    row = ToldTime.objects.get()
    assert (row.opens_at.hour, row.closes_at.hour) == (11, 18)
    assert "between 7:00 a.m. and 2:00 p.m." in row.message.body


@pytest.mark.django_db
def test_the_crew_says_that_it_is_coming(crew_lead: Any) -> None:
    """Once, with the drive's minutes, also when it runs late; after that nobody hears of a changed time."""
    stop = sent_stop()
    late = EIGHT + timedelta(hours=6)
    row = on_our_way(stop=stop, now=late, actor=crew_lead)
    assert row.opens_at == late + timedelta(minutes=stop.leg_minutes)
    assert on_our_way(stop=stop, now=late + timedelta(minutes=5)) == row
    assert Message.objects.count() == 1
    assert messages_dispatch(now=late).sent == 1
    move(stop, 600)
    assert customers_tell(now=late + timedelta(minutes=1)) == 0


@pytest.mark.django_db
def test_not_on_another_day_and_not_when_it_is_there() -> None:
    stop = sent_stop()
    with pytest.raises(Refused, match="another day"):
        on_our_way(stop=stop, now=EVE)
    stop_mark(stop=stop, kind="arrived", at=EIGHT, now=EIGHT)
    with pytest.raises(Conflict, match="arrived"):
        on_our_way(stop=stop, now=EIGHT + timedelta(minutes=5))
    assert customers_tell(now=EIGHT + timedelta(minutes=5)) == 0


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("meanwhile", "why"),
    [
        ("called off", "does not go there"),
        ("left out", "does not go there"),
        ("another time", "something newer"),
        ("arrived", "there already"),
        ("no", "does not want"),
        ("new address", "address changed"),
        ("nothing", ""),
    ],
)
def test_a_word_that_waited_is_looked_at_again(meanwhile: str, why: str) -> None:
    """What was written the day before leaves only while it is still true and still wanted."""
    stop = sent_stop()
    job, customer = stop.job, stop.job.property.customer
    assert customers_tell(now=EVE) == 1
    if meanwhile == "called off":
        type(job).objects.filter(pk=job.pk).update(state="called_off")
    elif meanwhile == "left out":
        sent = stop.route.sent
        type(sent).objects.create(plan=sent.plan, number=sent.number + 1, content={}, sent_at=EVE)
    elif meanwhile == "another time":
        move(stop, 300)
        assert customers_tell(now=EVE + timedelta(minutes=1)) == 1
    elif meanwhile == "arrived":
        stop_mark(stop=stop, kind="arrived", at=EIGHT, now=EIGHT)
    elif meanwhile == "no":
        factories.make_consent(customer=customer, channel="email", purpose="service", given=False)
    elif meanwhile == "new address":
        type(customer).objects.filter(pk=customer.pk).update(email="other@example.com")
    messages_dispatch(now=EVE + timedelta(minutes=2))
    first, *newer = Message.objects.order_by("pk")
    assert (first.state, why in first.problem) == ("dropped" if why else "sent", True)
    assert [message.state for message in newer] == (["sent"] if meanwhile == "another time" else [])


@pytest.mark.django_db
def test_who_was_told_in_vain_is_shown_to_be_called(office: Any, client_of: Any, time_machine: Any) -> None:
    """The word left, and then the stop was taken out: the page and the program name the customer with the number."""
    time_machine.move_to(EVE, tick=False)
    stop = sent_stop()
    plan, client = stop.route.sent.plan, client_of(office)
    address, page = f"/api/day-plans/{plan.pk}/telling/", reverse("dispatch:sent", args=[plan.pk])
    assert customers_tell(now=EVE) == 1
    sent = stop.route.sent
    type(sent).objects.create(plan=plan, number=sent.number + 1, content={}, sent_at=EVE)
    assert client.get(address).json()["in_vain"] == []  # it waits still, and is dropped before it leaves
    Message.objects.update(state="sent")
    (row,) = client.get(address).json()["in_vain"]
    assert (row["job"], row["kind"]) == (stop.job_id, "first")
    shown = client.get(page).content.decode()
    assert "none does any more. Call them." in shown
    assert "(614) 555-0101" in shown.partition("Call them.")[2]
    sent.number += 1  # the one without the stop; the next one has it again
    move(stop, 0)
    assert client.get(address).json()["in_vain"] == []


@pytest.mark.django_db
def test_the_office_reads_what_became_of_the_word(office: Any, client_of: Any, time_machine: Any) -> None:
    """Told is who was written to; whether it left stands beside it."""
    time_machine.move_to(EVE, tick=False)
    plan = sent_stop().route.sent.plan
    customers_tell(now=EVE)
    for state, words in (("waiting", "waiting"), ("failed", "failed"), ("sending", "sending, result unknown")):
        Message.objects.update(state=state, claimed_at=EVE)
        shown = client_of(office).get(reverse("dispatch:sent", args=[plan.pk])).content.decode()
        assert f">{words}</span>" in shown


@pytest.mark.django_db
def test_a_program_tells_and_sets_when(office: Any, crew_lead: Any, client_of: Any, time_machine: Any) -> None:
    """As on the page: once, and again only what changed; the hour is one of the day."""
    time_machine.move_to(EVE - timedelta(hours=5), tick=False)
    stop = sent_stop()
    api, address = client_of(office), f"/api/day-plans/{stop.route.sent.plan_id}/telling/"
    (row,) = api.get(address).json()["stops"]
    assert (row["stop"], row["news"], row["channel"], row["told"]) == (stop.pk, "first", "email", None)
    assert [api.post(address).json()["written"] for _ in range(2)] == [1, 0]
    (row,) = api.get(address).json()["stops"]
    assert (row["news"], row["told"]["kind"], row["told"]["message_state"]) == ("", "first", "waiting")
    settings = "/api/telling-settings/"
    assert api.patch(settings, {"from_hour": 17}, "application/json").json() == {
        "day_before": True, "from_hour": 17, "on_our_way": True,
    }  # fmt: skip
    assert api.patch(settings, {"from_hour": 23}, "application/json").status_code == 400
    assert api.get(settings).json()["from_hour"] == 17
    for refused in (address, settings):
        assert client_of(crew_lead).get(refused).status_code == 403


@pytest.mark.django_db
def test_a_word_that_came_too_late_is_not_sent_again(office: Any) -> None:
    """Nobody hears tomorrow that the crew comes today."""
    sent_stop()
    customers_tell(now=EVE)
    day_after = EVE + timedelta(days=2)
    assert messages_dispatch(now=day_after).dropped == 1
    with pytest.raises(Refused, match="is over by now"):
        message_send_again(message_id=Message.objects.get().pk, reason="why not", actor=office, now=day_after)


@pytest.mark.django_db
def test_it_can_be_switched_off(owner: Any) -> None:
    stop = sent_stop()
    telling_settings_set(actor=owner, day_before=False, on_our_way=False)
    assert customers_tell(now=EVE) == 0
    with pytest.raises(Refused, match="switched off"):
        on_our_way(stop=stop, now=EIGHT)
    with pytest.raises(Exception, match="8 to 20"):
        telling_settings_set(actor=owner, from_hour=21)


@pytest.mark.django_db
def test_the_office_sees_who_was_told_and_tells_at_once(office: Any, client_of: Any, time_machine: Any) -> None:
    """Before the hour, on purpose; whoever cannot be written to stands there with the number to call."""
    time_machine.move_to(EVE - timedelta(hours=5), tick=False)
    stop = sent_stop()
    plan, client = stop.route.sent.plan, client_of(office)
    page = client.get(reverse("dispatch:sent", args=[plan.pk])).content.decode()
    assert "not yet" in page
    client.post(reverse("dispatch:tell", args=[plan.pk]))
    assert told() == [("first", "email")]
    assert "told the day before" in client.get(reverse("dispatch:sent", args=[plan.pk])).content.decode()
    client.post(reverse("dispatch:telling", args=[plan.pk]), {"from_hour": "30", "day_before": "on"})
    client.post(reverse("dispatch:telling", args=[plan.pk]), {"from_hour": "17", "day_before": "on"})
    assert plan_tell(plan=plan, now=EVE) == 0


@pytest.mark.django_db
def test_the_phone_and_the_api_say_it(crew_lead: Any, client_of: Any, time_machine: Any) -> None:
    """One tap; the button then says that it was said. Another crew's lead may not."""
    time_machine.move_to(EIGHT, tick=False)
    stop = sent_stop()
    stop.route.crew.lead = crew_lead
    stop.route.crew.save()
    client = client_of(crew_lead)
    assert "Tell them: on our way" in client.get(reverse("dispatch:crew_today")).content.decode()
    client.post(reverse("dispatch:crew_coming", args=[stop.pk]))
    assert "Told: on our way" in client.get(reverse("dispatch:crew_today")).content.decode()
    body = client.post(f"/api/stops/{stop.pk}/on-our-way/").json()
    assert (body["kind"], ToldTime.objects.count()) == ("on_our_way", 1)
    stranger = client_of(factories.make_user(username="other", role="crew_lead"))
    assert stranger.post(f"/api/stops/{stop.pk}/on-our-way/").status_code == 404


@pytest.mark.django_db
def test_the_command_tells(time_machine: Any) -> None:
    time_machine.move_to(EVE, tick=False)
    sent_stop()
    out = StringIO()
    call_command("tell_customers", stdout=out)
    assert out.getvalue() == "1 messages written.\n"


@given(MOMENTS, st.integers(-600, 600))
def test_what_is_told_holds_the_arrival(arrives: datetime, later: int) -> None:
    """The told window holds the planned arrival, begins on a quarter hour, and news come only from outside of it."""
    window = window_to_tell(Coming(arrives))
    assert window[0] <= arrives <= window[1]
    assert window[0].minute % 15 == window[0].second == window[0].microsecond == 0
    assert window[1] - window[0] == timedelta(minutes=TOLD_MINUTES)
    moved = arrives + timedelta(minutes=later)
    outside = not window[0] <= moved <= window[1]
    assert (news(Coming(moved, told=window)) == "changed") is outside
    assert news(Coming(moved)) == "first"
