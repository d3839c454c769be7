"""Walls for programs: taken down and changed with the same rules as on the pages."""

from typing import Any

import pytest

from jobs.customers.models import Wall
from tests import factories

pytestmark = pytest.mark.django_db
WALL = {
    "name": "front wall", "kind": "face", "material": "vinyl", "colour": "barn red", "lightness_percent": 30,
    "area_sqft": 400, "storeys": 2, "shade": "partly", "year_fitted": 2010, "old_paint": "no",
}  # fmt: skip


@pytest.fixture
def client(client_of: Any, office: Any) -> Any:
    return client_of(office)


def send(client: Any, method: str, path: str, body: dict[str, Any]) -> Any:
    return getattr(client, method)(path, body, content_type="application/json")


def test_every_field_by_compass_or_by_side(client: Any) -> None:
    """What was sent comes back; the left side of a house that looks south looks west."""
    place = factories.make_property(front_degrees=180)
    path = f"/api/properties/{place.pk}/walls/"
    made = send(client, "post", path, {**WALL, "facing_degrees": 200})
    assert made.status_code == 201
    assert {name: made.json()[name] for name in WALL} == WALL
    assert made.json()["facing_degrees"] == 200
    left = send(client, "post", path, {"name": "left wall", "side": "left"}).json()
    assert (left["facing_degrees"], left["property"]) == (270, place.pk)
    changed = send(client, "patch", f"/api/walls/{left['id']}/", {"side": "back", "shade": "mostly"}).json()
    assert (changed["facing_degrees"], changed["shade"], changed["name"]) == (0, "mostly", "left wall")
    assert client.get(f"/api/walls/{left['id']}/").json() == changed
    assert [wall["name"] for wall in client.get(f"/api/properties/{place.pk}/").json()["walls"]] == [
        "front wall", "left wall",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("over", "status", "words"),
    [
        ({"name": ""}, 400, "blank"),
        ({"material": "paper"}, 400, "not a valid choice"),
        ({"lightness_percent": 101}, 400, "0 (black) to 100 (white)"),
        ({"facing_degrees": 360}, 400, "0 to 359 degrees"),
        ({"year_fitted": 20}, 400, "four digits"),
        ({"storeys": 0}, 400, "1 to 4 storeys"),
        ({"side": "top"}, 400, "not a valid choice"),
        ({"side": "left"}, 422, "which way its street side looks"),
        ({"area_sqft": -1}, 400, "greater than or equal to 0"),
    ],
)
def test_what_is_refused(client: Any, over: dict[str, Any], status: int, words: str) -> None:
    """In words, and nothing is stored; a side needs to know where the street side looks."""
    place = factories.make_property()
    answer = send(client, "post", f"/api/properties/{place.pk}/walls/", {**WALL, **over})
    assert (answer.status_code, words in answer.content.decode()) == (status, True), answer.content
    assert not Wall.objects.exists()


def test_a_name_once_and_the_office_alone(client: Any, client_of: Any, crew_lead: Any) -> None:
    """Two walls of a house are not called the same; a crew lead changes none; what is not there is said."""
    place = factories.make_property()
    path = f"/api/properties/{place.pk}/walls/"
    assert send(client, "post", path, WALL).status_code == 201
    again = send(client, "post", path, WALL)
    assert (again.status_code, "already" in again.content.decode()) == (400, True)
    assert send(client_of(crew_lead), "post", path, {**WALL, "name": "x"}).status_code == 403
    assert (
        send(client_of(crew_lead), "patch", f"/api/walls/{place.walls.get().pk}/", {"shade": "open"}).status_code == 403
    )
    assert send(client, "post", "/api/properties/999999/walls/", WALL).status_code == 404
    assert client.get("/api/walls/999999/").status_code == 404
    assert Wall.objects.count() == 1
