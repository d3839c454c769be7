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
    listed = {row["id"]: row["stocks"][0] for row in client.get("/api/products/").json()["results"]}
    assert (listed[drum.product_id]["is_too_large_to_haul"], listed[jug.product_id]["is_too_large_to_haul"]) == (
        True,
        False,
    )


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


def test_against_a_limit_by_program(client_of: Any, office: Any, owner: Any) -> None:
    limit = {"surface": "vinyl", "basis_points": 130, "basis": "hypochlorite_weight", "footing": "care sheet"}
    assert client_of(office).post("/api/limits/", limit, "application/json").status_code == 403
    assert client_of(owner).post("/api/limits/", limit, "application/json").status_code == 201
    assert client_of(office).get("/api/limits/").json()["results"][0]["footing"] == "care sheet"
    query = {
        "stock_basis_points": 1250, "basis": "trade", "target_basis_points": 130, "surface_ml": 110_000,
        "surface": "vinyl",
    }  # fmt: skip
    answer = client_of(office).get("/api/mixes/reckon/", query).json()
    assert (answer["is_above_limit"], answer["limit"]["footing"]) == (True, "care sheet")
    assert (
        not client_of(office).get("/api/mixes/reckon/", query | {"target_basis_points": 100}).json()["is_above_limit"]
    )


def test_the_way_over_a_wall_by_program(client_of: Any, office: Any, owner: Any) -> None:
    address = "/api/work-order/"
    assert client_of(office).put(address, {"direction": "top_down"}, "application/json").status_code == 403
    assert client_of(owner).put(address, {"direction": "sideways"}, "application/json").status_code == 400
    assert client_of(owner).put(address, {"direction": "top_down"}, "application/json").json() == {
        "direction": "top_down"
    }
    assert client_of(office).get(address).json() == {"direction": "top_down"}


def test_changed_used_up_and_removed_by_program(client_of: Any, office: Any, owner: Any) -> None:
    mix = factories.make_mix(product=factories.make_stock().product)
    product, stock = f"/api/products/{mix.product_id}/", mix.product.stocks.get()
    client = client_of(owner)
    assert client_of(office).patch(product, {"dwell_minutes": 3}, "application/json").status_code == 403
    assert client.patch(product, {"dwell_minutes": 3}, "application/json").json()["dwell_minutes"] == 3
    refused = client.patch(product, {"is_active": False}, "application/json")
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/still_in_use")
    assert client_of(office).delete(f"/api/mixes/{mix.pk}/").status_code == 403
    assert client.delete(f"/api/mixes/{mix.pk}/").status_code == 204
    assert client.delete(f"/api/mixes/{mix.pk}/").status_code == 404
    assert not client.patch(product, {"is_active": False}, "application/json").json()["is_active"]
    assert client_of(office).post(f"/api/stocks/{stock.pk}/used-up/").json()["stocks"] == []


def test_used_no_more_and_again(client_of: Any, office: Any, owner: Any) -> None:
    """Not while a service takes it; then it goes from the table, and comes back."""
    mix = factories.make_mix()
    client, address = client_of(owner), f"/mixes/products/{mix.product_id}/in-use/"
    assert client_of(office).post(address).status_code == 403
    assert "A service still takes this product." in client.post(address, follow=True).content.decode()
    mix.delete()
    client.post(address)
    assert "Used no more:" in client.get(MIXES).content.decode()
    client.post(address, {"is_active": "true"})
    assert "Used no more:" not in client.get(MIXES).content.decode()


STOCK = {
    "received_on": "2020-01-01", "basis_points": "12.5", "basis": "trade", "storage_f": "70", "package_ml": "5",
    "packages": "2",
}  # fmt: skip
BAD = {
    "basis_points": ["-1", "0", "200", "NaN", "1e99", "Infinity", "12,5x", ""],
    "basis": ["", "volts"],
    "specific_gravity": ["-1", "0", "NaN", "9"],
    "storage_f": ["0", "-40", "200", "NaN", "1" * 30],
    "package_ml": ["-1", "0", "NaN", "501", ""],
    "packages": ["-1", "0", "501", "1.5", "9" * 30],
    "received_on": ["2999-01-01", "2020-02-30", "yesterday", ""],
}


