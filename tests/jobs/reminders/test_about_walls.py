"""A reminder about chalk is about the walls that make it due: what it would bring, what is offered, what is agreed."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from jobs.customers.services.joining import house_join, join_plan
from jobs.reminders.answers import Answer, Offered, answer_settings_set, answer_take, offer_get
from jobs.reminders.domain.due import Cause, ForecastFact, IntervalFact, ReadingFact
from jobs.reminders.domain.kept_cause import cause_json, cause_kept
from jobs.reminders.domain.lint import claims, fears, links
from jobs.reminders.expected import UNKNOWN_MINUTES
from jobs.reminders.links import answer_token
from jobs.reminders.listing import DueSheet
from jobs.reminders.models import Reminder
from jobs.reminders.narrowing import DueWish
from jobs.reminders.proposal import Room, due_proposal
from jobs.reminders.selectors import DueItem, due_list
from jobs.reminders.services import reminders_queue
from jobs.reminders.wording import why_due_words
from jobs.walkthroughs.selectors.removal import removal_quote
from jobs.work.models import Job
from pricing.catalogue.models import Service
from tests import factories as make

NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)
TODAY = date(2026, 6, 1)
READ_ON = date(2026, 2, 1)


@pytest.fixture
def house(db: None, time_machine: Any) -> Any:
    """Two storeys, four walls of a thousand square feet, and the usual card."""
    time_machine.move_to(NOW, tick=False)
    make.set_company(timezone="America/New_York", reminder_lead_days=30)
    make.make_card()
    place = make.make_property(street="12 Alder Street", storeys=2, customer=make.make_customer(name="Ann Example"))
    for side, degrees in (("North", 0), ("East", 90), ("South", 180), ("West", 270)):
        make.make_wall(property=place, name=f"{side} wall", facing_degrees=degrees, area_sqft=1000)
    return place


def wall(house: Any, side: str) -> Any:
    return house.walls.get(name=f"{side} wall")


def read(house: Any, side: str, reading: float = 3, read_on: date = READ_ON) -> Any:
    found = wall(house, side)
    make.make_reading(wall=found, reading=reading, read_on=read_on)
    return found


def line() -> DueItem:
    """The one line about chalk; the statement of the list says the same."""
    (found,) = due_list(today=TODAY)
    assert list(DueSheet(today=TODAY)) == [found]
    return found


def offered(house: Any) -> Offered:
    (thing,) = offer_get(customer_id=house.customer_id, written_on=TODAY).things
    return thing


def remind() -> None:
    reminders_queue(keys=[item.key for item in due_list(today=TODAY)], actor=None, now=NOW, hold_back=False)


def page(house: Any) -> str:
    path = reverse("reminders:answer", args=[answer_token(house.customer_id, TODAY)])
    return Client().get(path).content.decode()


def test_the_line_counts_the_wall_of_its_reason(house: Any) -> None:
    """At 125 cents a square foot and 120 of them an hour, after 20 minutes of setting up; not the other three walls."""
    south = read(house, "South")
    found = line()
    assert found.reason == "South wall read 3 of 5 on 1 February 2026, no removal since"
    assert (found.wall_ids, found.price_cents, found.minutes) == ((south.pk,), 1_250_00, 520)


def test_every_wall_that_the_reason_counts_is_counted(house: Any) -> None:
    walls = sorted(read(house, side, reading).pk for side, reading in (("South", 3), ("West", 2)))
    read(house, "North", 1.5)
    found = line()
    assert found.reason.endswith("; 1 more wall at 2 or above")
    assert (list(found.wall_ids), found.price_cents) == (walls, 2_500_00)


def test_walls_that_pass_within_the_lead_time_are_counted(house: Any) -> None:
    """One that passes after it is not, until the list looks further ahead."""
    for side, days in (("South", 14), ("West", 29), ("East", 40)):
        passes = TODAY + timedelta(days=days)
        make.make_forecast(wall=wall(house, side), middle_on=passes, late_on=passes + timedelta(days=200))
    assert (len(line().wall_ids), line().price_cents) == (2, 2_500_00)
    (later,) = due_list(today=TODAY, lead_days=60)
    assert (len(later.wall_ids), later.price_cents) == (3, 3_750_00)
    assert list(DueSheet(today=TODAY, lead_days=60)) == [later]


def test_the_notice_asks_the_same_for_the_same_walls(house: Any) -> None:
    """One wall is chalky, its walk-around says so, and a season later the reminder names its price again."""
    job = make.make_job(property=house, lines=[{"service": Service.objects.get(code="house_wash")}])
    findings = [make.tested(each, 3 if each.facing_degrees == 180 else 0) for each in house.walls.all()]
    then = datetime(2026, 2, 1, 16, tzinfo=UTC)
    quote = removal_quote(make.make_walkthrough(job=job, walls=findings, walked_on=READ_ON, now=then))
    assert quote is not None
    found = line()
    assert [each.pk for each in quote.walls] == list(found.wall_ids)
    assert quote.quote.ask.price.total_cents == found.price_cents


@pytest.mark.parametrize("area", [None, 0])
def test_a_wall_of_unknown_size_is_priced_after_a_look(house: Any, area: int | None) -> None:
    """As in the notice; its time is what is reckoned with where nobody knows."""
    read(house, "South")
    house.walls.filter(pk=read(house, "West").pk).update(area_sqft=area)
    assert (line().price_cents, line().minutes) == (None, UNKNOWN_MINUTES)
    assert len(DueSheet(today=TODAY, wish=DueWish(price_from_cents=0))) == 0
    assert len(DueSheet(today=TODAY, wish=DueWish(minutes_up_to=UNKNOWN_MINUTES))) == 1
    assert len(DueSheet(today=TODAY, wish=DueWish(minutes_up_to=UNKNOWN_MINUTES - 1))) == 0
    remind()
    assert "price after a look" in page(house)
    assert list(offered(house).line_to_book.walls) == list(house.walls.filter(name__in=["South wall", "West wall"]))


def test_filters_go_by_the_walls(house: Any) -> None:
    read(house, "South")
    for wish, found in (
        (DueWish(price_from_cents=1_250_00), 1), (DueWish(price_from_cents=1_250_01), 0),
        (DueWish(minutes_up_to=520), 1), (DueWish(minutes_up_to=519), 0),
    ):  # fmt: skip
        assert len(DueSheet(today=TODAY, wish=wish)) == found


def test_what_recurs_is_for_the_whole_house(house: Any) -> None:
    """A wash, and a removal by the calendar too: nothing says that it is for some walls."""
    for code in ("house_wash", "chalk_removal"):
        make.make_interval(property=house, service=Service.objects.get(code=code), next_due_on=TODAY)
    found = due_list(today=TODAY)
    assert {item.kind: (item.wall_ids, item.price_cents) for item in found} == {
        "house_wash": ((), 1_040_00), "chalk_removal": ((), 5_000_00),
    }  # fmt: skip
    assert list(DueSheet(today=TODAY)) == found


def test_last_time_it_was_other_walls(house: Any) -> None:
    """So the card's minutes count for chalk."""
    north = wall(house, "North")
    removal = Service.objects.get(code="chalk_removal")
    visit = make.make_visit_of(removal, house, TODAY - timedelta(days=30), minutes=45)
    visit.lines.get().job_line.walls.set([north])
    read(house, "South")
    assert line().minutes == 520


