"""The homeowner's answer to a reminder: one tap makes a job, holds back, or ends it; once, and only by the link."""

import re
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from jobs.customers.models import Consent
from jobs.reminders.answers import Answer, answer_settings_set, answer_take, offer_get
from jobs.reminders.domain.answers import (
    EMPTY_DAY_METRES,
    MOST_DAYS,
    SHORTEST_MINUTES,
    DayNear,
    ask_again_on,
    days_to_offer,
)
from jobs.reminders.links import answer_link, answer_target, answer_token, opt_out_token, shown_days_sign
from jobs.reminders.models import DueHold, ReminderAnswer
from jobs.reminders.selectors import due_list
from jobs.reminders.services import reminders_queue
from jobs.work.models import Job, ServiceInterval
from pricing.catalogue.models import Rate, RateCard
from routing.plans.models import Crew, ShiftException
from shared.errors import Conflict, Refused
from shared.outbox.models import Message
from shared.signed_links import LinkRefused
from tests import factories as make

NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)
TODAY = date(2026, 6, 1)


@pytest.fixture
def ann(db: None, time_machine: Any) -> Any:
    """A customer who was reminded today of a wash that is on the rate card."""
    time_machine.move_to(NOW, tick=False)
    make.set_company(name="Sample Washing", timezone="America/New_York", email="us@example.com")
    person = make.make_customer(name="Ann Example", email="ann@example.com", phone_e164="+16145550101")
    place = make.make_property(customer=person, street="12 Alder Street")
    make.make_wall(property=place, area_sqft=1200)
    service = make.make_service(name="House wash", name_es="Lavado de casa")
    Rate.objects.create(
        card=RateCard.objects.create(effective_from=date(2020, 1, 1)),
        service=service,
        price_cents_per_100_units=2_500,
        minimum_price_cents=20_000,
        materials_cents_per_100_units=120,
        setup_minutes=20,
        units_per_crew_hour=1_200,
        units_per_crew_hour_high=900,
    )
    ServiceInterval.objects.create(
        property=place, service=service, interval_months=12, next_due_on=TODAY + timedelta(days=9)
    )
    reminders_queue(keys=[item.key for item in due_list(today=TODAY)], actor=None, now=NOW)
    return person


THURSDAY, FRIDAY = date(2026, 6, 4), date(2026, 6, 5)


def crew_works(day: date) -> None:
    """One crew, eight hours, on that day alone."""
    crew = Crew.objects.first() or make.make_crew(patterns=False)
    ShiftException.objects.create(crew=crew, work_date=day, start_minute=480, end_minute=960)


def page(person: Any, day: date = TODAY) -> str:
    return reverse("reminders:answer", args=[answer_token(person.pk, day)])


def things(person: Any) -> list[int]:
    return [thing.reminder.pk for thing in offer_get(customer_id=person.pk, written_on=TODAY).things]


def test_the_reminder_carries_the_link(ann: Any) -> None:
    assert answer_link(ann.pk, TODAY) in Message.objects.get().body


def test_looking_changes_nothing(ann: Any) -> None:
    """House, price and days are shown; a mail scanner that opens the link answers nothing."""
    answer = Client().get(page(ann))
    shown = answer.content.decode()
    assert answer.status_code == 200
    assert "12 Alder Street" in shown
    assert "$" in shown
    assert "Yes, please" in shown
    Client().head(page(ann))
    assert not ReminderAnswer.objects.exists()


def test_yes_makes_a_lead_with_the_price_that_was_seen(ann: Any) -> None:
    """By default a lead: the office calls. The note comes along."""
    (line,) = [thing.line for thing in offer_get(customer_id=ann.pk, written_on=TODAY).things]
    assert line is not None
    answer = Client().post(page(ann), {"kind": "yes", "thing": things(ann), "day": "", "note": "Dog in the yard"})
    job = Job.objects.get()
    assert answer.status_code == 200
    assert (job.state, job.source, job.note) == ("lead", "reminder", "Dog in the yard")
    assert [row.price_cents for row in job.lines.all()] == [line.price_cents]
    assert ReminderAnswer.objects.get().jobs == [job.pk]


