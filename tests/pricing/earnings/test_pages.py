"""The page, the command and the API of the earnings report."""

import csv
import json
from datetime import date
from io import StringIO

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.urls import include, path
from drf_spectacular.generators import SchemaGenerator

from pricing.catalogue.models import HourlyTarget
from shared.company.selectors import company_get
from tests.factories import make_earning, make_service

pytestmark = pytest.mark.django_db
PAGE, API = "/earnings/", "/api/earnings/"
NOON = "2026-06-15T16:00:00Z"


@pytest.fixture(autouse=True)
def today():
    """15 June 2026, noon in New York."""
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def target():
    return HourlyTarget.objects.create(
        effective_from=date(2020, 1, 1), target_cents_per_crew_hour=180_00, reserve_cents_per_crew_hour=110_00
    )


@pytest.fixture
def history(target):
    """A kind below ($124.50 an hour), one above ($400), one with two jobs; wages of $77.31 on each job."""
    chalk, roof, deck = (make_service(name=name) for name in ("Chalk removal", "Roof wash", "Deck wash"))
    for i in range(10):
        make_earning(
            service=chalk, price_cents=240_00 + 200 * i, on_site_minutes=110, drive_minutes=10, wage_cents=77_31
        )
        make_earning(
            service=roof, price_cents=780_00 + 400 * i, on_site_minutes=100, drive_minutes=20, wage_cents=77_31
        )
    for _ in range(2):
        make_earning(service=deck, price_cents=300_00, on_site_minutes=100, wage_cents=77_31)


def text_of(response):
    return response.content.decode()


def row_of(name):
    return f'<th scope="row">{name}</th>'


def test_the_owner_sees_verdicts_advice_and_margins(client_of, owner, history):
    """Worst first, the verdict as a word, what would cure it, a chart, and the money side."""
    page = text_of(client_of(owner).get(PAGE))
    assert page.index("Chalk removal") < page.index("Deck wash") < page.index("Roof wash")
    assert "Chalk removal earns $125 a crew-hour, $56 below the target." in page
    assert "Raise prices by 45% (" in page
    assert "of the 120 crew-minutes that a job takes" in page
    for word in (
        "below",
        "above",
        "not enough to tell",
        "<svg",
        "fewer than 8 jobs",
        "All jobs up to 2026-06-15.",
        "$773.10",
    ):
        assert word in page


def test_the_office_sees_no_wages_and_no_margin(client_of, office, history):
    """Earned yes; margin, wages, materials and trucks no, neither in the table nor anywhere else."""
    page = text_of(client_of(office).get(PAGE))
    assert "Earned per crew-hour" in page
    for hidden in ("Margin", "Wages", "Materials", "Trucks", "773.10", "77.31"):
        assert hidden not in page


@pytest.mark.parametrize("address", [PAGE, API])
def test_a_crew_lead_is_refused(client_of, crew_lead, history, address):
    """What the company earns is not the crew's business."""
    assert client_of(crew_lead).get(address).status_code == 403


def test_strangers_are_sent_to_sign_in(client, history):
    """The page redirects, the API refuses; neither shows a figure."""
    assert client.get(PAGE).status_code == 302
    assert client.get(API).status_code in (401, 403)


def test_the_period_filters_the_jobs(client_of, owner, target):
    """Only jobs first worked in the period are counted."""
    make_earning(service=make_service(name="Of May"), work_date=date(2026, 5, 10))
    make_earning(service=make_service(name="Of June"), work_date=date(2026, 6, 10))
    page = text_of(client_of(owner).get(PAGE, {"since": "2026-06-01"}))
    assert row_of("Of June") in page
    assert row_of("Of May") not in page
    page = text_of(client_of(owner).get(PAGE, {"until": "2026-05-31"}))
    assert row_of("Of May") in page
    assert row_of("Of June") not in page


@pytest.mark.parametrize("query", [{"since": "yesterday"}, {"since": "2026-06-02", "until": "2026-06-01"}])
def test_a_period_that_makes_no_sense_is_explained(client_of, owner, target, query):
    """The page comes back with the form and the reason; the API with a problem."""
    answer = client_of(owner).get(PAGE, query)
    assert answer.status_code == 400
    assert 'class="errors"' in text_of(answer)
    problem = client_of(owner).get(API, query)
    assert (problem.status_code, problem.headers["Content-Type"]) == (400, "application/problem+json")


