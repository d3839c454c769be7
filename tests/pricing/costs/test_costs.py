"""Wages by worker and day, overtime by the week, and who may see them."""

import json
from datetime import date, timedelta
from io import StringIO

import pytest
import time_machine
from django.core.management import call_command
from hypothesis import given
from hypothesis import strategies as st

from pricing.costs.domain import Terms, booked_wage_cents, terms_on, week_start, worker_week
from pricing.costs.models import Bonus, CostSettings, MileageRate, Worker, WorkerTerms
from pricing.costs.selectors import (
    cost_settings_get,
    crew_wages_on,
    drawings_per_crew_hour,
    mileage_rates,
    wage_of_booking,
    week_hours,
)
from pricing.costs.services import bonus_add, cost_settings_set, worker_terms_set
from shared.events.models import Event
from tests.factories import make_earning, set_company

MONDAY = date(2026, 6, 1)
PAGE, API = "/wages/", "/api/week-hours/"


def hired(crew="heron", cents=1200, since=MONDAY - timedelta(days=100), burden=0):
    return Terms(since, crew, cents, burden)


def test_a_week_with_overtime_is_the_published_example():
    """29 CFR 778.110(a): 46 hours at $12 are $588, of which $36 is the premium of six hours."""
    worked = {("heron", MONDAY + timedelta(days=i)): minutes for i, minutes in enumerate([540] * 5 + [60])}
    week = worker_week("Ann", [hired()], worked, MONDAY)
    assert (week.worked_minutes, week.overtime_minutes, week.regular_rate_cents) == (46 * 60, 6 * 60, 12_00)
    assert (week.straight_cents, week.premium_cents, week.pay_cents) == (552_00, 36_00, 588_00)


def test_a_wage_that_changes_within_the_week_counts_by_the_day():
    """25 hours at $12 and 25 at $16 are $700: a regular rate of $14, ten hours of $7 on top."""
    worked = {("heron", MONDAY): 1500, ("heron", MONDAY + timedelta(days=3)): 1500}
    week = worker_week("Ann", [hired(), hired(cents=1600, since=MONDAY + timedelta(days=3))], worked, MONDAY)
    assert (week.straight_cents, week.regular_rate_cents, week.premium_cents) == (700_00, 14_00, 70_00)


def test_who_changes_the_crew_takes_the_hours_along():
    """Monday with one crew, Tuesday with another, gone on Wednesday."""
    days = [MONDAY + timedelta(days=i) for i in range(3)]
    terms = [hired("heron"), hired("otter", since=days[1]), hired("", since=days[2])]
    worked = {(crew, day): 60 for crew in ("heron", "otter") for day in days}
    assert worker_week("Ann", terms, worked, MONDAY).minutes[:3] == (60, 60, 0)
    assert terms_on(terms, days[2]) is None


@given(st.lists(st.integers(1, 700), min_size=1, max_size=12), st.integers(1, 60))
def test_bookings_of_a_week_add_up_to_its_pay(visits, dollars):
    """Booked one by one, each with the hours before it, the members' wages are what the week is paid."""
    terms, booked, minutes = [hired(cents=60 * dollars)], 0, 0
    for visit in visits:
        booked += booked_wage_cents(
            [terms], {("heron", MONDAY): minutes}, crew_code="heron", on=MONDAY, worked_minutes=visit
        )
        minutes += visit
    week = worker_week("Ann", terms, {("heron", MONDAY): minutes}, MONDAY)
    assert abs(booked - week.pay_cents) <= len(visits)


def test_nobody_in_the_crew_is_no_wage_of_nothing():
    """The caller then takes the wage of the whole crew."""
    found = booked_wage_cents([[hired("otter")]], {}, crew_code="heron", on=MONDAY, worked_minutes=60)
    assert found is None


@given(st.dates(date(2020, 1, 1), date(2030, 1, 1)), st.integers(0, 6))
def test_a_week_begins_on_the_chosen_weekday(day, starts_on):
    """And holds its day; Monday where nothing was chosen."""
    first = week_start(day, starts_on)
    assert first.weekday() == starts_on
    assert 0 <= (day - first).days <= 6
    assert week_start(day) == week_start(day, 0)


