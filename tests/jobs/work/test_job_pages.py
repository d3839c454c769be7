"""The pages of jobs: who may open them, what they show, what they change."""

from datetime import date
from typing import Any

import pytest
import time_machine
from django.test import Client

from jobs.work.models import Job, JobLine, ServiceInterval, Visit
from jobs.work.services import visit_record
from pricing.catalogue.models import Rate, RateCard
from pricing.earnings.models import EarningEntry
from routing.dispatch.services import plan_send_out
from tests import factories

pytestmark = pytest.mark.django_db
DAY = date(2026, 6, 2)
NOON = "2026-06-02T16:00:00Z"


@pytest.fixture(autouse=True)
def today() -> Any:
    """2 June 2026, noon in New York."""
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def client(client_of: Any, office: Any) -> Any:
    return client_of(office)


@pytest.fixture
def wash() -> Any:
    """A service on the rate card: 25 cents a sq ft, 20 minutes of set-up, 1,200 sq ft an hour."""
    service = factories.make_service(code="wash", name="House wash")
    Rate.objects.create(
        card=RateCard.objects.create(effective_from=date(2020, 1, 1)),
        service=service,
        price_cents_per_100_units=2_500,
        minimum_price_cents=20_000,
        materials_cents_per_100_units=120,
        setup_minutes=20,
        units_per_crew_hour=1_200,
        units_per_crew_hour_high=900,
    )
    return service


def text_of(response: Any) -> str:
    return str(response.content.decode())


def formset(prefix: str, *rows: dict[str, Any]) -> dict[str, Any]:
    data: dict[str, Any] = {f"{prefix}-TOTAL_FORMS": len(rows), f"{prefix}-INITIAL_FORMS": 0}
    for number, row in enumerate(rows):
        data |= {f"{prefix}-{number}-{name}": value for name, value in row.items()}
    return data


# --- who may ---


@pytest.mark.parametrize("path", ["/jobs/", "/jobs/{job}/", "/properties/{place}/jobs/new/"])
def test_pages_are_for_the_office(client_of: Any, crew_lead: Any, path: str) -> None:
    """A crew lead is refused, a stranger is sent to sign in."""
    job = factories.make_job()
    address = path.format(job=job.pk, place=job.property_id)
    assert client_of(crew_lead).get(address).status_code == 403
    assert Client().get(address)["Location"].startswith("/sign-in/")


@pytest.mark.parametrize("action", ["agree", "days", "book", "refund", "visits/1/correct"])
def test_changes_are_for_the_office(client_of: Any, crew_lead: Any, action: str) -> None:
    """Also the ones that a crew lead could type."""
    job = factories.make_job(state="lead")
    assert client_of(crew_lead).post(f"/jobs/{job.pk}/{action}/").status_code == 403
    assert Job.objects.get().state == "lead"


# --- the list ---


def test_the_list_in_a_few_queries(client: Any, assert_query_count: Any) -> None:
    """However many jobs, the number of queries is that of the checked-in file."""
    for _ in range(8):
        factories.make_job(windows=[{"first_date": DAY, "last_date": DAY}], lines=[{}, {}])
    with assert_query_count("jobs"):
        page = text_of(client.get("/jobs/"))
    assert page.count("Sample Street") == 8


def test_the_list_finds(client: Any) -> None:
    """By state, by name and street together, by the company's own number."""
    found = factories.make_job(state="done", reference="W-17", property=factories.make_property(street="7 Quiet Lane"))
    factories.make_job()
    for query in (
        "state=done",
        "words=quiet+7",
        f"words={found.property.customer.name.replace(' ', '+')}",
        "words=w-17",
    ):
        page = text_of(client.get(f"/jobs/?{query}"))
        assert "7 Quiet Lane" in page, query
        assert "Sample Street" not in page, query
    assert "No job fits" in text_of(client.get("/jobs/?words=nowhere"))