def test_an_empty_history_says_so(client_of, owner, target):
    """No table of nothing."""
    page = text_of(client_of(owner).get(PAGE))
    assert "No work is booked in this period." in page
    assert "<table" not in page


def test_without_a_target_the_page_leads_to_the_rates(client_of, owner):
    """A fresh company is told what to do first; the API answers with a problem of its own kind."""
    page = text_of(client_of(owner).get(PAGE))
    assert "No hourly target is in force" in page
    assert 'href="/rates/"' in page
    problem = client_of(owner).get(API)
    assert (problem.status_code, problem.json()["type"]) == (404, "/problems/no_hourly_target")


def test_the_page_takes_the_same_few_queries_for_any_number_of_kinds(client_of, owner, target, assert_query_count):
    """Sums, target, company, session and user."""
    for _ in range(12):
        make_earning(service=make_service())
    company_get()
    client = client_of(owner)
    with assert_query_count("earnings page"):
        client.get(PAGE)


def test_names_are_escaped(client_of, owner, target):
    """A service's name cannot bring markup into the page or the chart."""
    evil = make_service(name="<script>x")
    for i in range(9):
        make_earning(service=evil, price_cents=10_00 + i)
    page = text_of(client_of(owner).get(PAGE))
    assert "<script>x" not in page
    assert "&lt;script&gt;x earns" in page


def test_the_api_answers_the_owner_in_full(client_of, owner, history):
    """The same figures as the page, in cents and minutes."""
    body = client_of(owner).get(API).json()
    assert body["target_cents_per_crew_hour"] == 180_00
    assert (body["since"], body["until"]) == (None, "2026-06-15")
    chalk = body["groups"][0]
    assert (chalk["name"], chalk["verdict"], chalk["jobs"]) == ("Chalk removal", "below", 10)
    assert (chalk["earned_per_crew_hour"]["cents"], chalk["price_rise_percent"]["value"]) == (124_50, 45)
    assert chalk["wages_cents"] == 773_10
    assert [kind["verdict"] for kind in body["groups"]] == ["below", "not_enough_to_tell", "above"]


def test_the_api_answers_the_office_without_wages_and_margins(client_of, office, history):
    """The fields are not there."""
    for kind in client_of(office).get(API).json()["groups"]:
        assert not {"wages_cents", "margin_cents", "margin_per_crew_hour", "materials_cents", "vehicle_cents"} & set(
            kind
        )


def test_the_api_is_for_reading(client_of, owner, history):
    """Nothing can be written through it."""
    assert client_of(owner).post(API, {}, content_type="application/json").status_code == 405


def test_the_api_documents_its_answers(client_of, owner):
    """The description names the figures, and each refusal as a problem."""
    ours = [path("api/", include("pricing.earnings.api"))]
    operation = SchemaGenerator(patterns=ours).get_schema(public=True)["paths"]["/api/earnings/"]["get"]
    assert {"200", "400", "401", "403", "404"} <= set(operation["responses"])
    assert {parameter["name"] for parameter in operation["parameters"]} == {"by", "service", "since", "until"}


def run(*arguments):
    out = StringIO()
    call_command("earnings", *arguments, stdout=out)
    return out.getvalue()


def test_the_command_prints_an_aligned_table(history):
    """Every line of the table has one length, the numbers stand in columns, the advice follows."""
    lines = run().splitlines()
    assert lines[0] == "Earned per crew-hour by kind of job, the first job to 2026-06-15"
    head = next(i for i, line in enumerate(lines) if line.startswith("Kind of job"))
    table = lines[head : head + 5]
    assert len({len(line) for line in table}) == 1
    assert len(table[0]) <= 120
    assert [line.split("  ")[0] for line in table[2:]] == ["Chalk removal", "Deck wash", "Roof wash"]
    advice = lines[head + 6 :]
    assert advice[0] == "Raise Chalk removal by 45%."
    assert advice[1].startswith("  Chalk removal earns $125 a crew-hour, $56 below the target.")
    assert advice[2].endswith("$41 the card's own price, $15 driving.")
    assert advice[3].startswith("  Raise prices by 45% (")


