"""Customers, properties and the imports for programs."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from jobs.customers.models import Customer, Property
from tests.factories import make_customer, make_property, make_service, make_wall

pytestmark = pytest.mark.django_db
FILE = b"Name,Phone\nAnn Example,(614) 555-0101\nBob Sample,12\n"


@pytest.fixture
def api(office, client_of):
    return client_of(office)


def send(api, data: bytes, kind: str = "customers", **fields):
    return api.post(f"/api/imports/{kind}/", {"file": SimpleUploadedFile("list.csv", data), **fields})


def test_a_dry_run_is_the_default(api):
    """Nothing is changed unless the program says so."""
    body = send(api, FILE).json()
    assert (body["dry_run"], body["rows"], body["created"], body["refused"]) == (True, 2, 1, 1)
    assert not Customer.objects.exists()


def test_the_import_answers_row_column_value_and_advice(api):
    """Each refused row with all that is needed to correct it, and the file of them for a day."""
    body = send(api, FILE, dry_run="false").json()
    assert body["refusals"] == [
        {
            "row": 3,
            "faults": [
                {
                    "column": "Phone",
                    "value": "12",
                    "problem": "This is not one telephone number.",
                    "what_to_do": "Write one number with its area code, or with + and the country code; "
                    "put others into the note.",
                }
            ],
        }
    ]
    assert Customer.objects.get().name == "Ann Example"
    corrections = api.get(f"/api/imports/corrections/{body['corrections']}/")
    assert b"Bob Sample,12,3," in b"".join(corrections.streaming_content)


def test_mapping_and_date_order(api):
    """Both are taken as the command takes them."""
    make_service(code="house-wash", name="House wash")
    make_property(customer=make_customer(reference="C-1"))
    data = b"Whose,Service,Price,Minutes,Done\nC-1,House wash,300,90,5/4/2025\n"
    mapping = '{"Whose": "customer_ref"}'
    assert send(api, data, "jobs", mapping=mapping).json()["refused"] == 1
    assert send(api, data, "jobs", mapping=mapping, date_order="mdy").json()["created"] == 1


@pytest.mark.parametrize(
    ("data", "fields", "status", "code"),
    [
        (b"", {}, 400, "invalid"),
        (b"\n", {}, 422, "file_unreadable"),
        (b"a,b\n1,2\n", {}, 422, "file_unreadable"),
        (FILE, {"mapping": '["Name"]'}, 400, "invalid"),
        (FILE, {"mapping": '{"Nome": "email"}'}, 422, "file_unreadable"),
        (FILE, {"dry_run": "perhaps"}, 400, "invalid"),
    ],
)
def test_what_cannot_be_used_is_a_problem(api, data, fields, status, code):
    """Problem details with the reason; nothing is stored."""
    answer = send(api, data, **fields)
    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["type"].endswith(code)


def test_json_is_not_a_file(api):
    """The imports take multipart only."""
    assert api.post("/api/imports/customers/", {}, content_type="application/json").status_code == 415


def test_customers_and_properties(api):
    """List, one, new and changed; words narrow the lists."""
    made = api.post("/api/customers/", {"name": "Ann", "phone": "614 555 0101"}, content_type="application/json")
    assert made.status_code == 201
    ann = made.json()
    assert ann["phone_e164"] == "+16145550101"
    body = {"customer": ann["id"], "street": "12 Elm Street", "gate_note": "#4"}
    place = api.post("/api/properties/", body, content_type="application/json").json()
    make_wall(property=Property.objects.get(), name="north wall")
    assert api.get(f"/api/properties/{place['id']}/").json()["walls"][0]["name"] == "north wall"
    make_customer(name="Bob")
    found = api.get("/api/customers/", {"words": "elm"}).json()
    assert [(row["name"], row["properties"]) for row in found["results"]] == [("Ann", [place["id"]])]
    assert api.get("/api/properties/", {"words": "ann"}).json()["count"] == 1
    changed = api.patch(f"/api/customers/{ann['id']}/", {"note": "Calls back"}, content_type="application/json")
    assert changed.json()["note"] == "Calls back"
    bad = api.patch(f"/api/customers/{ann['id']}/", {"phone": "12"}, content_type="application/json")
    assert bad.json()["errors"][0]["pointer"] == "/phone"
    assert api.get("/api/customers/999999/").status_code == 404


def test_the_same_reference_twice_is_refused(api):
    """A reference names one customer."""
    make_customer(reference="C-1")
    answer = api.post("/api/customers/", {"name": "Ann", "reference": "C-1"}, content_type="application/json")
    assert answer.status_code in (400, 409)


def test_a_crew_lead_is_refused_everywhere(crew_lead, client_of):
    """None of it is for the crews."""
    client = client_of(crew_lead)
    for address in ("customers/", "customers/1/", "properties/", "properties/1/", f"imports/corrections/{'a' * 32}/"):
        assert client.get(f"/api/{address}").status_code == 403
    for kind in ("customers", "jobs"):
        assert send(client, FILE, kind).status_code == 403


def test_lists_take_few_queries(api, assert_query_count):
    """However many rows, the number of queries stays."""
    for _ in range(8):
        make_property()
    for name in ("customers", "properties"):
        with assert_query_count(f"api {name}"):
            api.get(f"/api/{name}/")
