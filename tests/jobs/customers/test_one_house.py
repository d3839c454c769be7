"""A house that was entered twice for one customer becomes one: nothing is lost, and it is done only on purpose."""

import json
from datetime import UTC, date, datetime, timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.customers.domain.houses import Doubt, House, doubts, twins
from jobs.customers.domain.identity import SHORT
from jobs.customers.models import Property
from jobs.customers.selectors import customer_get, property_get, twin_list
from jobs.customers.services import (
    customer_merge,
    export_customers,
    import_customers,
    import_jobs,
    one_house,
    one_house_plan,
    property_create,
    property_update,
)
from jobs.customers.services.index import own_reference
from jobs.reminders.answers import Answer, answer_take, offer_get
from jobs.reminders.listing import DueSheet
from jobs.reminders.models import Reminder
from jobs.reminders.selectors import due_list
from jobs.reminders.services import reminders_queue
from jobs.work.models import Job, Visit
from pricing.estimates.models import Estimate
from shared.errors import NotFound, Refused
from shared.events.models import Event
from tests import factories as make
from tests.jobs.customers.test_joining import HOUSES, _furnish, _histories

NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)
TODAY = date(2026, 6, 1)
JSON = "application/json"


@pytest.fixture
def two(db: None) -> tuple[Any, Any]:
    return _two()


def _two(other_street: str = "5 ash st.") -> tuple[Any, Any]:
    """Two entries of one customer's house; the second is the one that goes."""
    make.set_company()
    customer = make.make_customer(name="Ann Example", email="ann@example.com", phone_e164="+15555550101")
    mine = make.make_property(customer=customer, street="5 Ash Street", gate_note="Code 12")
    goes = make.make_property(customer=customer, street=other_street, gate_note="Back gate", pet_note="Dog")
    return mine, goes


def made_one(mine: Any, goes: Any, *, sure: bool = False, actor: Any = None) -> Any:
    done = one_house(keep=mine, other=goes, sure=sure, actor=actor, now=NOW)
    mine.refresh_from_db(), goes.refresh_from_db()
    return done


@pytest.fixture
def at_the_desk(client: Client, office: Any) -> Client:
    client.force_login(office)
    return client


def test_two_walls_that_become_one_are_named_once(two: Any) -> None:
    """Their names differ in capitals only, and one job line names both."""
    mine, goes = two
    stays = make.make_wall(property=mine, name="South wall")
    walls = [make.make_wall(property=goes, name=name) for name in ("South wall", "south wall", "North wall")]
    line = make.make_job(property=goes, lines=[{"walls": walls}]).lines.get()
    made_one(mine, goes)
    assert set(line.walls.all()) == {stays, walls[-1]}


# --- the rule ---

STREETS = st.builds(
    "{} {} {}".format, st.integers(1, 30), st.sampled_from(["Ash", "Elm", "Étoile"]), st.sampled_from(sorted(SHORT))
)
CODES = st.sampled_from(["", "00001", "00002"])


@given(STREETS, STREETS, CODES, CODES)
def test_doubts_do_not_depend_on_the_order_or_the_writing(one: str, two: str, code: str, other_code: str) -> None:
    """The same both ways round, none against oneself, none for capitals, stops and short forms of the same words."""
    first, second = House(1, 1, one, postal_code=code), House(2, 1, two, postal_code=other_code)
    assert doubts(first, second) == doubts(second, first)
    assert doubts(first, first) == ()
    short = " ".join(SHORT.get(word, word) for word in one.split()).upper() + "."
    assert doubts(first, House(3, 1, short, postal_code=code)) == ()


@given(st.lists(st.tuples(st.integers(1, 3), STREETS, CODES), max_size=12))
def test_twins_are_the_pairs_of_one_customer_without_a_doubt(rows: list[tuple[int, str, str]]) -> None:
    houses = [House(number, owner, street, postal_code=code) for number, (owner, street, code) in enumerate(rows)]
    expected = [
        (one.number, two.number)
        for one in houses
        for two in houses
        if one.number < two.number and one.customer == two.customer and not doubts(one, two)
    ]
    assert twins(houses) == expected


