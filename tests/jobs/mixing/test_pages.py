"""Pages and API of products and mixes, as owner, office and crew lead."""

from typing import Any

import pytest

from jobs.mixing.models import Mix, Product, Stock, StripReading, SurfaceLimit
from tests import factories

pytestmark = pytest.mark.django_db
MIXES = "/mixes/"


def test_closed_to_crew_leads(client_of: Any, crew_lead: Any) -> None:
    assert client_of(crew_lead).get(MIXES).status_code == 403


def test_the_page(client_of: Any, owner: Any, assert_query_count: Any) -> None:
    """Products with today's stock, mixes and limits; more rows take no more queries."""
    for _number in range(3):
        stock = factories.make_stock()
        factories.make_mix(product=stock.product)
    client = client_of(owner)
    client.get(MIXES)
    with assert_query_count("mixes"):
        page = client.get(MIXES).content.decode()
    assert "1 % trade" in page
    assert "Start with the common limits" in page


def test_from_the_label_to_the_mix(client_of: Any, owner: Any) -> None:
    """A product, its delivery, a strip, and what a service takes, all by forms."""
    client, service = client_of(owner), factories.make_service()
    client.post("/mixes/products/new/", {"name": "Cleaner", "chemistry": "alkaline", "label_words": "1 to 4"})
    product = Product.objects.get()
    address = f"/mixes/products/{product.pk}/"
    delivery = {
        "received_on": "2020-01-01", "basis_points": "100", "basis": "volume", "storage_f": "70",
        "package_ml": "5", "packages": "2",
    }  # fmt: skip
    assert client.post(f"{address}stocks/", delivery).status_code == 302
    mix = {
        "service": service.pk, "position": 1, "product": product.pk, "label_water_parts": "4", "way": "at_house",
        "surface_ml_per_100_units": "1.5",
    }  # fmt: skip
    assert client.post("/mixes/set/", mix).status_code == 302
    row = Mix.objects.get()
    assert (row.target_basis_points, row.target_basis, row.surface_ml_per_100_units) == (2_000, "volume", 5_678)
    client.post(f"/mixes/{row.pk}/remove/")
    assert not Mix.objects.exists()


def test_without_basis_nothing_is_lost(client_of: Any, office: Any) -> None:
    """The form comes back with what was typed, and the reason in words."""
    product = factories.make_product()
    delivery = {
        "received_on": "2020-01-01", "basis_points": "12.5", "basis": "", "storage_f": "81", "package_ml": "15",
        "packages": "1",
    }  # fmt: skip
    answer = client_of(office).post(f"/mixes/products/{product.pk}/stocks/", delivery)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "A strength without its basis says nothing." in page
    assert 'value="12.5"' in page
    assert 'value="81"' in page
    assert not Stock.objects.exists()


def test_a_drum_is_warned_of(client_of: Any, office: Any) -> None:
    """A 15-gallon drum is outside the hauling exception; a 5-gallon jug is not."""
    drum = factories.make_stock(package_ml=56_781, packages=1)
    jug = factories.make_stock()
    client = client_of(office)
    assert "49 CFR 173.6" in client.get(f"/mixes/products/{drum.product_id}/").content.decode()
    assert "49 CFR 173.6" not in client.get(f"/mixes/products/{jug.product_id}/").content.decode()


def test_a_strip_by_the_office(client_of: Any, office: Any) -> None:
    stock = factories.make_stock(received_on="2020-01-01")
    client, address = client_of(office), f"/mixes/stocks/{stock.pk}/strips/"
    assert client.post(address, {"read_on": "2020-01-05", "basis_points": "9.7", "basis": "trade"}).status_code == 302
    assert StripReading.objects.get().basis_points == 970
    assert client.post(address, {"read_on": "2020-01-05", "basis_points": "9.7", "basis": ""}).status_code == 422
    client.post(f"/mixes/stocks/{stock.pk}/used-up/")
    assert Stock.objects.get().used_up_on is not None


def test_only_the_owner_sets_mixes_and_limits(client_of: Any, office: Any, owner: Any) -> None:
    assert client_of(office).post("/mixes/limits/start/").status_code == 403
    assert client_of(owner).post("/mixes/limits/start/").status_code == 302
    assert SurfaceLimit.objects.count() == 3
    limit = {"surface": "brick", "basis_points": "2", "basis": "trade", "footing": "our own tests"}
    assert client_of(owner).post("/mixes/limits/", limit).status_code == 302
    assert client_of(owner).post("/mixes/direction/", {"direction": "top_down"}).status_code == 302


def test_by_program(client_of: Any, owner: Any, office: Any) -> None:
    client, service = client_of(owner), factories.make_service()
    made = client.post("/api/products/", {"name": "Bleach", "chemistry": "hypochlorite"}, "application/json")
    pk = made.json()["id"]
    body = {"basis_points": 1250, "basis": "trade", "package_ml": 18_927}
    stock = client.post(f"/api/products/{pk}/stocks/", body, "application/json").json()["stocks"][0]
    assert stock["today_basis_points"] == 1250
    mix = {
        "service": service.code, "product": pk, "target_basis_points": 1300, "target_basis": "trade",
        "way": "injector", "surface_ml_per_100_units": 7_571,
    }  # fmt: skip
    refused = client.post("/api/mixes/", mix, "application/json")
    assert (refused.status_code, refused.json()["type"]) == (422, "/problems/mix_refused")
    assert client.post("/api/mixes/", mix | {"target_basis_points": 100}, "application/json").status_code == 201
    assert client_of(office).post("/api/mixes/", mix, "application/json").status_code == 403
    assert client.get("/api/mixes/").json()["results"][0]["service"] == service.code


def test_reckoned_by_program(client_of: Any, office: Any) -> None:
    """12.5 at 10 : 1 cannot exceed 1.14 %; stores nothing."""
    query = {
        "stock_basis_points": 1250, "basis": "trade", "target_basis_points": 130, "surface_ml": 110_000,
        "drawn_ml": 1_000, "out_ml": 11_000,
    }  # fmt: skip
    client = client_of(office)
    answer = client.get("/api/mixes/reckon/", query).json()
    assert (answer["is_reached"], answer["surface_basis_points"]) == (False, 114)
    refused = client.get("/api/mixes/reckon/", query | {"target_basis_points": 1250})
    assert (refused.status_code, refused.json()["type"]) == (422, "/problems/mix_refused")
    assert client.get("/api/mixes/reckon/", query | {"out_ml": 900}).status_code == 422
