"""Whether the stock is enough for a planned day: on its page, by command, for programs."""

import io
import json
from typing import Any

import pytest
import time_machine
from django.core.management import CommandError, call_command

from jobs.mixing.models import Stock
from jobs.work.models import Job
from tests import factories

pytestmark = pytest.mark.django_db
WORDS = "The day needs 32.1 gal of Stock bleach, 20.0 gal at hand as reckoned. Count the jugs."


@pytest.fixture(autouse=True)
def noon() -> Any:
    with time_machine.travel("2026-06-02T16:00:00Z", tick=False) as traveller:
        yield traveller


@pytest.fixture
def plan() -> Any:
    """Two houses of 10,000 sq ft at 1 % from four jugs of 12.5 %."""
    product = factories.make_product(name="Stock bleach")
    factories.make_stock(product=product)
    service = factories.make_service()
    factories.make_mix(service=service, product=product)
    crew = factories.make_crew(code="A")
    jobs = [factories.make_job(lines=[{"service": service, "quantity": 10_000}]) for _number in range(2)]
    return factories.make_planned_day((crew, jobs))


def run(*arguments: str) -> str:
    out = io.StringIO()
    call_command("stock_at_hand", *arguments, stdout=out)
    return out.getvalue()


def test_the_day_says_that_it_is_short(client_of: Any, office: Any, plan: Any, noon: Any) -> None:
    """What is over needs none any more, nor does a day that has passed."""
    client, day = client_of(office), f"/day/{plan.yard.code}/2026-06-02/"
    assert WORDS in client.get(day).content.decode()
    (need,) = client.get(f"/api/day-plans/{plan.pk}/stock/").json()
    assert (need["is_short"], need["words"]) == (True, WORDS)
    Job.objects.filter(pk=plan.routes.get().stops.first().job_id).update(state="done")
    assert "The day needs" not in client.get(day).content.decode()
    (need,) = client.get(f"/api/day-plans/{plan.pk}/stock/").json()
    assert need["is_short"] is False
    noon.shift(86_400)
    assert client.get(f"/api/day-plans/{plan.pk}/stock/").json() == []
    assert client.get("/api/day-plans/999999/stock/").status_code == 404


def test_the_command(plan: Any) -> None:
    assert run() == "Stock bleach: 20.0 gal left as reckoned of 20.0 gal, since 2026-06-01\n"
    assert run("--date", "2026-06-02").splitlines()[1:] == [f"! {WORDS}"]
    found = json.loads(run("--date", "2026-06-02", "--json"))
    assert found["needs"][0]["is_short"] is True
    assert found["at_hand"][0]["left_ml"] == found["at_hand"][0]["delivered_ml"] == 75_708
    Job.objects.update(state="done")
    assert len(run("--date", "2026-06-02").splitlines()) == 1


def test_without_any(plan: Any) -> None:
    Stock.objects.all().delete()
    assert run() == "No delivery is open.\n"


@pytest.mark.parametrize("arguments", [("--date", "2026-06-09"), ("--date", "2026-06-02", "--yard", "nowhere")])
def test_no_such_day(plan: Any, arguments: tuple[str, ...]) -> None:
    with pytest.raises(CommandError):
        run(*arguments)