@pytest.mark.parametrize(
    ("other", "found"),
    [
        ({"street": "7 Ash Street"}, (Doubt.NUMBER,)),
        ({"street": "5 Elm Street"}, (Doubt.STREET,)),
        ({"postal_code": "00002"}, (Doubt.TOWN,)),
        ({"at": (40.0, -82.01)}, (Doubt.FAR,)),
        ({"at": (40.0, -82.0001)}, ()),
        ({"at": None, "postal_code": ""}, ()),
    ],
)
def test_what_speaks_for_two_houses(other: dict[str, Any], found: tuple[Doubt, ...]) -> None:
    house = {"customer": 1, "street": "5 Ash Street", "postal_code": "00001", "at": (40.0, -82.0)}
    assert doubts(House(1, **house), House(2, **{**house, **other})) == found


# --- what becomes of the rows ---


def test_everything_open_goes_on_at_the_entry_that_stays(two: Any, office: Any) -> None:
    """Jobs and leads, the plan that has one, the estimate that is out; both histories say who did it, and when."""
    mine, goes = two
    make.make_card()
    make.make_wall(property=goes)
    crew = make.make_crew()
    lead, agreed = make.make_job(property=goes, state="lead"), make.make_job(property=goes)
    plan = make.make_planned_day((crew, [agreed]), work_date=TODAY)
    estimate = make.make_estimate(place=goes)
    make.make_visit_of(make.make_service(), goes, date(2025, 6, 1))
    made_one(mine, goes, actor=office)
    assert set(Job.objects.filter(pk__in=(lead.pk, agreed.pk)).values_list("property", flat=True)) == {mine.pk}
    assert [stop.job.property for route in plan.routes.all() for stop in route.stops.all()] == [mine]
    assert Estimate.objects.get(pk=estimate.pk).property_ref == mine.pk
    assert Visit.objects.get().job.property == mine
    assert (goes.joined_into, goes.customer) == (mine, mine.customer)
    said = Event.objects.filter(kind__startswith="property.").values_list("kind", "subject_id", "actor")
    assert set(said) == {("property.joined", goes.pk, office.pk), ("property.took_over", mine.pk, office.pk)}


def test_the_entry_that_goes_is_listed_nowhere(two: Any, at_the_desk: Client) -> None:
    """Not with the customer, for programs or in the export; its page leads on, and the house names it."""
    mine, goes = two
    made_one(mine, goes)
    assert list(customer_get(pk=mine.customer_id).properties.all()) == [mine]
    assert at_the_desk.get(f"/api/customers/{mine.customer_id}/").json()["properties"] == [mine.pk]
    out = StringIO()
    export_customers(out)
    assert ("5 Ash Street" in out.getvalue(), "5 ash st." in out.getvalue()) == (True, False)
    with pytest.raises(NotFound, match=f"property {mine.pk} now"):
        property_get(pk=goes.pk)
    assert at_the_desk.get(f"/properties/{goes.pk}/").headers["Location"] == f"/properties/{mine.pk}/"
    assert f"5 ash st., Sampleton, OH 00001 (#{goes.pk})" in at_the_desk.get(f"/properties/{mine.pk}/").content.decode()
    assert twin_list() == []


def test_the_other_way_of_writing_is_free_again(two: Any) -> None:
    """The house may be written as the entry that went was; twice among those that are listed it may not be."""
    mine, goes = two
    made_one(mine, goes)
    property_update(place=mine, actor=None, street="5 ash st.")
    with pytest.raises(Exception, match="at this address already"):
        property_create(customer=mine.customer, actor=None, street="5 ash st.", postal_code=mine.postal_code)


