"""Estimates for programs and on the command line: the same figures, the same refusals."""

import csv
import io
import json
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.test import Client

from jobs.work.models import Job
from pricing.estimates.links import estimate_token
from pricing.estimates.models import Estimate, EstimateAnswer
from shared.events.models import Event
from tests import factories

pytestmark = pytest.mark.django_db
JSON = "application/json"
CLOSED = "/problems/estimate_closed"


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


def answer_to(client: Client, estimate: Estimate, **body: Any) -> Any:
    return client.post(f"/api/estimates/{estimate.pk}/answer/", body, content_type=JSON)


def test_answers_that_are_refused_change_nothing(api: Client, client_of: Any, crew_lead: Any) -> None:
    """No such estimate, an option that was not offered, no name, nobody signed in, a crew lead."""
    estimate = factories.make_estimate(sent=True)
    link = f"/estimate/{estimate_token(estimate.sendings.get().pk)}/en/"
    ghost = Estimate(pk=estimate.pk + 99)
    events = Event.objects.count()
    for client, row, body, status in (
        (api, ghost, {"option": 1, "name": "Ann"}, 404),
        (api, estimate, {"option": 9, "name": "Ann"}, 422),
        (api, estimate, {"option": 1, "name": "  "}, 400),
        (api, estimate, {"option": 1}, 400),
        (Client(), estimate, {"option": 1, "name": "Ann"}, 401),
        (client_of(crew_lead), estimate, {"option": 1, "name": "Ann"}, 403),
    ):
        assert answer_to(client, row, **body).status_code == status, body
    assert not EstimateAnswer.objects.exists()
    assert (Estimate.objects.get().state, Job.objects.get().state) == ("sent", "estimated")
    assert Event.objects.count() == events
    assert Client().get(link).status_code == 200


def test_an_answer_after_the_last_day(api: Client, moment: Any) -> None:
    """On the day itself it is still written down, on the next one no more."""
    last = factories.MOMENT.date() + timedelta(days=2)
    late, kept = (factories.make_estimate(sent=True, valid_until=last) for _ in range(2))
    moment.shift(timedelta(days=2))
    assert answer_to(api, kept, option=1, name="Ann").status_code == 200
    moment.shift(timedelta(days=1))
    for body in ({"option": 1, "name": "Ann"}, {"name": "Ann"}):
        answer = answer_to(api, late, **body)
        assert (answer.status_code, answer.json()["type"]) == (409, CLOSED)
        assert "last day" in answer.json()["detail"]
    assert [row.estimate_id for row in EstimateAnswer.objects.all()] == [kept.pk]
    assert Job.objects.get(pk=late.job_ref).state == "estimated"


def test_the_homeowner_and_the_office_answer_the_same_estimate(api: Client) -> None:
    """Whoever came first stays, by the link or by a program; the other is told and changes nothing."""
    first, second = (factories.make_estimate(sent=True) for _ in range(2))
    links = [f"/estimate/{estimate_token(row.sendings.get().pk)}/en/" for row in (first, second)]
    assert Client().post(links[0], {"option": "1", "typed_name": "Ann"}).status_code == 302
    refused = answer_to(api, first, name="Bob")
    assert (refused.status_code, refused.json()["type"]) == (409, CLOSED)
    assert answer_to(api, second, name="Bob", reason="too dear").status_code == 200
    assert Client().post(links[1], {"option": "1", "typed_name": "Ann"}).status_code == 409
    assert [(row.typed_name, row.accepted) for row in EstimateAnswer.objects.order_by("pk")] == [
        ("Ann", True), ("Bob", False),
    ]  # fmt: skip
    assert [Job.objects.get(pk=row.job_ref).state for row in (first, second)] == ["agreed", "declined"]


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