@pytest.mark.parametrize(("field", "value"), [(field, value) for field, values in BAD.items() for value in values])
def test_no_delivery_by_form_with(client_of: Any, office: Any, field: str, value: str) -> None:
    """Refused with the fault in words; what was typed is still there, nothing is stored."""
    product = factories.make_product()
    answer = client_of(office).post(f"/mixes/products/{product.pk}/stocks/", STOCK | {field: value})
    page = answer.content.decode()
    assert (answer.status_code, Stock.objects.count()) == (422, 0)
    assert "error" in page
    kept = next(name for name in ("packages", "package_ml") if name != field)
    assert f'value="{STOCK[kept]}"' in page
    if field != "basis" and value:
        assert f'value="{value}"' in page


BODY = {"basis_points": 1250, "basis": "trade", "package_ml": 18_927}


@pytest.mark.parametrize(
    "over",
    [{"basis_points": value} for value in (-1, 0, 10_001, 12.5, "NaN", 10**30, None)]
    + [{"basis": value} for value in ("", "volts", None)]
    + [{"storage_f": value} for value in (0, -40, 131, "NaN", 10**30)]
    + [{"package_ml": value} for value in (-1, 0, 10**9, "x")]
    + [{"packages": value} for value in (-1, 0, 501)]
    + [{"received_on": value} for value in ("2020-02-30", "x")]
    + [{"gravity_thousandths": value} for value in (0, 1, 2_001, -5)],
)
def test_no_delivery_by_program_with(client_of: Any, office: Any, over: dict[str, Any]) -> None:
    product = factories.make_product()
    answer = client_of(office).post(f"/api/products/{product.pk}/stocks/", BODY | over, "application/json")
    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")
    assert not Stock.objects.exists()


def test_no_delivery_of_a_day_to_come_by_program(client_of: Any, office: Any) -> None:
    product = factories.make_product()
    body = BODY | {"received_on": "2999-01-01"}
    answer = client_of(office).post(f"/api/products/{product.pk}/stocks/", body, "application/json")
    assert (answer.status_code, Stock.objects.count()) == (422, 0)


@pytest.mark.parametrize(
    ("field", "value"),
    [("basis_points", value) for value in ("-1", "0", "200", "NaN", "")]
    + [("basis", value) for value in ("", "volume", "volts")]
    + [("read_on", value) for value in ("2999-01-01", "2019-12-31", "x")],
)
def test_no_strip_by_form_with(client_of: Any, office: Any, field: str, value: str) -> None:
    """What was typed stands in the form of that stock again."""
    stock = factories.make_stock(received_on="2020-01-01")
    strip = {"read_on": "2020-01-05", "basis_points": "9.7", "basis": "trade"} | {field: value}
    answer = client_of(office).post(f"/mixes/stocks/{stock.pk}/strips/", strip)
    page = answer.content.decode()
    assert (answer.status_code, StripReading.objects.count()) == (422, 0)
    if field != "basis_points":
        assert 'value="9.7"' in page
    if field == "read_on":
        assert '<option value="trade" selected>' in page


@pytest.mark.parametrize(
    "over",
    [{"target_basis_points": value} for value in ("-1", "0", "200", "NaN")]
    + [{"target_basis": ""}, {"label_water_parts": "4"}, {"target_basis_points": ""}]
    + [{"surface_ml_per_100_units": value} for value in ("-1", "0", "NaN", "101")]
    + [{"position": value} for value in ("0", "-1", "10")]
    + [{"way": "by air"}, {"service": "0"}, {"product": "0"}],
)
def test_no_mix_by_form_with(client_of: Any, owner: Any, over: dict[str, str]) -> None:
    service, product = factories.make_service(), factories.make_product()
    mix = {
        "service": str(service.pk), "position": "1", "product": str(product.pk), "target_basis_points": "1",
        "target_basis": "trade", "way": "at_house", "surface_ml_per_100_units": "1.5", "note": "kept",
    } | over  # fmt: skip
    answer = client_of(owner).post("/mixes/set/", mix)
    assert (answer.status_code, Mix.objects.count()) == (422, 0)
    assert 'value="kept"' in answer.content.decode()


