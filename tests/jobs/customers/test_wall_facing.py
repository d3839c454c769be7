"""Which way a wall looks, told from the street or read from a compass; shade, year and old paint."""

from typing import Any

import pytest

from jobs.customers.domain.facing import facing_of_side
from jobs.customers.models import Wall
from tests import factories


@pytest.mark.parametrize(
    ("front", "side", "degrees"),
    # A front that looks south is seen by somebody who looks north: left is west, right is east.
    [(180, "front", 180), (180, "left", 270), (180, "right", 90), (180, "back", 0), (350, "left", 80)],
)
def test_sides_seen_from_the_street(front: int, side: str, degrees: int) -> None:
    """Worked by hand with a map."""
    assert facing_of_side(front, side) == degrees


def wall_form(**over: Any) -> dict[str, Any]:
    return {"name": "a wall", "kind": "face", "material": "vinyl", "storeys": 1, "shade": "partly",
            "old_paint": "unknown", **over}  # fmt: skip


@pytest.mark.django_db
def test_the_side_becomes_degrees(client_of: Any, office: Any) -> None:
    """Where the front's direction is known; degrees that were read from a compass count more."""
    place, client = factories.make_property(front_degrees=180), client_of(office)
    address = f"/properties/{place.pk}/walls/new/"
    client.post(address, wall_form(side="left", year_fitted=1998))
    row = Wall.objects.get()
    assert (row.facing_degrees, row.shade, row.year_fitted, row.old_paint) == (270, "partly", 1998, "unknown")
    client.post(address, wall_form(name="other", side="left", facing_degrees=10))
    assert Wall.objects.get(name="other").facing_degrees == 10


@pytest.mark.django_db
def test_without_the_front_it_is_asked_for(client_of: Any, office: Any) -> None:
    """In words; a year with two digits is refused, too."""
    place, client = factories.make_property(), client_of(office)
    address = f"/properties/{place.pk}/walls/new/"
    page = client.post(address, wall_form(side="left")).content.decode()
    assert "which way its street side looks" in page
    assert "four digits" in client.post(address, wall_form(year_fitted=98)).content.decode()
    assert not Wall.objects.exists()