def test_yes_with_a_day_is_agreed_where_the_owner_wants_it(ann: Any, owner: Any) -> None:
    """Promised for that day, so that every plan keeps it."""
    answer_settings_set(makes="agreed", actor=owner)
    offer = offer_get(customer_id=ann.pk, written_on=TODAY)
    day = TODAY + timedelta(days=3)
    answer_take(offer=offer, answer=Answer("yes", things(ann), day), free_days=lambda: [day], now=NOW)
    job = Job.objects.get()
    window = job.windows.get()
    assert (job.state, window.first_date, window.promised) == ("agreed", day, True)


@pytest.mark.parametrize(
    ("makes", "before", "after"),
    [
        ("agreed", "Choose a day, and it is agreed", "It is agreed: we come on Thu, Jun 4"),
        ("lead", "We call you to settle the day.", "You would like us on Thu, Jun 4, 2026. We call you"),
    ],
)
def test_the_page_says_what_a_yes_means_before_and_after(
    ann: Any, owner: Any, makes: str, before: str, after: str
) -> None:
    """By the owner's setting; afterwards with what was ordered and its price, however often it is looked at."""
    crew_works(THURSDAY)
    answer_settings_set(makes=makes, actor=owner)
    assert before in Client().get(page(ann)).content.decode()
    Client().post(page(ann), {"kind": "yes", "thing": things(ann), "day": THURSDAY.isoformat()})
    for shown in (Client().get(page(ann)), Client().post(page(ann), {"kind": "sold"})):
        assert after in shown.content.decode()
        assert "House wash" in shown.content.decode()
        assert "12 Alder Street" in shown.content.decode()
        assert "$300.00" in shown.content.decode()
    Job.objects.update(state="called_off")
    assert "was called off" in Client().get(page(ann)).content.decode()


def test_a_day_that_was_taken_meanwhile_is_said_and_nothing_typed_is_lost(ann: Any, owner: Any) -> None:
    """The choice, the note and the months stay in the form; it is taken once it is offered again."""
    crew_works(THURSDAY)
    answer_settings_set(makes="agreed", actor=owner)
    form = {"kind": "yes", "thing": things(ann), "day": FRIDAY.isoformat(), "note": "Dog <b>loose", "months": "6"}
    answer = Client().post(page(ann), form)
    shown = answer.content.decode()
    assert answer.status_code == 422
    assert "We cannot offer this day any more." in shown
    assert "Dog &lt;b&gt;loose" in shown
    assert f'value="{things(ann)[0]}" checked' in shown
    assert '<option value="6" selected' in shown
    crew_works(FRIDAY)
    assert Client().post(page(ann), form).status_code == 200
    assert Job.objects.get().windows.get().first_date == FRIDAY


def test_a_day_that_was_never_offered_is_not_taken(ann: Any, owner: Any) -> None:
    """However free it is: a form written by hand chooses among the days of this link. The days are shown anew."""
    answer_settings_set(makes="agreed", actor=owner)
    days = [THURSDAY + timedelta(days=k) for k in range(MOST_DAYS + 1)]
    for day in days:
        crew_works(day)
    form = {"kind": "yes", "thing": things(ann), "day": days[-1].isoformat(), "note": "Dog loose"}
    other = shown_days_sign(answer_token(ann.pk, TODAY - timedelta(days=1)), days)
    for shown in ("", "no signature", other):
        answer = Client().post(page(ann), form | {"shown": shown})
        assert answer.status_code == 422
        assert "We cannot offer this day any more." in answer.content.decode()
        assert "Dog loose" in answer.content.decode()
        assert f'value="{THURSDAY.isoformat()}"' in answer.content.decode()
    assert not Job.objects.exists()


def test_a_day_that_the_page_offered_is_taken_though_others_are_offered_now(ann: Any, owner: Any) -> None:
    """As long as it has room: the page may have been open for days."""
    answer_settings_set(makes="agreed", actor=owner)
    last = THURSDAY + timedelta(days=MOST_DAYS)
    crew_works(last)
    carried = re.search(r'name="shown" value="([^"]+)"', Client().get(page(ann)).content.decode())
    assert carried
    for k in range(MOST_DAYS):
        crew_works(THURSDAY + timedelta(days=k))
    assert f'value="{last.isoformat()}"' not in Client().get(page(ann)).content.decode()
    form = {"kind": "yes", "thing": things(ann), "day": last.isoformat(), "shown": carried[1]}
    assert Client().post(page(ann), form).status_code == 200
    assert Job.objects.get().windows.get().first_date == last