def test_the_answer_page_names_walls_price_and_why(house: Any) -> None:
    """One sentence, the fact of the message; the other walls are not in the price."""
    read(house, "South")
    remind()
    shown = page(house)
    assert 'Chalk removal (the south wall): <span class="strong">$1,250.00</span>' in shown
    assert "On 1 February 2026 the chalk on the south wall read 3 on our scale of 0 (none) to 5." in shown
    assert "On 1 February 2026 the chalk on the south wall" in Reminder.objects.get().message.body


def test_the_answer_page_says_it_in_spanish(house: Any) -> None:
    house.customer.language = "es"
    house.customer.save()
    read(house, "South")
    remind()
    shown = page(house)
    assert "(la pared sur): <span" in shown
    assert "El 1 de febrero de 2026 la tiza (polvo blanco que deja el sol) en la pared sur marcó 3" in shown


def test_the_answer_page_says_how_long_ago_the_last_wash_was(house: Any) -> None:
    wash = Service.objects.get(code="house_wash")
    make.make_interval(property=house, service=wash, last_done_on=date(2025, 5, 3), next_due_on=date(2026, 5, 3))
    remind()
    assert "We last did this on 3 May 2025, 12 months ago." in page(house)
    assert "on 3 May 2025" in Reminder.objects.get().message.body