@pytest.mark.parametrize(
    "over", [{"basis_points": "0"}, {"basis_points": "NaN"}, {"basis": "volume"}, {"footing": " "}, {"surface": "sky"}]
)
def test_no_limit_by_form_with(client_of: Any, owner: Any, over: dict[str, str]) -> None:
    limit = {"surface": "brick", "basis_points": "2", "basis": "trade", "footing": "our own tests"} | over
    answer = client_of(owner).post("/mixes/limits/", limit)
    assert (answer.status_code, SurfaceLimit.objects.count()) == (422, 0)


@pytest.mark.parametrize(
    "over",
    [{"stock_basis_points": value} for value in (-1, 0, 20_000, "NaN", "12.5")]
    + [{"basis": ""}, {"target_basis_points": 0}, {"surface_ml": 0}, {"surface_ml": 10**12}, {"storage_f": 0}]
    + [{"drawn_ml": 0, "out_ml": 5}, {"gravity_thousandths": 0}, {"age_days": -1}, {"surface": "sky"}],
)
def test_nothing_is_reckoned_with(client_of: Any, office: Any, over: dict[str, Any]) -> None:
    query = {"stock_basis_points": 1250, "basis": "trade", "target_basis_points": 100, "surface_ml": 1_000}
    assert client_of(office).get("/api/mixes/reckon/", query | over).status_code == 400


def test_a_label_in_parts(client_of: Any, owner: Any) -> None:
    """1 part to 3 parts of water is 25 % of the product, on the product, its mix and by program; not both at once."""
    client, service = client_of(owner), factories.make_service()
    label = {"name": "Cleaner", "chemistry": "alkaline", "label_water_parts": "3"}
    both = client.post("/mixes/products/new/", label | {"strongest_basis_points": "10", "strongest_basis": "volume"})
    assert (both.status_code, Product.objects.count()) == (422, 0)
    assert "Give either a percentage" in both.content.decode()
    client.post("/mixes/products/new/", label)
    product = Product.objects.get()
    page = client.get(f"/mixes/products/{product.pk}/").content.decode()
    assert "1 part to 3 parts of water (25 %)" in page
    assert (product.strongest_basis_points, product.strongest_basis) == (2_500, "volume")
    assert "1 part to 3 parts of water (25 %)" in client.get(MIXES).content.decode()
    body = {
        "service": service.code, "product": product.pk, "label_water_parts": 3, "way": "at_house",
        "surface_ml_per_100_units": 2_000,
    }  # fmt: skip
    made = client.post("/api/mixes/", body, "application/json").json()
    assert (made["target_basis_points"], made["target_basis"]) == (2_500, "volume")
    stronger = client.post("/api/mixes/", body | {"label_water_parts": 2.9}, "application/json")
    assert (stronger.status_code, stronger.json()["reason"]) == (422, "above_label")
    for wrong in ({"target_basis_points": 100}, {"label_water_parts": -1}, {"label_water_parts": None}):
        assert client.post("/api/mixes/", body | wrong, "application/json").status_code == 400
    bare = {name: value for name, value in body.items() if name != "label_water_parts"} | {"target_basis_points": 100}
    assert client.post("/api/mixes/", bare, "application/json").json()["reason"] == "no_basis"
    assert Mix.objects.get().target_basis_points == 2_500


def test_a_mix_above_a_limit_is_said_when_it_is_set(client_of: Any, owner: Any) -> None:
    """1.5 % on walls is above what vinyl takes, not above other walls; roofs have their own limit, concrete none."""
    client = client_of(owner)
    client.post("/mixes/limits/start/")
    roof = factories.make_service(unit="flat_sqft", skills=[factories.make_skill(code="roof")])
    services = {"wall": factories.make_service(), "roof": roof, "flat": factories.make_service(unit="flat_sqft")}
    product = factories.make_product()
    found = {}
    for name, service in services.items():
        mix = {
            "service": service.pk, "position": 1, "product": product.pk, "target_basis_points": "1.5",
            "target_basis": "trade", "way": "at_house", "surface_ml_per_100_units": "1.5",
        }  # fmt: skip
        found[name] = client.post("/mixes/set/", mix, follow=True).content.decode()
    assert "Stronger than the limit for vinyl" in found["wall"]
    assert "limit for any other wall" not in found["wall"]
    assert all("Stronger than" not in found[name] for name in ("roof", "flat"))
