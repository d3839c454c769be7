"""An estimate reckons with access and soil as somebody said them, and says them of the job that it makes."""

import json
from datetime import date, timedelta
from io import StringIO

import pytest
import time_machine
from django.core.management import call_command

from jobs.work.minutes import conditions_at, property_forecast
from jobs.work.models import Job
from jobs.work.services import job_conditions_set
from pricing.catalogue.domain import Access, Soil
from pricing.catalogue.services import catalogue_defaults
from pricing.estimates.models import Estimate
from pricing.minutes.domain.features import JobFeatures
from pricing.minutes.inputs import LineBooking
from pricing.minutes.selectors import conditions_of
from pricing.minutes.services import minutes_import, model_fit
from tests import factories

TODAY = date(2026, 6, 1)
HEAVY_GOING = (Access.TIGHT, Soil.HEAVY)


@pytest.fixture
def place(db, moment):
    """A house, and sixty washes of which those with tight access and heavy soil took half as long again."""
    catalogue_defaults(on=date(2026, 1, 1))
    kinds = (
        (JobFeatures("house_wash", 1600), 80),
        (JobFeatures("house_wash", 1600, access=Access.TIGHT, soil=Soil.HEAVY), 120),
    )
    minutes_import(
        LineBooking(n, 10_000 + n, TODAY - timedelta(days=61 - n), kinds[n % 2][0], kinds[n % 2][1] + n % 7)
        for n in range(60)
    )
    model_fit(today=TODAY)
    return factories.make_property()


@pytest.fixture
def moment():
    with time_machine.travel("2026-06-01T16:00:00Z", tick=False):
        yield


def posted(**more):
    form = {"lines-TOTAL_FORMS": "1", "lines-INITIAL_FORMS": "0", "lines-0-quantity": "1600"}
    return form | {"lines-0-service": factories._service("house_wash").pk, "tax_millionths": ""} | more


def minutes_of(client, address, **more):
    assert client.post(address, posted(**more)).status_code == 302
    return Estimate.objects.latest("pk").lines.get().minutes


def test_the_job_s_own_then_the_newest_of_the_house_then_usual(place):
    """An older job's word holds for the house until a newer one has its own."""
    assert conditions_at(place) == (Access.USUAL, Soil.USUAL)
    old, lead = factories.make_job(property=place), factories.make_job(property=place, state="lead")
    job_conditions_set(job=old, access="tight", soil="heavy")
    job_conditions_set(job=factories.make_job(), access="easy", soil="light")  # another house
    assert conditions_at(place, lead) == HEAVY_GOING
    job_conditions_set(job=lead, access="easy", soil="usual")
    assert conditions_at(place) == conditions_at(place, lead) == (Access.EASY, Soil.USUAL)
    assert conditions_at(place, old) == HEAVY_GOING


def test_the_minutes_follow_the_lead(client_of, office, place):
    """The page shows what was said of the lead, and its minutes are those of such houses."""
    client, lead = client_of(office), factories.make_job(property=place, state="lead")
    address = f"/jobs/{lead.pk}/estimates/new/"
    usual = minutes_of(client, address)
    assert conditions_of(job_refs=[lead.pk]) == {}  # nobody said anything
    job_conditions_set(job=lead, access="tight", soil="heavy")
    assert client.get(address).context["form"].initial["access"] == "tight"
    assert minutes_of(client, address) > 1.2 * usual


def test_what_the_office_sets_on_the_way_stays_with_the_job(client_of, office, place):
    """A new lead from the house's page; even usual, where the house was said to be tight."""
    client, address = client_of(office), f"/properties/{place.pk}/estimates/new/"
    hard = minutes_of(client, address, access="tight", soil="heavy")
    first = Job.objects.latest("pk")
    assert conditions_of(job_refs=[first.pk]) == {first.pk: HEAVY_GOING}
    assert minutes_of(client, address) == hard  # left out: as said of the last job
    assert minutes_of(client, address, access="usual", soil="usual") < hard
    assert conditions_at(place) == (Access.USUAL, Soil.USUAL)
    assert client.post(address, posted(access="narrow")).status_code == 422


def test_for_programs_and_in_the_terminal(client_of, office, place):
    """Both say what they reckoned with."""
    body = {"property": place.pk, "lines": [{"service": "house_wash", "quantity": 1600}], "access": "tight"}
    answer = client_of(office).post("/api/estimates/reckon/", body, content_type="application/json").json()
    assert (answer["access"], answer["soil"]) == ("tight", "usual")
    wrong = client_of(office).post("/api/estimates/reckon/", body | {"soil": "mud"}, content_type="application/json")
    assert wrong.status_code == 400
    out = StringIO()
    call_command("estimate", str(place.pk), "house_wash=1600", "--access", "tight", "--json", stdout=out)
    assert json.loads(out.getvalue())["lines"] == answer["lines"]


def test_a_forecast_reads_them_too(place):
    """What nobody gives is what was said at the house."""
    ask = {"property_id": place.pk, "service_code": "house_wash", "quantity": 1600, "on": TODAY}
    usual = property_forecast(**ask)
    job_conditions_set(job=factories.make_job(property=place), access="tight", soil="heavy")
    assert property_forecast(**ask) == property_forecast(**ask, access="tight", soil="heavy")
    assert property_forecast(**ask, access="usual", soil="usual") == usual