def test_the_list_narrows_by_htmx(client: Any) -> None:
    """The part alone comes when htmx asks."""
    factories.make_job()
    part = text_of(client.get("/jobs/", headers={"HX-Request": "true"}))
    assert "Sample Street" in part
    assert "<html" not in part


@pytest.mark.parametrize("query", ["page=999", "page=x", "state=sold", "words=" + "x" * 500])
def test_odd_queries_are_answered(client: Any, query: str) -> None:
    """No address made by hand breaks the list."""
    assert client.get(f"/jobs/?{query}").status_code == 200


# --- one job ---


def test_a_job_shows_what_was_agreed_and_found(client: Any) -> None:
    """Lines, walls with their chalk, notes, days, discount and the price after it."""
    place = factories.make_property(gate_note="code 1234", pet_note="two dogs")
    north, south = (factories.make_wall(property=place, name=name) for name in ("north wall", "shutters"))
    factories.make_reading(wall=north, reading=3)
    job = factories.make_job(
        property=place,
        discount_cents=1_000,
        lines=[{"walls": [north, south]}],
        windows=[{"first_date": DAY, "last_date": DAY, "start_minute": 480, "end_minute": 600, "promised": True}],
    )
    page = text_of(client.get(f"/jobs/{job.pk}/"))
    for words in (
        "code 1234", "two dogs", "chalk 3 of 5: show the homeowner before any water flows", "chalk not read yet",
        "8:00 am – 10:00 am", "promised", "$390.00", "-$10.00",
    ):  # fmt: skip
        assert words in page, words


def test_what_customers_write_stays_text(client: Any) -> None:
    """Markup in names and notes is shown, not run."""
    place = factories.make_property(street="<script>alert(1)</script>", customer=factories.make_customer(name="<b>x"))
    job = factories.make_job(property=place, note="<img src=x onerror=alert(1)>")
    for path in ("/jobs/", f"/jobs/{job.pk}/"):
        page = text_of(client.get(path))
        assert "<script>alert" not in page
        assert "<b>x" not in page
        assert "<img src=x" not in page


def test_a_job_that_is_not_there(client: Any) -> None:
    """In words, with the right status."""
    response = client.get("/jobs/999/")
    assert response.status_code == 404
    assert "no job 999" in text_of(response)


# --- steps and days ---


def test_agreeing_and_calling_off(client: Any, office: Any) -> None:
    """Each step is one form; the history shows who and why."""
    job = factories.make_job(state="lead")
    client.post(f"/jobs/{job.pk}/agree/", {"version": 1})
    page = text_of(client.post(f"/jobs/{job.pk}/call_off/", {"version": 2, "reason": "sold the house"}, follow=True))
    assert Job.objects.get().state == "called_off"
    assert "called off, office: sold the house" in page


def test_refusals_are_said_on_the_page(client: Any) -> None:
    """A missing reason, a stale page, a step that does not fit: words, and nothing changed."""
    job = factories.make_job()
    address = f"/jobs/{job.pk}/call_off/"
    assert "Say why" in text_of(client.post(address, {"version": 1}, follow=True))
    assert "meanwhile" in text_of(client.post(address, {"version": 7, "reason": "x"}, follow=True))
    assert "cannot be agreed" in text_of(client.post(f"/jobs/{job.pk}/agree/", {"version": 1}, follow=True))
    assert client.post(address, {"version": "x"}).status_code == 422
    assert client.post(f"/jobs/{job.pk}/finish/", {"version": 1}).status_code == 404
    assert (Job.objects.get().state, Job.objects.get().version) == ("agreed", 1)


