"""Estimates for programs and on the command line: the same figures, the same refusals."""

import csv
import io
import json
from typing import Any

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.test import Client

from jobs.work.models import Job
from pricing.estimates.models import Estimate
from tests import factories

pytestmark = pytest.mark.django_db
JSON = "application/json"


@pytest.fixture(autouse=True)
def moment() -> Any:
    with time_machine.travel(factories.MOMENT, tick=False) as traveller:
        yield traveller


@pytest.fixture
def api(client_of: Any, office: Any) -> Client:
    return client_of(office)


def body_of(place: Any, **over: Any) -> dict[str, Any]:
    south = place.walls.get(name="south wall")
    lines = [{"service": "house_wash"}, {"service": "chalk_removal", "walls": [south.pk], "separately": True}]
    return {"property": place.pk, "lines": lines, "tax_millionths": 72_500, **over}


def test_reckoning_stores_nothing_and_making_stores_the_same(api: Client) -> None:
    """Both name the same prices; making answers with an ETag and a lead behind it."""
    factories.make_card()
    place = factories.make_chalky_house()
    reckoned = api.post("/api/estimates/reckon/", body_of(place), content_type=JSON)
    assert (reckoned.status_code, Estimate.objects.count()) == (200, 0)
    made = api.post("/api/estimates/", body_of(place), content_type=JSON)
    assert (made.status_code, made["ETag"]) == (201, f'"{made.json()["id"]}-1"')
    prices = [option["total_cents"] for option in reckoned.json()["options"]]
    assert [option["total_cents"] for option in made.json()["options"]] == prices
    assert Job.objects.get(pk=made.json()["job"]).state == "lead"


def test_change_send_and_answer(api: Client) -> None:
    """Each step with the version that was seen; an old one is refused, so is a second answer."""
    estimate = factories.make_estimate()
    address = f"/api/estimates/{estimate.pk}/"
    line = api.get(address).json()["lines"][0]["id"]
    change = {"lines": [{"line": line, "price_cents": 600_00}], "reason": "more dirt"}

    def sent(path: str, posted: dict[str, Any], version: int | None, method: str = "post") -> Any:
        headers = {} if version is None else {"If-Match": f'"{estimate.pk}-{version}"'}
        return getattr(api, method)(f"{address}{path}/", posted, content_type=JSON, headers=headers)

    assert sent("figures", change, None, "patch").status_code == 428
    changed = sent("figures", change, 1, "patch")
    assert (changed.status_code, changed.json()["lines"][0]["price_why"]) == (200, "office")
    assert sent("figures", change, 1, "patch").status_code == 412
    assert sent("answer", {"option": 1, "name": "Ann"}, None).status_code == 409
    assert sent("send", {"how": "paper"}, 2).json()["state"] == "sent"
    answered = sent("answer", {"option": 1, "name": "Ann"}, None).json()
    assert (answered["state"], answered["chosen_option"]) == ("accepted", 1)
    again = sent("answer", {"name": "Bob"}, None)
    assert (again.status_code, "estimate_closed" in again.content.decode()) == (409, True)
    assert sent("take-back", {"reason": "x"}, answered["version"]).status_code == 409


@pytest.mark.parametrize(
    ("over", "status"),
    [
        ({"lines": []}, 422),
        ({"lines": [{"service": "no_such"}]}, 400),
        ({"lines": [{"service": "roof_wash"}]}, 422),
        ({"lines": [{"service": "house_wash", "walls": [99_999]}]}, 422),
        ({"options": [[5]]}, 422),
        ({"options": [[]]}, 422),
        ({"tax_millionths": 1_000_000}, 400),
        ({"valid_until": "2026-05-31"}, 422),
        ({"valid_until": "9999-12-31"}, 422),
    ],
)
def test_what_cannot_be_is_refused(api: Client, over: dict[str, Any], status: int) -> None:
    factories.make_card()
    answer = api.post("/api/estimates/", body_of(factories.make_chalky_house(), **over), content_type=JSON)
    assert (answer.status_code, Estimate.objects.count(), Job.objects.count()) == (status, 0, 0)


def test_the_list(api: Client, client_of: Any, crew_lead: Any, assert_query_count: Any) -> None:
    """By state; the number of queries does not grow; crew leads are refused."""
    for sent in (True, False, False):
        factories.make_estimate(sent=sent)
    with assert_query_count("api estimates"):
        assert len(api.get("/api/estimates/").json()["results"]) == 3
    assert len(api.get("/api/estimates/", {"state": "sent"}).json()["results"]) == 1
    assert client_of(crew_lead).get("/api/estimates/").status_code == 403


# --- the command ---


def printed(*arguments: Any, **options: Any) -> str:
    out = io.StringIO()
    call_command("estimate", *arguments, stdout=out, **options)
    return out.getvalue()


def test_the_calculation_printed() -> None:
    """What is usually offered, or what is named; as text and as JSON; nothing is stored."""
    factories.make_card()
    place = factories.make_chalky_house()
    text = printed(place.pk)
    for words in ("Option 3: lines 1, 2, 3", "in addition", "no rate was entered", "$520.00 (by card)", "chance"):
        assert words in text, words
    found = json.loads(printed(place.pk, "house_wash=2400", "+gutter_clearing=180", json=True))
    assert [line["quantity"] for line in found["lines"]] == [2400, 180]
    assert [option["lines"] for option in found["options"]] == [[0], [0, 1]]
    assert not Estimate.objects.exists()


@pytest.mark.parametrize("arguments", [[], [0], ["P", "no_such"], ["P", "house_wash=none"], ["P", "roof_wash"]])
def test_the_command_refuses_in_words(arguments: list[Any]) -> None:
    factories.make_card()
    place = factories.make_chalky_house()
    with pytest.raises(CommandError):
        printed(*(place.pk if part == "P" else part for part in arguments))


def test_export() -> None:
    """A row for each option, the chosen one marked."""
    estimate = factories.make_estimate(sent=True)
    rows = list(csv.DictReader(io.StringIO(printed(export=True))))
    assert [row["option"] for row in rows] == ["1", "2", "3"]
    assert {row["estimate"] for row in rows} == {str(estimate.pk)}
    assert rows[1]["before_tax_cents"] == "208500"