def test_the_command_as_json_says_what_the_api_says(client_of, owner, history):
    """One JSON object, the owner's view."""
    assert json.loads(run("--json")) == client_of(owner).get(API).json()


def test_the_command_reads_a_period(history):
    """Nothing was worked since June; a period the wrong way round, or no target, is an error in words."""
    assert "No work is booked in this period." in run("--since", "2026-06-01")
    with pytest.raises(CommandError, match="last day must not be before"):
        run("--since", "2026-06-01", "--until", "2026-05-01")
    with pytest.raises(CommandError, match="No hourly target"):
        run("--until", "2019-01-01")


# --- breakdowns, files ---


def test_the_page_says_what_to_do_why_and_how_sure(client_of, owner, history):
    """The decision first, the split with a picture and a table that add up, the choices with their intervals."""
    page = text_of(client_of(owner).get(PAGE))
    assert page.index("Raise Chalk removal by 45%") < page.index("Earned per crew-hour</h2>")
    assert 'class="bar-takes"' in page
    assert "$55.50" in page  # 180 - 124.50, the foot of the table
    assert "Or save 37" in page
    assert "Or do without: its 20.0 crew-hours at what all other work earns" in page


@pytest.mark.parametrize("by", ["service", "storeys", "part", "crew", "source", "customer", "month"])
def test_every_breakdown_has_a_page(client_of, office, history, by):
    """The chosen one heads the table and stays chosen."""
    page = text_of(client_of(office).get(PAGE, {"by": by}))
    assert f'<option value="{by}" selected>' in page
    assert "<table" in page


def test_a_breakdown_or_a_service_that_there_is_not_is_explained(client_of, owner, target):
    """Page and API say so; nothing is guessed."""
    for query in ({"by": "weather"}, {"service": "nothing"}):
        assert client_of(owner).get(PAGE, query).status_code == 400
    assert client_of(owner).get(API, {"by": "weather"}).status_code == 400
    assert client_of(owner).get(API, {"service": "nothing"}).status_code == 404


def test_the_file_holds_what_the_page_shows(client_of, owner, history):
    """One row a group with plain numbers, the same question as the page."""
    answer = client_of(owner).get(PAGE + "csv/", {"by": "service"})
    assert answer["Content-Type"].startswith("text/csv")
    rows = list(csv.DictReader(StringIO(text_of(answer))))
    assert [row["service"] for row in rows] == ["Chalk removal", "Deck wash", "Roof wash"]
    assert (rows[0]["earned_per_crew_hour"], rows[0]["price_rise_percent"]) == ("124.50", "45")
    assert rows[0]["wages"] == "773.10"


def test_the_file_of_the_office_holds_no_wages_and_no_margin(client_of, office, crew_lead, history):
    """Nor does a crew lead get one at all."""
    text = text_of(client_of(office).get(PAGE + "csv/"))
    for hidden in ("margin", "wages", "materials", "vehicle", "773.10"):
        assert hidden not in text
    assert client_of(crew_lead).get(PAGE + "csv/").status_code == 403


def test_a_name_in_the_file_is_no_formula(client_of, owner, target):
    """A spreadsheet must not reckon with what somebody wrote as the source of a lead."""
    make_earning(lead_source="=1+1")
    assert "'=1+1" in text_of(client_of(owner).get(PAGE + "csv/", {"by": "source"}))


def test_a_wrong_question_makes_no_file(client_of, owner, target):
    """The page comes back with the reason."""
    answer = client_of(owner).get(PAGE + "csv/", {"since": "yesterday"})
    assert (answer.status_code, answer["Content-Type"].split(";")[0]) == (400, "text/html")


def test_the_command_breaks_down_and_writes_a_file(history):
    """By month as a table, by crew as a file; a service that there is not is an error in words."""
    assert run("--by", "month").splitlines()[0].startswith("Earned per crew-hour by month")
    assert run("--by", "crew", "--csv").splitlines()[0].startswith("crew,verdict,decision,jobs")
    with pytest.raises(CommandError, match="no service nothing"):
        run("--service", "nothing")