def test_setting_days(client: Any) -> None:
    """A promised window on one day, a span of days; empty lines are passed over."""
    job = factories.make_job()
    promised = {"first_date": "2026-06-03", "begins": "08:00", "ends": "10:00", "promised": "on"}
    span = {"first_date": "2026-06-04", "last_date": "2026-06-10"}
    client.post(f"/jobs/{job.pk}/days/", {"version": 1, **formset("days", promised, span, {})})
    windows = job.windows.values_list("first_date", "last_date", "start_minute", "end_minute", "promised")
    assert list(windows) == [
        (date(2026, 6, 3), date(2026, 6, 3), 480, 600, True),
        (date(2026, 6, 4), date(2026, 6, 10), 0, 1439, False),
    ]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"first_date": "2026-06-03", "last_date": "2026-06-02"}, "must not be before the first"),
        ({"first_date": "2026-06-03", "begins": "10:00", "ends": "08:00"}, "must end after it begins"),
        ({"first_date": "2026-06-03", "last_date": "2026-06-04", "promised": "on"}, "names one day"),
        ({"begins": "10:00"}, "on which day"),
    ],
)
def test_unsound_days_are_shown_again(client: Any, row: dict[str, Any], words: str) -> None:
    """The form comes back with what is wrong."""
    job = factories.make_job()
    response = client.post(f"/jobs/{job.pk}/days/", {"version": 1, **formset("days", row)})
    assert response.status_code == 422
    assert words in text_of(response)
    assert not job.windows.exists()


# --- booking ---


def test_the_office_books_for_a_crew(client: Any) -> None:
    """Minutes and materials by line; the driving comes from the route that was sent out."""
    crew = factories.make_crew(wage_cents_per_hour=6_000)
    job = factories.make_job()
    plan_send_out(plan=factories.make_planned_day((crew, [job])), expected_version=1)
    line = job.lines.get().pk
    body = {"book-work_date": "2026-06-02", "book-crew": crew.pk, "book-on_site_minutes": 100}
    body |= formset("lines", {"line_id": line, "minutes": 100, "materials_cents": "31.50"})
    page = text_of(client.post(f"/jobs/{job.pk}/book/", body, follow=True))
    assert "Booked as done" in page
    visit = Visit.objects.get()
    assert (visit.on_site_minutes, visit.drive_minutes, visit.drive_metres) == (100, 20, 16_000)
    entry = EarningEntry.objects.get()
    assert (entry.materials_cents, entry.wage_cents) == (3_150, 120 * 112)
    assert ServiceInterval.objects.get().last_done_on == DAY


def test_the_office_can_say_the_driving(client: Any) -> None:
    """Miles and minutes that are typed in count."""
    crew, job = factories.make_crew(), factories.make_job()
    body = {"book-work_date": "2026-06-01", "book-crew": crew.pk, "book-on_site_minutes": 90}
    body |= {"book-drive_minutes": 25, "book-drive_miles": "10"}
    client.post(f"/jobs/{job.pk}/book/", body | formset("lines", {"line_id": job.lines.get().pk}))
    assert (Visit.objects.get().drive_minutes, Visit.objects.get().drive_metres) == (25, 16_093)


def test_tomorrow_cannot_be_booked(client: Any) -> None:
    """What has not happened is not booked."""
    crew, job = factories.make_crew(), factories.make_job()
    body = {"book-work_date": "2026-06-03", "book-crew": crew.pk, "book-on_site_minutes": 90}
    body |= formset("lines", {"line_id": job.lines.get().pk})
    assert "not come yet" in text_of(client.post(f"/jobs/{job.pk}/book/", body, follow=True))
    assert not Visit.objects.exists()