@given(st.integers(1, 6000), st.integers(0, 1_000_00), st.integers(0, 500_00), st.integers(5, 60))
def test_bonuses_raise_pay_by_what_was_promised_and_given(minutes, promised, gift, dollars):
    """A gift adds itself; a promised bonus itself and half its share of the rate on each overtime hour."""
    worked = {("heron", MONDAY): minutes}
    plain = worker_week("Ann", [hired(cents=100 * dollars)], worked, MONDAY)
    week = worker_week("Ann", [hired(cents=100 * dollars)], worked, MONDAY, promised_cents=promised, gift_cents=gift)
    on_top = promised * max(0, minutes - 2400) / minutes / 2
    assert week.pay_cents - plain.pay_cents == pytest.approx(promised + gift + on_top, abs=1)
    assert week.straight_cents + week.premium_cents + week.bonus_cents == week.pay_cents


def test_a_promised_bonus_is_the_published_example():
    """29 CFR 778.110(b): 46 hours at $12 and a $46 bonus: a regular rate of $13, $637 in all."""
    worked = {("heron", MONDAY + timedelta(days=i)): minutes for i, minutes in enumerate([540] * 5 + [60])}
    week = worker_week("Ann", [hired()], worked, MONDAY, promised_cents=46_00)
    assert (week.regular_rate_cents, week.premium_cents, week.pay_cents) == (13_00, 39_00, 637_00)
    idle = worker_week("Ann", [hired()], {}, MONDAY, promised_cents=46_00, gift_cents=5_00)
    assert (idle.regular_rate_cents, idle.pay_cents) == (None, 51_00)


@pytest.mark.django_db
def test_a_booking_costs_the_members_with_burden_and_overtime():
    """39 hours were worked; of two more hours one is overtime. $20 and $10, burden 10 % and the company's 20 %."""
    set_company(wage_burden_percent=20)
    since = date(2026, 1, 1)
    worker_terms_set(name="Ann", effective_from=since, crew_code="heron", cents_per_hour=2000, burden_percent=10)
    worker_terms_set(name="Bo", effective_from=since, crew_code="heron", cents_per_hour=1000)
    make_earning(work_date=MONDAY, crew_code="heron", on_site_minutes=38 * 60, drive_minutes=60)
    ask = {"on": MONDAY + timedelta(days=1), "worked_minutes": 120, "crew_cents_per_hour": 60_00}
    assert wage_of_booking(crew_code="heron", **ask) == 55_00 + 30_00  # 2.5 x 22 and 2.5 x 12
    assert wage_of_booking(crew_code="otter", **ask) == 144_00  # nobody entered: the crew's own wage
    assert crew_wages_on(on=MONDAY, usual_burden_percent=20) == {"heron": (3000, 13)}
    assert [week.worked_minutes for week in week_hours(day=MONDAY)] == [39 * 60, 39 * 60]


@pytest.mark.django_db
def test_a_wage_of_the_same_day_is_replaced_and_the_history_names_no_amount(owner):
    """One row a day; an event that anybody may read says that it was set."""
    for cents in (1800, 1900):
        worker_terms_set(name="Ann", effective_from=MONDAY, crew_code="heron", cents_per_hour=cents, actor=owner)
    assert WorkerTerms.objects.get().cents_per_hour == 1900
    assert "1900" not in str(Event.objects.filter(kind="worker.terms_set").latest("id").data)


@pytest.fixture
def paid(db):
    with time_machine.travel("2026-06-03T16:00:00Z", tick=False):
        worker_terms_set(name="Ann", effective_from=date(2026, 1, 1), crew_code="heron", cents_per_hour=2345)
        make_earning(work_date=MONDAY, crew_code="heron", on_site_minutes=100, drive_minutes=20)
        yield