def test_a_yes_is_for_the_walls_that_were_offered(house: Any, owner: Any) -> None:
    """Their price, minutes and names are on the job, and the days that are offered have room for these minutes."""
    south = read(house, "South")
    remind()
    answer_settings_set(makes="agreed", actor=owner)
    offer = offer_get(customer_id=house.customer_id, written_on=TODAY)
    assert offer.minutes == line_minutes(offer) == 520
    day = TODAY + timedelta(days=4)
    answer = Answer("yes", [offered(house).reminder.pk], day)
    answer_take(offer=offer, answer=answer, free_days=lambda: [day], now=NOW)
    (made,) = Job.objects.get(state="agreed").lines.all()
    assert (made.price_cents, made.estimated_minutes, made.quantity) == (1_250_00, 520, 1000)
    assert list(made.walls.all()) == [south]


def line_minutes(offer: Any) -> int:
    return sum(thing.line.estimated_minutes for thing in offer.things)


def test_what_was_written_stands_while_it_is_thought_over(house: Any) -> None:
    """Another wall is read at the limit meanwhile, and the first one anew: the offer is what the message was about."""
    south = read(house, "South")
    remind()
    read(house, "West", read_on=TODAY)
    read(house, "South", 5, read_on=TODAY)
    assert list(offered(house).walls) == [south]
    assert '(the south wall): <span class="strong">$1,250.00</span>' in page(house)
    assert "read 3 on our scale" in page(house)


def test_of_older_reminders_nobody_knows_the_walls(house: Any) -> None:
    """Their page gives no price that may be wrong, and no reason."""
    Reminder.objects.create(
        property=house, kind="chalk", due_on=TODAY, reason="", message=make.make_message(state="sent"), created_at=NOW
    )
    assert "price after a look" in page(house)
    assert (offered(house).line, offered(house).cause) == (None, None)


def test_who_was_asked_counts_with_the_walls_that_were_offered(house: Any) -> None:
    """The work that may still come fills the room with the minutes of one wall."""
    read(house, "South")
    remind()
    found = due_proposal(today=TODAY, now=NOW, room=Room(100_000), detours=lambda places: {})
    assert found.pending_minutes == pytest.approx(520 / 7, rel=0.05)


def test_programs_are_told_which_walls(house: Any, office: Any, client_of: Any) -> None:
    south = read(house, "South")
    (row,) = client_of(office).get(reverse("api_due_list")).json()["results"]
    assert (row["wall_ids"], row["price_cents"], row["crew_minutes"]) == ([south.pk], 1_250_00, 520)


def test_a_wall_that_two_entries_had_stays_in_the_offer(house: Any) -> None:
    """When houses of one customer are joined, a reminder is about the wall that stays."""
    read(house, "South")
    remind()
    into = make.make_property(customer=house.customer, street="12 Alder St", storeys=2)
    stays = make.make_wall(property=into, name="south wall", area_sqft=1000)
    house_join(join_plan(house, into), actor=None)
    assert list(offered(into).walls) == [stays]
    assert offered(into).line_to_book.price_cents == 1_250_00


days = st.dates(date(2000, 1, 1), date(2100, 1, 1))
readings = st.integers(0, 10).map(lambda half_steps: Decimal(half_steps) / 2)
NAMES = st.sampled_from(["South wall", "the gable", "Garage & shed", "Mold-free wall", "urgent", "50% <b>", ""])
WALL = (st.just(1), st.integers(1, 9), NAMES, st.sampled_from(["face", "trim"]), st.none() | st.integers(0, 359))
FACTS = st.one_of(
    st.builds(IntervalFact, st.just(1), st.just("wash"), st.booleans(), st.integers(1, 60), st.none() | days, days),
    st.builds(ReadingFact, *WALL, readings, days),
    st.builds(ForecastFact, *WALL, readings, days, days, days, days),
)
CAUSES = st.builds(Cause, FACTS, st.integers(0, 3), st.just(Decimal("2.0")))


@given(CAUSES)
def test_a_cause_is_kept_as_it_was(cause: Cause) -> None:
    assert cause_kept(cause_json(cause)) == cause


@given(CAUSES, st.sampled_from(["en", "es"]), days)
def test_the_sentence_says_no_more_than_a_message_may(cause: Cause, language: str, today: date) -> None:
    """One sentence without claim, fear or link; none where the name of a wall would make it one."""
    with translation.override(language):
        words = why_due_words(cause, today)
    assert (claims(words), fears(words), links(words)) == ([], [], [])
    name = getattr(cause.fact, "wall_name", "")
    assert words.endswith(".") or (not words and name in ("Mold-free wall", "urgent"))
    assert ". " not in words
    assert "%(" not in words
