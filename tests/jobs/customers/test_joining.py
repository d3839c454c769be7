"""A house that two merged entries both have becomes one, with the history of both: nothing is lost."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.chalking.rows import book_of
from jobs.customers.models import Property
from jobs.customers.selectors import property_get, property_list
from jobs.customers.services import customer_merge, import_jobs, merge_plan
from jobs.reminders.listing import DueSheet
from jobs.reminders.models import DueHold, HeldBack, Reminder
from jobs.reminders.selectors import due_list
from jobs.walkthroughs.models import ChalkReading
from jobs.walkthroughs.selectors.walkthroughs import walkthrough_list
from jobs.work.models import Job, ServiceInterval, Visit
from pricing.estimates.models import Estimate
from shared.errors import NotFound, Refused
from tests import factories as make

NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)
TODAY = date(2026, 6, 1)


@pytest.fixture
def two(db: None) -> tuple[Any, Any]:
    """One house under two entries, written a little differently."""
    return _two()


def _two() -> tuple[Any, Any]:
    make.set_company()
    keep = make.make_customer(name="Ann Example", phone_e164="+15555550101")
    other = make.make_customer(name="A. Example", phone_e164="+15555550101")
    mine = make.make_property(customer=keep, street="5 Ash Street", gate_note="Code 12")
    goes = make.make_property(customer=other, street="5 ash st.", gate_note="Back gate", pet_note="Dog", note="Steep")
    return mine, goes


def joined(mine: Any, goes: Any, actor: Any = None) -> Any:
    done = customer_merge(keep=mine.customer, other=goes.customer, actor=actor, now=NOW)
    mine.refresh_from_db(), goes.refresh_from_db()
    return done


def test_the_plan_names_what_becomes_one(two: Any) -> None:
    """Which walls are added, which get the readings of both; looking changes nothing."""
    mine, goes = two
    stays = make.make_wall(property=mine, name="South wall")
    same, new = (make.make_wall(property=goes, name=name) for name in ("south wall", "Garage door"))
    make.make_reading(wall=same)
    make.make_job(property=goes)
    plan = merge_plan(keep=mine.customer, other=goes.customer)
    (join,) = plan.joined
    assert (plan.moved, plan.obstacles, plan.jobs) == ((), (), 1)
    assert (join.place, join.into, join.jobs, join.readings) == (goes, mine, 1, 1)
    assert (join.walls, join.same_walls) == ((new,), ((same, stays),))
    goes.refresh_from_db()
    assert goes.joined_into is None


def test_jobs_visits_and_walkthroughs_go_on_at_one_house(two: Any, office: Any) -> None:
    """Both histories under the house that stays; the row that goes leads there and is listed nowhere."""
    mine, goes = two
    wash = make.make_service()
    for place in two:
        make.make_visit_of(wash, place, date(2025, 6, 1))
        make.make_walkthrough(job=Job.objects.get(property=place))
    joined(mine, goes, office)
    assert (Visit.objects.filter(job__property=mine).count(), walkthrough_list(place=mine).count()) == (2, 2)
    assert list(property_list()) == [mine]
    with pytest.raises(NotFound, match=f"property {mine.pk} now"):
        property_get(pk=goes.pk)
    client = Client()
    client.force_login(office)
    assert client.get(f"/properties/{goes.pk}/").headers["Location"] == f"/properties/{mine.pk}/"
    page = client.get(f"/properties/{mine.pk}/").content.decode()
    assert page.count("2025-06-01") >= 2
    assert client.get(f"/properties/{goes.pk}/jobs/new/").status_code == 404
    assert client.get(f"/api/properties/{goes.pk}/").json()["joined_into"] == mine.pk


def test_a_wall_that_both_have_has_the_readings_of_both(two: Any) -> None:
    """The newest counts, wherever it was taken down: an old reading at the limit makes nothing due any more. The rows
    of the old wall are not touched, and the fit of the growth model counts each reading once."""
    mine, goes = two
    make.make_service(removes_chalk=True)
    stays = make.make_wall(property=mine, name="South wall", colour="", year_fitted=2010)
    old = make.make_wall(property=goes, name="South wall", colour="grey", year_fitted=1999)
    high = make.make_reading(wall=old, reading=3, read_on=date(2025, 5, 1), note="Thick")
    make.make_reading(wall=stays, reading=1, read_on=date(2026, 1, 10))
    line = make.make_job(property=goes, state="declined", lines=[{"walls": [old]}]).lines.get()
    assert [item.property_id for item in due_list(today=TODAY)] == [goes.pk]
    joined(mine, goes)
    read = ChalkReading.objects.filter(wall=stays).order_by("read_on").values_list("reading", "note")
    assert list(read) == [(3, "Thick"), (1, "")]
    high.refresh_from_db()
    assert high.wall == old
    assert due_list(today=TODAY) == list(DueSheet(today=TODAY)) == []
    assert len(book_of().readings) == 2
    assert list(line.walls.all()) == [stays]
    stays.refresh_from_db()
    assert (stays.colour, stays.year_fitted) == ("grey", 2010)


def test_a_wall_that_only_one_has_moves_with_its_readings(two: Any) -> None:
    mine, goes = two
    make.make_service(removes_chalk=True)
    wall = make.make_wall(property=goes, name="South wall")
    make.make_reading(wall=wall, reading=3, read_on=date(2025, 5, 1))
    joined(mine, goes)
    wall.refresh_from_db()
    assert wall.property == mine
    assert [item.property_id for item in due_list(today=TODAY)] == [mine.pk]
    assert due_list(today=TODAY) == list(DueSheet(today=TODAY))


@pytest.mark.parametrize("later", [0, 1])
def test_the_later_work_dates_the_interval(two: Any, later: int) -> None:
    """A house that was washed last month under the other entry is not due for last year's wash."""
    wash = make.make_service()
    for number, place in enumerate(two):
        done_on = date(2026, 5, 1) if number == later else date(2025, 5, 1)
        make.make_interval(property=place, service=wash, last_done_on=done_on, next_due_on=done_on.replace(year=2027))
    joined(*two)
    interval = ServiceInterval.objects.get()
    assert (interval.property, interval.last_done_on) == (two[0], date(2026, 5, 1))


