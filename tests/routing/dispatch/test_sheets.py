"""Route sheets: what is on them, as page and as PDF, and that no customer's text is ever read as markup."""

import io
from datetime import date
from typing import Any

import pytest
import time_machine
from django.utils import translation
from pypdf import PdfReader

from jobs.work.services import visit_record
from routing.dispatch.models import SentRoute
from routing.dispatch.pdf import sheet_pdf
from routing.dispatch.selectors.sheets import geo_uri, sheet_of_route, sheet_of_sent
from routing.dispatch.services import plan_send_out
from routing.plans.models import Truck
from shared.company.selectors import company_get
from tests import factories

pytestmark = pytest.mark.django_db
DAY = date(2026, 6, 2)
FIRST = "The product label, the safety data sheet, local code and licensed practice come first"


@pytest.fixture(autouse=True)
def today() -> Any:
    with time_machine.travel("2026-06-02T12:00:00Z", tick=False):
        yield


@pytest.fixture
def crew() -> Any:
    yard = factories.make_yard(name="North yard", address="1 Depot Way")
    ladder = factories.make_skill(code="ladder", name="Ladder work")
    crew = factories.make_crew(yard=yard, name="Crew Heron", skills=[ladder])
    crew.truck = Truck.objects.create(code="T7", yard=yard, gear="8 gpm machine, 65 gal tank")
    crew.save()
    return crew


@pytest.fixture
def plan(crew: Any) -> Any:
    """Three stops: an old house with chalk, gates and dogs; a plain one; one without a place or a telephone."""
    wash = factories.make_service(code="wash", name="House wash", cautions="Low pressure only.\nShut the windows.")
    gutters = factories.make_service(
        code="gutters", name="Gutter clearing", unit="linear_ft", skills=list(crew.skills.all())
    )
    customer = factories.make_customer(name="Ada Moss", phone_e164="+16145550123")
    old = factories.make_property(
        street="14 Elm Street", customer=customer, gate_note="code 1234", pet_note="two dogs", year_built=1931,
        latitude=40.0123456, longitude=-82.5,
    )  # fmt: skip
    for name, reading in (("north wall", None), ("south wall", 3), ("shutters", "1.5")):
        wall = factories.make_wall(property=old, name=name)
        if reading:
            factories.make_reading(wall=wall, reading=reading)
    window = {"first_date": DAY, "last_date": DAY, "start_minute": 480, "end_minute": 600, "promised": True}
    lines = [{"service": wash, "quantity": 2400}, {"service": gutters}]
    first = factories.make_job(property=old, note="ring first", windows=[window], lines=lines)
    plain = factories.make_job(lines=[{"service": wash, "quantity": 1600}])
    bare = factories.make_property(latitude=None, longitude=None, customer=factories.make_customer(phone_e164=""))
    last = factories.make_job(property=bare, lines=[{"service": wash}])
    return factories.make_planned_day((crew, [first, plain, last]))


def route_of(plan: Any) -> Any:
    return plan.routes.get()


def text_of_pdf(pdf: bytes) -> str:
    """The text as a reader selects it, line breaks and the invisible breaks of long words removed."""
    pages = PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).replace("\u200b", "").split())


def test_everything_a_crew_needs_is_on_the_sheet(plan: Any) -> None:
    """Times, window, notes, lines with quantities, chalk in words, drives, load-out."""
    sheet = sheet_of_route(route_id=route_of(plan).pk)
    first, _plain, bare = sheet.stops
    assert (sheet.crew, sheet.truck, sheet.yard, sheet.drive_source) == (
        "Crew Heron", "T7", "North yard", "estimated (great circle)",
    )  # fmt: skip
    assert (first.arrive, first.leg_minutes, first.leg_metres, first.on_site_minutes) == (460, 10, 8_000, 120)
    assert first.windows == ("promised: begin 8:00 am – 10:00 am",)
    assert (first.gate, first.pets, first.note, first.phone) == ("code 1234", "two dogs", "ring first", "+16145550123")
    assert [(line.service, line.quantity) for line in first.lines] == [
        ("House wash", "2,400 sq ft of wall"), ("Gutter clearing", "1,800 linear ft"),
    ]  # fmt: skip
    assert [(wall.name, wall.words, wall.is_shown_first) for wall in first.walls] == [
        ("south wall", "chalk 3 of 5: show the homeowner before any water flows", True),
        ("north wall", "chalk not read yet", False),
        ("shutters", "chalk 1.5 of 5", False),
    ]
    assert (bare.geo, bare.phone, bare.windows) == ("", "", ())
    assert (sheet.home_leg_minutes, sheet.break_at, sheet.break_minutes) == (10, 710, 30)
    assert [stop.break_before for stop in sheet.stops] == [False, False, True]
    assert "House wash: 5,800 sq ft of wall" in sheet.load_out
    assert any("Ladders" in item for item in sheet.load_out)