def test_two_houses_need_somebody_who_is_sure(db: None, office: Any) -> None:
    """Refused with every doubt, nothing changed; then done, and the history says against what."""
    mine, goes = _two("7 Elm Street")
    make.make_job(property=goes)
    with pytest.raises(Refused, match=r"house numbers differ: 5 Ash Street.*7 Elm Street.*Nothing was changed"):
        made_one(mine, goes)
    goes.refresh_from_db()
    assert (goes.joined_into, goes.jobs.count(), Event.objects.filter(kind="property.joined").count()) == (None, 1, 0)
    made_one(mine, goes, sure=True, actor=office)
    assert Event.objects.get(kind="property.joined").data == {"into": mine.pk, "doubts": ["number"]}


def test_work_that_is_going_on_is_not_pulled_away(two: Any) -> None:
    """A crew that is there, or what was found for a job that is not done; sure or not. The other way round it is."""
    mine, goes = two
    job = make.make_job(property=goes, state="on_site")
    with pytest.raises(Refused, match=f"a crew is at work on job {job.pk}"):
        made_one(mine, goes, sure=True)
    Job.objects.filter(pk=job.pk).update(state="agreed")
    make.make_walkthrough(job=job)
    with pytest.raises(Refused, match="Keep that entry instead"):
        made_one(mine, goes, sure=True)
    assert one_house_plan(keep=goes, other=mine).obstacles == ()


def test_it_needs_two_entries_of_one_customer(two: Any) -> None:
    mine, goes = two
    elsewhere = make.make_property(street="5 Ash Street")
    for other, said in ((mine, "one and the same"), (elsewhere, "of two customers")):
        with pytest.raises(Refused, match=said):
            made_one(mine, other, sure=True)
    made_one(mine, goes)
    with pytest.raises(Refused, match="joined with another entry already"):
        made_one(mine, goes)


def test_nobody_hears_of_one_house_twice(two: Any) -> None:
    """What waits about the entry that goes is called off and may be proposed anew; what was sent counts."""
    mine, goes = two
    wash = make.make_service()
    make.make_interval(property=goes, service=wash)
    reminders_queue(keys=[item.key for item in due_list(today=TODAY)], actor=None, now=NOW, hold_back=False)
    message = Reminder.objects.get().message
    assert made_one(mine, goes).called_off == 1
    message.refresh_from_db()
    assert (message.state, message.problem) == ("dropped", "Its house was entered twice and is one now.")
    assert {item.property_id for item in due_list(today=TODAY)} == {mine.pk}


@pytest.mark.parametrize("answers_late", [True, False])
def test_an_answer_to_an_old_reminder_is_about_the_house_that_stays(two: Any, answers_late: bool) -> None:
    """Both entries were written about in one message: it offers the work once, and a yes is a job at the house, also
    where the two become one while it is answered."""
    mine, goes = two
    wash = make.make_service(code="house_wash")
    message = make.make_message(state="sent", claimed_at=NOW)
    for place in two:
        Reminder.objects.create(property=place, kind=wash.code, due_on=TODAY, message=message, created_at=NOW)
    offer = offer_get(customer_id=mine.customer_id, written_on=TODAY)
    made_one(mine, goes)
    if answers_late:
        offer = offer_get(customer_id=mine.customer_id, written_on=TODAY)
        assert [thing.reminder.property for thing in offer.things] == [mine]
    yes = Answer("yes", reminder_ids=[thing.reminder.pk for thing in offer.things])
    answer_take(offer=offer, answer=yes, free_days=list, now=NOW)
    assert Job.objects.get().property == mine