def test_correcting_and_giving_back(client: Any) -> None:
    """The correction shows with what it corrects; the refund is in the history with its reason."""
    job = factories.make_job()
    visit = visit_record(job=job, work_date=DAY, on_site_minutes=100)
    address = f"/jobs/{job.pk}/visits/{visit.pk}/correct/"
    page = text_of(client.post(address, {"correct-on_site_minutes": 80, "correct-reason": "typed wrong"}, follow=True))
    assert "corrected later" in page
    body = {"refund-refund_cents": "25.50", "refund-reason": "streaks"}
    page = text_of(client.post(f"/jobs/{job.pk}/refund/", body, follow=True))
    assert "money given back, office: streaks" in page
    assert sum(entry.price_cents for entry in EarningEntry.objects.all()) == 40_000 - 2_550
    assert sum(entry.on_site_minutes for entry in EarningEntry.objects.all()) == 80
    assert client.post(f"/jobs/{job.pk}/visits/999/correct/", {}).status_code == 404
    assert client.post(address, {"correct-on_site_minutes": 0}).status_code == 422
    assert client.post(f"/jobs/{job.pk}/refund/", {"refund-refund_cents": "-1"}).status_code == 422


# --- a new job ---


def new_job(client: Any, place: Any, *lines: dict[str, Any], **over: Any) -> Any:
    body = {"state": "agreed", **formset("lines", *lines), **formset("days"), **over}
    return client.post(f"/properties/{place.pk}/jobs/new/", body)


def test_the_rate_card_fills_in(client: Any, wash: Any) -> None:
    """2,400 sq ft of wall on two storeys: 20 + 160 minutes, $600; shown first, stored only on the second button."""
    place = factories.make_property(storeys=2)
    for _ in range(2):
        factories.make_wall(property=place, area_sqft=1_200)
    factories.make_wall(property=place, area_sqft=100, kind="shutters")
    page = text_of(new_job(client, place, {"service": wash.pk}, fill_in="1"))
    for value in ('value="2400"', 'value="180"', 'value="600.00"'):
        assert value in page
    assert not Job.objects.exists()


def test_a_new_job_is_stored(client: Any, wash: Any) -> None:
    """What was typed is kept, the rest is the card's; the card's price stays beside the agreed one."""
    place = factories.make_property()
    response = new_job(
        client,
        place,
        {"service": wash.pk, "quantity": 1_200, "price_cents": "275"},
        {},
        discount_cents="5.00",
        note="ring first",
        **{"days-TOTAL_FORMS": 1, "days-0-first_date": "2026-06-05"},
    )
    job = Job.objects.get()
    assert response["Location"] == f"/jobs/{job.pk}/"
    line = JobLine.objects.get()
    assert (line.estimated_minutes, line.price_cents, line.card_price_cents) == (80, 27_500, 30_000)
    assert (line.materials_cents, job.discount_cents, job.state, job.note) == (1_440, 500, "agreed", "ring first")
    assert job.windows.get().first_date == date(2026, 6, 5)


def test_a_service_that_is_not_on_the_card(client: Any, wash: Any) -> None:
    """Its minutes and price have to be given; then it is stored."""
    place, other = factories.make_property(), factories.make_service(name="Awning wash", unit="each")
    response = new_job(client, place, {"service": other.pk})
    assert "Awning wash is not on the rate card" in text_of(response)
    assert not Job.objects.exists()
    new_job(client, place, {"service": other.pk, "estimated_minutes": 40, "price_cents": "80"})
    assert JobLine.objects.get().card_price_cents is None


@pytest.mark.parametrize(
    ("lines", "over", "words"),
    [
        ([{}], {}, "at least one service"),
        ([{"quantity": 5}], {}, "Say which service"),
        ([{"service": "wash", "quantity": 1}], {"discount_cents": "10000"}, "discount"),
        ([{"service": "wash", "quantity": 0}], {}, "greater than or equal to 1"),
    ],
)
def test_unsound_jobs_come_back(
    client: Any, wash: Any, lines: list[dict[str, Any]], over: dict[str, Any], words: str
) -> None:
    """With what is wrong, and nothing stored."""
    rows = [{**row, "service": wash.pk} if row.get("service") else row for row in lines]
    response = new_job(client, factories.make_property(), *rows, **over)
    assert words in text_of(response)
    assert not Job.objects.exists()
    assert client.get("/properties/999/jobs/new/").status_code == 404
