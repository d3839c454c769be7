"""The page on which forecasts of minutes are judged."""

from datetime import date, timedelta

import pytest
import time_machine

from pricing.catalogue.services import catalogue_defaults
from pricing.minutes.domain.features import JobFeatures
from pricing.minutes.inputs import LineBooking
from pricing.minutes.selectors import minutes_choice_get
from pricing.minutes.services import history_replay, minutes_import, model_fit
from shared.company.selectors import company_get

pytestmark = pytest.mark.django_db
PAGE = "/rates/minutes/"
DAY = date(2026, 6, 15)
WASH = JobFeatures("house_wash", 1600)  # the card: 20 + 60 minutes


@pytest.fixture(autouse=True)
def today():
    """15 June 2026, noon in New York."""
    with time_machine.travel("2026-06-15T16:00:00Z", tick=False):
        yield


@pytest.fixture
def judged():
    """Twenty washes of 70 to 89 minutes, and one that was booked with 400; the card expected 80."""
    catalogue_defaults(on=date(2026, 1, 1))
    minutes = [*range(70, 90), 400]
    days = [DAY - timedelta(days=21 - n) for n in range(21)]
    minutes_import(LineBooking(n, 1000 + n, days[n], WASH, minutes[n]) for n in range(21))
    history_replay(since=DAY - timedelta(days=25), until=DAY)
    model_fit(today=DAY)


def test_the_office_sees_shares_and_the_furthest_off(client_of, office, judged):
    """20 of 21 within the quantiles: 95.2 %, and the interval of Wilson's formula by hand: 77.3 to 99.2 %."""
    page = client_of(office).get(PAGE).content.decode()
    assert "Learnt from 21 booked lines of jobs done before 2026-06-15." in page
    assert "21 lines were judged" in page
    assert "95.2%" in page
    assert "77.3% – 99.2%" in page
    assert "nothing speaks against it" in page
    furthest = page[page.index("Furthest off") :]
    assert "500%" in furthest
    assert 'href="/jobs/1020/"' in furthest


def test_without_jobs_it_says_so(client_of, office):
    """A new company: no model, nothing judged, no error."""
    page = client_of(office).get(PAGE).content.decode()
    assert "Nothing is learnt yet" in page
    assert "No job has been booked" in page


def test_crew_leads_are_refused(client_of, crew_lead):
    """Rates and minutes are the office's."""
    assert client_of(crew_lead).get(PAGE).status_code == 403


def test_the_rates_page_leads_here(client_of, office, judged):
    """It lies beside the card that it judges."""
    assert f'href="{PAGE}"' in client_of(office).get("/rates/").content.decode()


def test_the_page_takes_the_same_few_queries_for_any_number_of_jobs(client_of, office, judged, assert_query_count):
    """Forecasts, bookings, model, company, session and user."""
    company_get()
    client = client_of(office)
    with assert_query_count("minutes page"):
        client.get(PAGE)


def test_the_owner_chooses_what_routes_reckon_with(client_of, owner, office):
    """The office sees the choice and cannot make it; a level that does not exist shows the form again."""
    address, chosen = f"{PAGE}choice/", {"promised": "q80", "routes": "agreed"}
    assert client_of(office).post(address, chosen).status_code == 403
    client = client_of(owner)
    assert client.post(address, chosen | {"promised": "q99"}).status_code == 422
    assert minutes_choice_get().promised == "mean"
    assert client.post(address, chosen).status_code == 302
    assert minutes_choice_get().promised == "q80"
    page = client_of(office).get(PAGE).content.decode()
    assert "4 of 5 jobs stay within" in page
    assert address not in page