def test_what_was_unticked_stays_unticked(ann: Any) -> None:
    """Nothing chosen is refused, and the page does not choose again by itself."""
    shown = Client().post(page(ann), {"kind": "yes", "note": "call first"}).content.decode()
    assert "Choose what you would like done." in shown
    assert f'value="{things(ann)[0]}" checked' not in shown


def test_a_yes_to_what_is_on_no_card_becomes_a_lead(ann: Any, owner: Any) -> None:
    """The page says that the price follows; the yes is kept as a lead even where others would be agreed."""
    answer_settings_set(makes="agreed", actor=owner)
    Rate.objects.all().delete()
    assert "price after a look" in Client().get(page(ann)).content.decode()
    days = [TODAY + timedelta(days=3)]
    offer = offer_get(customer_id=ann.pk, written_on=TODAY)
    answer_take(offer=offer, answer=Answer("yes", things(ann), days[0]), free_days=lambda: days, now=NOW)
    job = Job.objects.get()
    assert (job.state, job.lines.get().price_cents, job.lines.get().note) == ("lead", 0, "price after a look")


def test_only_offered_days_and_things_count(ann: Any) -> None:
    """A day that was not offered, nothing chosen, somebody else's reminder, months from nowhere."""
    offer = offer_get(customer_id=ann.pk, written_on=TODAY)
    for answer in (
        Answer("yes", things(ann), TODAY + timedelta(days=400)),
        Answer("yes"),
        Answer("yes", [999_999]),
        Answer("not_now", months=0),
        Answer("not_now", months=7),
        Answer("maybe"),
    ):
        with pytest.raises(Refused):
            answer_take(offer=offer, answer=answer, free_days=list, now=NOW)
    assert not ReminderAnswer.objects.exists()
    assert not Job.objects.exists()


def test_an_answer_counts_once(ann: Any) -> None:
    """The second one, by whoever else has the link, changes nothing and says so."""
    form = {"kind": "yes", "thing": things(ann)}
    assert Client().post(page(ann), form).status_code == 200
    again = Client().post(page(ann), {"kind": "never"})
    assert again.status_code == 409
    assert "answered already" in again.content.decode()
    assert (Job.objects.count(), ReminderAnswer.objects.get().kind) == (1, "yes")
    assert not Consent.objects.filter(given=False).exists()
    offer = offer_get(customer_id=ann.pk, written_on=TODAY)
    with pytest.raises(Conflict):
        answer_take(offer=offer, answer=Answer("sold"), free_days=list, now=NOW)


def test_not_now_holds_back_until_the_day(ann: Any) -> None:
    """Nothing is written before; the due list says why; then it is due again."""
    Client().post(page(ann), {"kind": "not_now", "months": "3"})
    ServiceInterval.objects.update(next_due_on=date(2026, 6, 20))
    (item,) = due_list(today=date(2026, 8, 31), lead_days=30)
    assert (item.state, item.is_ready) == ("waits", False)
    assert "1 September 2026" in item.why_not
    (item,) = due_list(today=date(2026, 9, 1), lead_days=30)
    assert item.is_ready


def test_sold_ends_it_for_the_house_until_the_office_says_otherwise(ann: Any, office: Any, client_of: Any) -> None:
    Client().post(page(ann), {"kind": "sold"})
    ServiceInterval.objects.update(next_due_on=date(2026, 6, 20))
    (item,) = due_list(today=date(2027, 6, 1), lead_days=30)
    assert "sold" in item.why_not
    client = client_of(office)
    shown = client.get(reverse("reminders:answers")).content.decode()
    assert "12 Alder Street" in shown.partition("Not reminded, as they asked")[2]  # "held back" means the draw
    client.post(reverse("reminders:hold_end", args=[DueHold.objects.get().pk]))
    (item,) = due_list(today=date(2027, 6, 1), lead_days=30)
    assert item.is_ready


def test_never_again_ends_every_message(ann: Any) -> None:
    Client().post(page(ann), {"kind": "never"})
    said = Consent.objects.filter(customer=ann, given=False)
    assert {(row.channel, row.purpose) for row in said} == {("email", "all"), ("text", "all")}