def test_cautions_where_they_matter(plan: Any) -> None:
    """The service's own, ladders where gutters are cleared, old paint where the house is old; each once."""
    first, plain, _bare = sheet_of_route(route_id=route_of(plan).pk).stops
    assert "Low pressure only." in first.cautions
    assert any("quarter of its length" in words for words in first.cautions)
    assert any("Built in 1931" in words for words in first.cautions)
    assert any("Power lines" in words for words in first.cautions)
    assert plain.cautions[:2] == ("Low pressure only.", "Shut the windows.")
    assert [words[:11] for words in plain.cautions[2:]] == ["Power lines"]


def test_cautions_of_the_day(plan: Any) -> None:
    """Thunder, eyes, plants, drains, and who has the last word; each once."""
    sheet = sheet_of_route(route_id=route_of(plan).pk)
    words = " ".join([*sheet.weather, *sheet.cautions])
    for part in ("30 minutes", "goggles", "Plants", "Storm drain", "hypochlorite", "finger test"):
        assert words.count(part) == 1
    assert "finger test" not in " ".join(sheet.mix_cautions)
    assert sheet.first_words.startswith(FIRST)


def test_chalk_that_was_taken_off_is_not_shown_first(plan: Any) -> None:
    """A removal since the reading is said; the homeowner need not be shown what is gone."""
    place = route_of(plan).stops.first().job.property
    removal = factories.make_service(removes_chalk=True)
    job = factories.make_job(property=place, lines=[{"service": removal}])
    visit_record(job=job, work_date=date(2026, 5, 20), on_site_minutes=90)
    walls = {wall.name: wall for wall in sheet_of_route(route_id=route_of(plan).pk).stops[0].walls}
    assert walls["south wall"].words == "chalk 3 of 5 on Fri, May 1, 2026, taken off since"
    assert not walls["south wall"].is_shown_first


def test_the_version_is_on_the_sheet(plan: Any) -> None:
    """Draft, sent out, changed since; the sent sheet keeps what was sent."""
    route_id, jobs = route_of(plan).pk, [stop.job for stop in route_of(plan).stops.all()]
    assert sheet_of_route(route_id=route_id).version == "draft, not sent out"
    plan_send_out(plan=plan, expected_version=1)
    assert sheet_of_route(route_id=route_id).version == "version 1"
    crew = route_of(plan).crew
    factories.set_routes(plan, (crew, jobs[:1]))
    assert sheet_of_route(route_id=route_of(plan).pk).version == "changed since version 1 was sent out"
    sent = sheet_of_sent(route=SentRoute.objects.get())
    assert (sent.version, len(sent.stops), sent.is_sent) == ("version 1", 3, True)
    assert [stop.leg_minutes for stop in sent.stops] == [10, 10, 10]


def test_the_clock_on_a_day_that_changes_it(crew: Any) -> None:
    """On the morning clocks go forward, 450 real minutes after midnight is half past eight."""
    plan = factories.make_planned_day((crew, [factories.make_job()]), work_date=date(2026, 3, 8))
    assert sheet_of_route(route_id=route_of(plan).pk).leave == 8 * 60 + 30


def test_spanish_names_of_services(plan: Any) -> None:
    """A crew that reads Spanish sees the company's Spanish names."""
    service = route_of(plan).stops.first().job.lines.first().service
    service.name_es = "Lavado de casa"
    service.save()
    with translation.override("es"):
        assert sheet_of_route(route_id=route_of(plan).pk).stops[0].lines[0].service == "Lavado de casa"