def test_what_was_written_about_is_not_written_about_again(two: Any) -> None:
    """The reminder moves with the due date, so the key stands."""
    mine, goes = two
    wash = make.make_service()
    make.make_interval(property=goes, service=wash)
    Reminder.objects.create(
        property=goes, kind=wash.code, due_on=TODAY, reason="", message=make.make_message(state="sent"), created_at=NOW
    )  # fmt: skip
    joined(mine, goes)
    (item,) = due_list(today=TODAY)
    assert (item.property_id, item.state) == (mine.pk, "reminded")


@pytest.mark.parametrize(
    ("mine_until", "goes_until", "kept"),
    [
        (None, date(2026, 7, 1), None), (date(2026, 7, 1), None, None),
        (date(2026, 7, 1), date(2026, 8, 1), date(2026, 8, 1)), ("no hold", date(2026, 8, 1), date(2026, 8, 1)),
    ],
)  # fmt: skip
def test_the_longer_hold_counts(two: Any, mine_until: Any, goes_until: Any, kept: Any) -> None:
    """Whoever sold the house or asked for a later season under either entry is left alone."""
    for place, until in zip(two, (mine_until, goes_until), strict=True):
        if until != "no hold":
            DueHold.objects.create(property=place, until=until, reason="not_now", at=NOW)
    joined(*two)
    assert DueHold.objects.get(property=two[0]).until == kept


def test_whoever_was_held_back_stays_held_back(two: Any) -> None:
    """As one and the same person of the draw."""
    mine, goes = two
    make.make_interval(property=goes)
    HeldBack.objects.create(property=goes, kind="x", due_on=TODAY, message_key="reminder:k", at=NOW)
    joined(mine, goes)
    (item,) = due_list(today=TODAY)
    assert item.why_not.startswith("held back until")
    assert set(HeldBack.objects.values_list("message_key", flat=True)) == {"reminder:k"}
    assert due_list(today=TODAY) == list(DueSheet(today=TODAY))


def test_blanks_are_filled_and_the_rest_is_noted(two: Any) -> None:
    mine, goes = two
    Property.objects.filter(pk=mine.pk).update(latitude=None, longitude=None)
    Property.objects.filter(pk=goes.pk).update(reference="P-9", year_built=1988)
    mine.refresh_from_db(), goes.refresh_from_db()
    joined(mine, goes)
    assert (mine.coordinates, mine.year_built, mine.gate_note, mine.pet_note) == ((40, -82), 1988, "Code 12", "Dog")
    assert mine.note.splitlines() == ["Gate: Back gate", "Also has the reference P-9.", "Steep"]


def test_estimates_go_on_at_the_house_that_stays(two: Any) -> None:
    """An estimate that is out names its house and walls by number."""
    mine, goes = two
    make.make_card()
    stays = make.make_wall(property=mine, name="South wall")
    old = make.make_wall(property=goes, name="South wall")
    estimate = make.make_estimate(place=goes)
    line = estimate.lines.first()
    line.wall_refs = [old.pk]
    line.save()
    joined(mine, goes)
    estimate = Estimate.objects.get(pk=estimate.pk)
    assert (estimate.property_ref, estimate.lines.first().wall_refs) == (mine.pk, [stays.pk])