def test_the_page_speaks_spanish(ann: Any) -> None:
    ann.language = "es"
    ann.save()
    shown = Client().get(page(ann)).content.decode()
    assert "Lavado de casa" in shown
    assert "Sí, por favor" in shown


@pytest.mark.parametrize("damage", [lambda t: t[:-1], lambda t: "1" + t, lambda t: t.swapcase(), lambda t: "a.b.c"])
def test_a_link_that_was_altered_opens_nothing(ann: Any, damage: Any) -> None:
    address = reverse("reminders:answer", args=[damage(answer_token(ann.pk, TODAY))])
    for answer in (Client().get(address), Client().post(address, {"kind": "never"})):
        assert answer.status_code == 404
        assert "Alder" not in answer.content.decode()
    assert not ReminderAnswer.objects.exists()


def test_a_link_ends(ann: Any, time_machine: Any) -> None:
    """45 days, by the company's calendar."""
    assert answer_target(answer_token(ann.pk, TODAY), today=TODAY + timedelta(days=45)) == (ann.pk, TODAY)
    with pytest.raises(LinkRefused):
        answer_target(answer_token(ann.pk, TODAY), today=TODAY + timedelta(days=46))
    time_machine.move_to(NOW + timedelta(days=47), tick=False)
    assert Client().post(page(ann), {"kind": "never"}).status_code == 404
    assert not ReminderAnswer.objects.exists()


def test_the_way_out_stays_open_when_the_link_has_ended(ann: Any, time_machine: Any) -> None:
    """A text carries no other link: the page leads to the opt-out of the channel written by, before and after."""
    way_out = reverse("reminders:opt_out", args=[opt_out_token(ann.pk, "email")])
    assert way_out in Client().get(page(ann)).content.decode()
    time_machine.move_to(NOW + timedelta(days=400), tick=False)
    assert way_out in Client().get(page(ann)).content.decode()
    assert Client().post(way_out, {"scope": "all"}).status_code == 200
    assert ann.consents.filter(given=False, purpose="all").exists()


def test_what_is_over_is_said_in_the_customers_language(ann: Any, time_machine: Any) -> None:
    ann.language = "es"
    ann.save()
    time_machine.move_to(NOW + timedelta(days=47), tick=False)
    shown = Client().get(page(ann)).content.decode()
    for words in ("Este enlace ya no funciona", "Detener nuestros mensajes", 'lang="es"'):
        assert words in shown, words


def test_a_long_note_is_counted_as_the_page_counts_it(ann: Any) -> None:
    """A browser counts a line break once and sends it as two letters; what is really too long is said, and kept."""
    lines = "\r\n".join(["a"] * 250)  # 499 letters on the page
    too_long = Client().post(page(ann), {"kind": "not_now", "months": "3", "note": "b" * 501})
    assert (too_long.status_code, "at most 500 letters" in too_long.content.decode()) == (422, True)
    assert "b" * 501 in too_long.content.decode()
    assert Client().post(page(ann), {"kind": "not_now", "months": "3", "note": lines}).status_code == 200
    assert ReminderAnswer.objects.get().note == lines.replace("\r\n", "\n")


def test_a_link_of_another_day_shows_nothing_of_today(ann: Any) -> None:
    """A good signature for a day on which nothing was written."""
    assert Client().get(page(ann, TODAY - timedelta(days=1))).status_code == 404


@pytest.mark.parametrize(
    "form", [{}, {"kind": "all"}, {"kind": "yes", "thing": ["x", "9" * 30]}, {"kind": ["yes"], "day": "soon"}]
)
def test_a_form_that_makes_no_sense_is_refused(ann: Any, form: dict[str, Any]) -> None:
    assert Client().post(page(ann), form).status_code == 422
    assert not ReminderAnswer.objects.exists()


def test_only_the_owner_says_what_a_yes_makes(ann: Any, office: Any, owner: Any, client_of: Any) -> None:
    address = reverse("reminders:answer_settings")
    assert client_of(office).post(address, {"makes": "agreed"}).status_code == 403
    client_of(owner).post(address, {"makes": "agreed"})
    assert "selected" in client_of(owner).get(reverse("reminders:answers")).content.decode()