def test_the_owner_sees_wages_hours_and_pay(client_of, owner, paid):
    """Two hours at $23.45, on the page and for programs."""
    page = client_of(owner).get(PAGE).content.decode()
    assert "$23.45" in page
    assert "$46.90" in page
    (week,) = client_of(owner).get(API).json()
    assert (week["name"], week["worked_minutes"], week["pay_cents"]) == ("Ann", 120, 46_90)
    assert "$46.90" not in client_of(owner).get(PAGE, {"week": "2026-05-20"}).content.decode()


def test_the_page_begins_with_the_last_week_that_was_worked(client_of, owner, paid):
    """Weeks later, out of season, it is not a table of nothing."""
    with time_machine.travel("2026-08-20T16:00:00Z", tick=False):
        assert "$46.90" in client_of(owner).get(PAGE).content.decode()


@pytest.mark.parametrize(
    "address",
    [PAGE, API, "/mileage/", "/api/cost-settings/", "/api/mileage-rates/", "/admin/costs/worker/"],
)
@pytest.mark.parametrize("role", ["office", "crew_lead"])
def test_nobody_else_sees_them(client_of, office, crew_lead, paid, address, role):
    """Neither the office nor a crew lead, by page, program or administration; nor do they set any."""
    client = client_of({"office": office, "crew_lead": crew_lead}[role])
    answer = client.get(address)
    assert answer.status_code in (302, 403)
    assert "23.45" not in answer.content.decode()
    for change in (PAGE, "/wages/bonus/", "/wages/settings/", "/mileage/", "/api/bonuses/"):
        assert client.post(change, {"name": "Bo"}).status_code == 403


def test_a_wage_is_set_by_the_form_and_a_wrong_one_keeps_what_was_typed(client_of, owner, paid):
    """Stored to the cent; without a wage the form comes back with the name."""
    entry = {"name": "Bo", "effective_from": "2026-06-03", "crew_code": "otter", "wage": "19.50", "burden_percent": ""}
    assert client_of(owner).post(PAGE, entry).status_code == 302
    assert Worker.objects.get(name="Bo").terms.get().cents_per_hour == 1950
    answer = client_of(owner).post(PAGE, entry | {"name": "Cy", "wage": "much"})
    assert answer.status_code == 422
    assert 'value="Cy"' in answer.content.decode()
    assert not Worker.objects.filter(name="Cy").exists()


@pytest.mark.django_db
def test_hours_before_the_chosen_weekday_are_another_week():
    """38 hours on Sunday, then four on Monday: two are overtime in a week from Sunday, none in one from Monday."""
    set_company(wage_burden_percent=0)
    worker_terms_set(name="Ann", effective_from=date(2026, 1, 1), crew_code="heron", cents_per_hour=2000)
    make_earning(work_date=MONDAY - timedelta(days=1), crew_code="heron", on_site_minutes=38 * 60, drive_minutes=0)
    ask = {"crew_code": "heron", "on": MONDAY, "worked_minutes": 240, "crew_cents_per_hour": 0}
    assert wage_of_booking(**ask) == 80_00
    cost_settings_set(week_starts_on=6, drawings_cents_a_year=None)
    assert wage_of_booking(**ask) == 100_00
    assert week_hours(day=MONDAY)[0].minutes == (38 * 60, 0, 0, 0, 0, 0, 0)


@pytest.mark.django_db
def test_drawings_on_each_crew_hour_of_the_year():
    """$10,000 over 50 crew-hours of two, of which 20 were worked by four; what is older does not count."""
    assert drawings_per_crew_hour(until=MONDAY) is None
    cost_settings_set(week_starts_on=0, drawings_cents_a_year=10_000_00)
    assert drawings_per_crew_hour(until=MONDAY) is None
    hours = {"setup_minutes": 0, "drive_minutes": 0}
    make_earning(work_date=MONDAY, on_site_minutes=30 * 60, **hours)
    make_earning(work_date=MONDAY, on_site_minutes=10 * 60, workers=4, **hours)
    make_earning(work_date=MONDAY - timedelta(days=365), on_site_minutes=60, **hours)
    assert drawings_per_crew_hour(until=MONDAY) == 200_00


