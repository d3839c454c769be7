"""Minutes for programs and at the terminal."""

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest
import time_machine
from django.core.management import CommandError, call_command

from pricing.catalogue.domain import Access, Soil
from pricing.catalogue.services import catalogue_defaults
from pricing.minutes.domain.features import JobFeatures
from pricing.minutes.inputs import LineBooking
from pricing.minutes.services import history_replay, minutes_import, model_fit
from tests import factories

pytestmark = pytest.mark.django_db
DAY = date(2026, 6, 15)
WASH = JobFeatures("house_wash", 1600)  # the card: 20 + 60 minutes


@pytest.fixture(autouse=True)
def today():
    """15 June 2026, noon in New York."""
    with time_machine.travel("2026-06-15T16:00:00Z", tick=False):
        yield


@pytest.fixture
def learnt():
    """Twenty washes of 105 to 114 minutes where the card says 80, every fourth half as long again: tight, soiled."""
    catalogue_defaults(on=date(2026, 1, 1))
    hard = replace(WASH, access=Access.TIGHT, soil=Soil.HEAVY)
    days = [DAY - timedelta(days=20 - n) for n in range(20)]
    minutes = [(105 + n % 10) * (3 if n % 4 == 0 else 2) // 2 for n in range(20)]
    minutes_import(LineBooking(n, 1000 + n, days[n], WASH if n % 4 else hard, minutes[n]) for n in range(20))
    history_replay(since=DAY - timedelta(days=25), until=DAY)
    model_fit(today=DAY)


@pytest.fixture
def place(learnt):
    place = factories.make_property(storeys=1)
    factories.make_wall(property=place, area_sqft=1600)
    return place


def ask(client, place, **more):
    return client.get("/api/minutes/forecast/", {"property_id": place.pk, "service_code": "house_wash", **more})


def test_a_forecast_with_its_reasons(client_of, office, place):
    """1,600 sq ft of wall: 80 minutes by the card, more by the company's own jobs, and why."""
    client = client_of(office)
    found = ask(client, place).json()
    assert (found["card_minutes"], found["service_jobs"]) == (80, 20)
    assert 95 < found["mean_minutes"] < 120
    assert found["median_minutes"] < found["q80_minutes"] < found["q90_minutes"]
    assert found["why"][0] == "Based on 20 jobs like this, 20 of the service."
    tight = ask(client, place, access="tight", soil="heavy", crew_code="north", quantity=1600).json()
    assert tight["mean_minutes"] > found["mean_minutes"]
    assert {"access", "soil"} <= {effect["factor"] for effect in tight["effects"]}


def test_what_cannot_be_forecast_is_said(client_of, office, crew_lead, place):
    """No such property or service, a quantity that has to be given, a level that does not exist, another role."""
    client = client_of(office)
    assert client.get("/api/minutes/forecast/", {"property_id": 999, "service_code": "house_wash"}).status_code == 404
    assert ask(client, place, service_code="moon_wash").status_code == 404
    assert ask(client, factories.make_property()).status_code == 422
    assert ask(client, place, access="narrow").status_code == 400
    assert ask(client_of(crew_lead), place).status_code == 403


def test_calibration(client_of, office, learnt):
    """All twenty judged against forecasts of before."""
    found = client_of(office).get("/api/minutes/calibration/").json()
    assert found["jobs"] == 20
    assert [row["level"] for row in found["levels"]] == [0.5, 0.8, 0.9]


def test_only_the_owner_chooses(client_of, owner, office):
    """The office reads it."""
    address, chosen = "/api/minutes/choice/", {"promised": "q90", "routes": "learnt"}
    assert client_of(office).get(address).json() == {"promised": "mean", "routes": "agreed"}
    assert client_of(office).put(address, chosen, content_type="application/json").status_code == 403
    assert client_of(owner).put(address, chosen, content_type="application/json").json() == chosen
    wrong = {"promised": "q99", "routes": "learnt"}
    assert client_of(owner).put(address, wrong, content_type="application/json").status_code == 400
    assert client_of(office).get(address).json() == chosen


def test_at_the_terminal(place, capsys):
    """The same forecast as text and as JSON, and the choice."""
    call_command("expected_minutes", place.pk, "house_wash")
    assert "Based on 20 jobs like this" in capsys.readouterr().out
    call_command("expected_minutes", place.pk, "house_wash", json=True)
    assert json.loads(capsys.readouterr().out)["mean_minutes"] > 80
    with pytest.raises(CommandError, match="no service"):
        call_command("expected_minutes", place.pk, "moon_wash")
    with pytest.raises(CommandError, match="1 or more"):
        call_command("expected_minutes", place.pk, "house_wash", quantity=0)
    call_command("minutes_choice", promised="q80")
    assert "4 of 5 jobs stay within" in capsys.readouterr().out