def test_programs_read_answers_and_holds(ann: Any, office: Any, owner: Any, crew_lead: Any, client_of: Any) -> None:
    """Narrowed by kind; a hold is taken away once; only the owner says what a yes makes."""
    Client().post(page(ann), {"kind": "not_now", "months": "3", "note": "painting first"})
    api, place = client_of(office), ann.properties.get()
    (row,) = api.get("/api/reminders/answers/?kind=not_now").json()["results"]
    assert (row["customer"], row["note"], row["ask_again_on"]) == (ann.pk, "painting first", "2026-09-01")
    assert api.get("/api/reminders/answers/?kind=yes").json()["results"] == []
    assert api.get("/api/reminders/answers/?kind=maybe").status_code == 400
    (held,) = api.get("/api/reminders/holds/").json()["results"]
    assert (held["property"], held["until"], held["reason"]) == (place.pk, "2026-09-01", "not_now")
    assert [api.delete(f"/api/reminders/holds/{held['id']}/").status_code for _ in range(2)] == [204, 404]
    settings = "/api/reminders/answer-settings/"
    assert api.get(settings).json() == {"makes": "lead"}
    assert api.put(settings, {"makes": "agreed"}, "application/json").status_code == 403
    for body, status in (({"makes": "agreed"}, 200), ({"makes": "magic"}, 400), ({}, 400)):
        assert client_of(owner).put(settings, body, "application/json").status_code == status
    assert api.get(settings).json() == {"makes": "agreed"}
    for address in ("answers/", "holds/", "answer-settings/"):
        assert client_of(crew_lead).get(f"/api/reminders/{address}").status_code == 403


DAY = st.builds(
    DayNear, st.dates(date(2026, 1, 1), date(2026, 2, 1)), st.none() | st.integers(0, 90_000), st.integers(0, 2_000)
)
DAYS = st.lists(DAY, unique_by=lambda day: day.work_date)


@given(DAYS, st.integers(0, 1_500))
def test_offered_days_have_room_and_none_better_is_passed_over(days: list[DayNear], needed: int) -> None:
    """At most four, in the calendar's order; no day that was passed over is nearer, earlier and well filled at once."""
    offered = days_to_offer(days, needed_minutes=needed)
    assert len(offered) <= MOST_DAYS
    assert offered == sorted(offered, key=lambda day: day.work_date)
    assert all(day in days and day.free_minutes >= needed for day in offered)
    passed = [day for day in days if day.free_minutes >= needed and day not in offered]
    assert not passed or len(offered) == MOST_DAYS
    for missed in passed:
        well_filled = missed.free_minutes == needed or missed.free_minutes >= needed + SHORTEST_MINUTES
        assert not any(
            metres_to(missed) < metres_to(day) and missed.work_date < day.work_date and well_filled for day in offered
        )


def metres_to(day: DayNear) -> int:
    return EMPTY_DAY_METRES if day.nearest_metres is None else day.nearest_metres


@pytest.mark.parametrize(
    ("first", "second", "better"),
    [
        (DayNear(date(2026, 6, 3), 3_000, 300), DayNear(date(2026, 6, 10), 900, 300), 1),
        (DayNear(date(2026, 6, 3), 3_000, 300), DayNear(date(2026, 6, 10), 1_100, 300), 0),
        (DayNear(date(2026, 6, 3), 3_000, 150), DayNear(date(2026, 6, 10), 2_500, 300), 1),
        (DayNear(date(2026, 6, 3), 3_000, 120), DayNear(date(2026, 6, 10), 2_500, 300), 0),
        (DayNear(date(2026, 6, 3), None, 300), DayNear(date(2026, 6, 3), 5_900, 300), 1),
    ],
)
def test_a_week_later_is_two_kilometres_and_so_is_a_scrap(first: DayNear, second: DayNear, better: int) -> None:
    """For a job of two hours: the later day must be 2 km nearer; a rest of half an hour costs as much as a week."""
    assert days_to_offer([first, second], needed_minutes=120, most=1) == [(first, second)[better]]


@given(st.dates(date(2020, 1, 1), date(2090, 1, 1)), st.sampled_from([1, 3, 6, 12]))
def test_asking_again_is_months_later(today: date, months: int) -> None:
    assert timedelta(days=27) <= ask_again_on(today, months) - today <= timedelta(days=367)