# RFC 5870, section 6.1: geo:48.2010,16.3695,183 is latitude, longitude, altitude.
def test_geo_addresses_are_latitude_first() -> None:
    """As in the RFC's example, to six decimals; nothing without a place."""
    assert geo_uri(48.2010, 16.3695) == "geo:48.201000,16.369500"
    assert geo_uri(None, 16.3695) == ""


# --- PDF ---


def test_the_pdf_says_the_same(plan: Any) -> None:
    """Everything on the sheet is in the PDF's text, with links for the telephone and the map."""
    pdf = sheet_pdf(sheet_of_route(route_id=route_of(plan).pk))
    text = text_of_pdf(pdf)
    for words in (
        "Crew Heron", "Tue, Jun 2, 2026", "draft, not sent out", "14 Elm Street", "Ada Moss", "code 1234", "two dogs",
        "ring first", "promised: begin 8:00 am – 10:00 am", "7:40 am", "House wash", "2,400 sq ft of wall",
        "chalk 3 of 5: show the homeowner before any water flows", "Break at 11:50 am, 30 min", "Load-out",
        "estimated (great circle)", "10 ft", "30 minutes after the last one", "Built in 1931",
        FIRST,
        "geo:40.012346,-82.500000", "8 gpm machine",
    ):  # fmt: skip
        assert words in text, words
    links = {
        annotation.get_object()["/A"]["/URI"]
        for page in PdfReader(io.BytesIO(pdf)).pages
        for annotation in page.get("/Annots", [])
    }
    assert {"tel:+16145550123", "geo:40.012346,-82.500000"} <= links


HOSTILE = [
    '#let x = 1; *bold* _it_ $x^2$ = Title <label> @ref // comment /* c */ `raw` \\u{1F600} #image("a.png")',
    ']) #panic("out") ([',
    "\"quotes\" and 'single' and \\backslash\\ and {braces} and [brackets]",
    "<b>not bold</b> &amp; {{ 7 }} {% now %}",
]


@pytest.mark.parametrize("words", HOSTILE)
def test_markup_in_a_note_stays_text(plan: Any, words: str) -> None:
    """typst's and everybody else's markup is printed as it was written."""
    job = route_of(plan).stops.first().job
    job.note = words
    job.save()
    text = text_of_pdf(sheet_pdf(sheet_of_route(route_id=route_of(plan).pk)))
    # The typesetter may turn straight quotes into curly ones; letters and signs are all there.
    plain = text.translate({0x201C: '"', 0x201D: '"', 0x2018: "'", 0x2019: "'"})
    assert words in plain


def test_very_long_text_is_not_lost(plan: Any) -> None:
    """Pages of notes run on over pages; a word without blanks is broken, not cut off at the edge."""
    job = route_of(plan).stops.first().job
    job.note = " ".join(f"word{i}" for i in range(3_000)) + " " + "x" * 400 + "END"
    job.save()
    pdf = sheet_pdf(sheet_of_route(route_id=route_of(plan).pk))
    text = text_of_pdf(pdf)
    assert all(f"word{i}" in text for i in range(3_000))
    assert "x" * 400 + "END" in text.replace(" ", "")
    assert len(PdfReader(io.BytesIO(pdf)).pages) > 3


def test_emoji_and_right_to_left_do_not_break_it(plan: Any) -> None:
    """Letters that the fonts lack are no reason to print nothing; the rest of the note is there."""
    customer = route_of(plan).stops.first().job.property.customer
    customer.name = "שלום 🐶 Nguyễn"
    customer.save()
    text = text_of_pdf(sheet_pdf(sheet_of_route(route_id=route_of(plan).pk)))
    assert "Nguyễn" in text
    assert "שלום" in text
    assert "code 1234" in text


def test_the_company_is_in_the_footer(plan: Any) -> None:
    """A sheet found on the road says whose it is."""
    company = company_get()
    company.name = "Gable & Eave #1"
    company.save()
    assert "Gable & Eave #1" in text_of_pdf(sheet_pdf(sheet_of_route(route_id=route_of(plan).pk)))