def test_merging_the_customer_later_takes_both_along(two: Any) -> None:
    """The customer turns out to be another's entry, who has the house as well: one house is left."""
    mine, goes = two
    keep = make.make_customer(phone_e164="+15555550101")
    third = make.make_property(customer=keep, street="5 Ash St")
    made_one(mine, goes)
    customer_merge(keep=keep, other=mine.customer, actor=None, now=NOW)
    mine.refresh_from_db(), goes.refresh_from_db()
    assert (goes.joined_into, mine.joined_into) == (third, third)


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(HOUSES, HOUSES)
def test_nothing_is_lost(db: None, one: dict[str, Any], two: dict[str, Any]) -> None:
    """Whatever stood at either entry stands at the one that stays; page and database agree about what is due there."""
    with transaction.atomic():
        mine, goes = _two()
        services = [make.make_service(), make.make_service(removes_chalk=True)]
        _furnish(mine, one, services)
        _furnish(goes, two, services)
        before = _histories([mine, goes])
        made_one(mine, goes)
        assert _histories([mine]) == before
        due = due_list(today=TODAY, lead_days=30)
        assert {item.property_id for item in due} <= {mine.pk}
        assert list(DueSheet(today=TODAY, lead_days=30)) == due
        transaction.set_rollback(True)


# --- files from before ---


def _jobs_file(tmp_path: Any, row: str) -> Any:
    file = tmp_path / "jobs.csv"
    file.write_text(f"property_ref,customer_name,email,street,service,price,minutes,job_state\n{row},300,90,agreed\n")
    with file.open("rb") as opened:
        return import_jobs(opened, dry_run=False, actor=None)


@pytest.mark.parametrize(
    "row",
    [
        "P-9,,,,house_wash", "{own},,,,house_wash", ",Ann Example,ann@example.com,9 Elm Street,house_wash",
    ],
)  # fmt: skip
def test_an_old_file_of_jobs_finds_the_house(db: None, tmp_path: Any, row: str) -> None:
    """By the reference, our own name or the street of the entry that went."""
    mine, goes = _two("9 Elm Street")
    Property.objects.filter(pk=goes.pk).update(reference="P-9")
    make.make_service(code="house_wash")
    made_one(mine, goes, sure=True)
    report = _jobs_file(tmp_path, row.format(own=own_reference(goes)))
    assert (report.refused, Job.objects.get().property) == (0, mine)


@pytest.mark.parametrize(("reference", "street"), [("P-9", "9 Elm Street"), ("{own}", "9 Elm St"), ("", "9 Elm St")])
def test_an_old_file_of_customers_does_not_enter_it_again(db: None, tmp_path: Any, reference: str, street: str) -> None:
    """It is told which entry goes on, and changes nothing."""
    mine, goes = _two("9 Elm Street")
    Property.objects.filter(pk=goes.pk).update(reference="P-9")
    made_one(mine, goes, sure=True)
    file = tmp_path / "old.csv"
    row = f"Ann Example,ann@example.com,{reference.format(own=own_reference(goes))},{street},00001"
    file.write_text(f"customer_name,email,property_ref,street,postal_code\n{row}\n")
    with file.open("rb") as opened:
        report = import_customers(opened, dry_run=False, actor=None)
    assert (report.refused, Property.objects.count()) == (1, 2)
    assert own_reference(mine) in json.dumps([str(each) for each in report.refusals])


# --- edges ---


def test_the_page_shows_first_and_does_it_on_confirmation(two: Any, at_the_desk: Client) -> None:
    """The property's page leads there; looking changes nothing; the button does it."""
    mine, goes = two
    make.make_job(property=goes)
    assert "has the same address" in at_the_desk.get(f"/properties/{mine.pk}/").content.decode()
    assert f"/properties/{mine.pk}/join/{goes.pk}/" in at_the_desk.get(f"/properties/{mine.pk}/join/").content.decode()
    path = f"/properties/{mine.pk}/join/{goes.pk}/"
    page = at_the_desk.get(path).content.decode()
    assert "Make them one house" in page
    assert "look like two houses" not in page
    goes.refresh_from_db()
    assert goes.joined_into is None
    assert at_the_desk.post(path).status_code == 302
    assert at_the_desk.post(path).status_code == 404