def test_begun_work_is_finished_first_or_kept(two: Any) -> None:
    """What was found for a job that is not done is looked up at its house; the other way round it can be done."""
    mine, goes = two
    make.make_walkthrough(job=make.make_job(property=goes))
    with pytest.raises(Refused, match="Keep that entry instead"):
        joined(mine, goes)
    goes.refresh_from_db()
    assert goes.joined_into is None
    assert merge_plan(keep=goes.customer, other=mine.customer).obstacles == ()


def test_an_old_file_finds_the_house_that_stays(two: Any, tmp_path: Any) -> None:
    """By the reference of the row that went."""
    mine, goes = two
    Property.objects.filter(pk=goes.pk).update(reference="P-9")
    make.make_service(code="house_wash")
    joined(mine, goes)
    file = tmp_path / "jobs.csv"
    file.write_text("property_ref,service,price,minutes,job_state\nP-9,house_wash,300,90,agreed\n")
    with file.open("rb") as opened:
        report = import_jobs(opened, dry_run=False, actor=None)
    assert (report.refused, Job.objects.get().property) == (0, mine)


def test_merging_once_more_takes_the_joined_rows_along(two: Any) -> None:
    """A third entry with the same house: every row leads to the last one."""
    mine, goes = two
    third = make.make_property(street="5 Ash Street")
    joined(mine, goes)
    joined(third, mine)
    goes.refresh_from_db()
    assert (goes.joined_into, mine.joined_into) == (third, third)


HOUSES = st.fixed_dictionaries(
    {
        "jobs": st.lists(st.sampled_from(["agreed", "done", "declined"]), max_size=2),
        "walls": st.lists(st.sampled_from(["South wall", "south wall ", "Shutters"]), max_size=2, unique=True),
        "readings": st.lists(st.tuples(st.integers(0, 1), st.integers(0, 400), st.integers(0, 10)), max_size=3),
        "intervals": st.dictionaries(st.integers(0, 1), st.integers(0, 700), max_size=2),
        "reminded": st.booleans(),
        "held_back": st.booleans(),
    }
)


def _furnish(place: Any, house: dict[str, Any], services: list[Any]) -> None:
    for state in house["jobs"]:
        if state == "done":
            make.make_visit_of(services[0], place, TODAY - timedelta(days=200), minutes=60)
        else:
            make.make_job(property=place, state=state, lines=[{"service": services[0]}])
    walls = [make.make_wall(property=place, name=name) for name in house["walls"]]
    for number, days, steps in house["readings"]:
        if number < len(walls):
            make.make_reading(wall=walls[number], read_on=TODAY - timedelta(days=days), reading=steps / 2)
    for number, days in house["intervals"].items():
        make.make_interval(
            property=place, service=services[number], last_done_on=TODAY - timedelta(days=days),
            next_due_on=TODAY - timedelta(days=days - 365),
        )  # fmt: skip
    if house["reminded"]:
        Reminder.objects.create(
            property=place, kind=services[0].code, due_on=TODAY, reason="", message=make.make_message(), created_at=NOW
        )  # fmt: skip
    if house["held_back"]:
        HeldBack.objects.create(property=place, kind="x", due_on=TODAY, message_key=f"reminder:{place.pk}", at=NOW)


def _histories(places: list[Any]) -> dict[str, Any]:
    """What there is at some houses, whichever row it hangs on."""
    readings = ChalkReading.objects.filter(wall__property__in=places)
    last = ServiceInterval.objects.filter(property__in=places).order_by("last_done_on")
    return {
        "jobs": set(Job.objects.filter(property__in=places).values_list("pk", flat=True)),
        "visits": Visit.objects.filter(job__property__in=places).count(),
        "readings": {(wall.strip().lower(), day, value) for wall, day, value in readings.values_list(
            "wall__name", "read_on", "reading")},
        "walls": {wall.strip().lower() for place in places for wall in place.walls.values_list("name", flat=True)},
        "last": dict(last.values_list("service", "last_done_on")),
        "reminded": set(Reminder.objects.filter(property__in=places).values_list("kind", "due_on")),
        "held": set(HeldBack.objects.filter(property__in=places).values_list("kind", "due_on")),
    }  # fmt: skip


@pytest.mark.django_db
@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(HOUSES, HOUSES)
def test_nothing_is_lost(one: dict[str, Any], two: dict[str, Any]) -> None:
    """Whatever stood at either row stands at the house that stays; page, rule and database agree about what is due;
    and nothing is due at the row that went."""
    with transaction.atomic():
        mine, goes = _two()
        services = [make.make_service(), make.make_service(removes_chalk=True)]
        _furnish(mine, one, services)
        _furnish(goes, two, services)
        before = _histories([mine, goes])
        joined(mine, goes)
        assert _histories([mine]) == before
        due = due_list(today=TODAY, lead_days=30)
        assert {item.property_id for item in due} <= {mine.pk}
        assert list(DueSheet(today=TODAY, lead_days=30)) == due
        transaction.set_rollback(True)