def test_a_bonus_by_the_page_and_by_programs(client_of, owner, paid):
    """On the week's row; somebody who is not known, and no amount, are refused in words with nothing lost."""
    client = client_of(owner)
    entry = {"bonus-name": "Ann", "bonus-earned_on": "2026-06-03", "bonus-amount": "7.77", "bonus-reason": "speed"}
    answer = client.post("/wages/bonus/", entry | {"bonus-is_promised": "on"}, follow=True).content.decode()
    assert "$7.77" in answer
    wrong = client.post("/wages/bonus/", entry | {"bonus-name": "Nobody"})
    assert (wrong.status_code, 'value="Nobody"' in wrong.content.decode()) == (422, True)
    assert client.post("/wages/bonus/", entry | {"bonus-amount": "0"}).status_code == 422
    body = {"name": "Ann", "earned_on": "2026-06-02", "cents": 100, "is_promised": False, "reason": "birthday"}
    assert client.post("/api/bonuses/", body, content_type="application/json").status_code == 201
    unknown = client.post("/api/bonuses/", body | {"name": "Nobody"}, content_type="application/json")
    assert unknown.status_code == 404
    assert Bonus.objects.count() == 2
    (week,) = client.get(API).json()
    assert (week["promised_cents"], week["gift_cents"], week["pay_cents"]) == (7_77, 1_00, 46_90 + 8_77)
    out = StringIO()
    call_command("week_hours", "--json", stdout=out)
    assert json.loads(out.getvalue()) == [week]
    call_command("week_hours", "--day", "2026-06-01", stdout=out)
    assert "$55.67" in out.getvalue()


def test_work_week_and_drawings_are_set(client_of, owner, paid):
    """By the page and by programs; a weekday that does not exist changes nothing."""
    client = client_of(owner)
    sent = {"settings-week_starts_on": "6", "settings-drawings_cents_a_year": "1200.50"}
    assert client.post("/wages/settings/", sent).status_code == 302
    assert (cost_settings_get().week_starts_on, cost_settings_get().drawings_cents_a_year) == (6, 1200_50)
    assert "2026-05-31 to 2026-06-06" in client.get(PAGE).content.decode()
    assert client.post("/wages/settings/", sent | {"settings-week_starts_on": "7"}).status_code == 422
    body = {"week_starts_on": 0, "drawings_cents_a_year": None}
    assert client.put("/api/cost-settings/", body, content_type="application/json").json() == body
    assert client.get("/api/cost-settings/").json() == body
    assert CostSettings.objects.count() == 1


def test_mileage_rates_with_their_source(client_of, owner, paid):
    """The published ones until the owner enters another, by the page or by programs."""
    client = client_of(owner)
    page = client.get("/mileage/").content.decode()
    assert "0.725" in page
    assert "IRS Notice 2025-05" in page
    entry = {"year": "2027", "rate": "0.741", "source": "notice of December"}
    assert "0.741" in client.post("/mileage/", entry, follow=True).content.decode()
    assert client.post("/mileage/", entry | {"source": ""}).status_code == 422
    body = {"tenths_of_cent_per_mile": 730, "source": "notice, corrected"}
    put = client.put("/api/mileage-rates/2026/", body, content_type="application/json")
    assert put.json() == body
    assert mileage_rates() == {2027: 741, 2026: 730, 2025: 700, 2024: 670}
    assert client.get("/api/mileage-rates/").json()[1]["is_own"] is True
    assert client.put("/api/mileage-rates/1900/", body, content_type="application/json").status_code in (400, 422)
    assert MileageRate.objects.count() == 2


@pytest.mark.django_db
def test_the_history_names_no_bonus(owner):
    """Anybody may read that there was one, nobody how high."""
    worker_terms_set(name="Ann", effective_from=MONDAY, crew_code="heron", cents_per_hour=1800)
    bonus_add(name="Ann", earned_on=MONDAY, cents=4321, is_promised=True, reason="speed", actor=owner)
    assert "4321" not in str(Event.objects.get(kind="worker.bonus").data)