def test_the_page_asks_whoever_joins_two_houses(db: None, at_the_desk: Client) -> None:
    """Without the tick it is refused and says why; obstacles leave no button."""
    mine, goes = _two("7 Ash Street")
    path = f"/properties/{mine.pk}/join/{goes.pk}/"
    answer = at_the_desk.post(path)
    assert answer.status_code == 422
    assert "The house numbers differ" in answer.content.decode()
    make.make_job(property=goes, state="on_site")
    stopped = at_the_desk.post(path, {"sure": "yes"})
    assert stopped.status_code == 422
    assert "Make them one house" not in stopped.content.decode()
    Job.objects.update(state="agreed")
    assert at_the_desk.post(path, {"sure": "yes"}).status_code == 302


def test_houses_that_are_there_twice_are_listed(two: Any, at_the_desk: Client) -> None:
    mine, goes = two
    page = at_the_desk.get("/customers/alike/").content.decode()
    assert f"/properties/{mine.pk}/join/{goes.pk}/" in page
    assert at_the_desk.get("/api/properties/twins/").json() == [{"first": mine.pk, "second": goes.pk}]
    out = StringIO()
    call_command("join_houses", stdout=out)
    assert f"Ann Example: #{mine.pk} 5 Ash Street" in out.getvalue()


def test_programs_join_as_well(two: Any, at_the_desk: Client) -> None:
    """A dry run by default; without `sure` no two houses; then it is done."""
    mine, goes = two
    Property.objects.filter(pk=goes.pk).update(street="7 Ash Street")
    path, body = f"/api/properties/{mine.pk}/join/", {"other": goes.pk}
    looked = at_the_desk.post(path, body, JSON).json()
    assert (looked["doubts"], looked["obstacles"], looked["into"]) == (["number"], [], mine.pk)
    assert at_the_desk.post(path, {**body, "dry_run": False}, JSON).status_code == 422
    done = at_the_desk.post(path, {**body, "dry_run": False, "sure": True}, JSON)
    assert (done.status_code, done.json()["noted"]) == (200, ["Gate: Back gate", "Pets: Dog"])
    assert at_the_desk.post(path, {**body, "dry_run": False}, JSON).status_code == 404
    assert at_the_desk.post(path, {"other": "x"}, JSON).status_code == 400


def test_the_command_joins(two: Any) -> None:
    """Dry first; numbers that are not there, or one alone, change nothing."""
    mine, goes = two
    make.make_job(property=goes)
    out = StringIO()
    call_command("join_houses", str(mine.pk), str(goes.pk), "--dry-run", stdout=out)
    assert "would move 1 jobs" in out.getvalue()
    goes.refresh_from_db()
    assert goes.joined_into is None
    for words, said in ((("1",), "two numbers"), ((str(mine.pk), "999999"), "no property 999999")):
        with pytest.raises(CommandError, match=said):
            call_command("join_houses", *words)
    out = StringIO()
    call_command("join_houses", str(mine.pk), str(goes.pk), "--json", stdout=out)
    assert json.loads(out.getvalue())["jobs"] == 1
    goes.refresh_from_db()
    assert goes.joined_into == mine


def test_it_is_the_offices(two: Any, client_of: Any, crew_lead: Any) -> None:
    mine, goes = two
    crew = client_of(crew_lead)
    assert crew.post(f"/properties/{mine.pk}/join/{goes.pk}/").status_code == 403
    assert crew.post(f"/api/properties/{mine.pk}/join/", {"other": goes.pk}, JSON).status_code == 403
    assert crew.get("/api/properties/twins/").status_code == 403
    goes.refresh_from_db()
    assert goes.joined_into is None


def test_what_waits_at_another_house_still_goes(two: Any) -> None:
    """Only what was written about the entry that goes is called off."""
    mine, goes = two
    message = make.make_message(created_at=NOW - timedelta(days=1))
    Reminder.objects.create(property=mine, kind="wash", due_on=TODAY, message=message, created_at=NOW)
    assert made_one(mine, goes).called_off == 0
    message.refresh_from_db()
    assert message.state == "waiting"
