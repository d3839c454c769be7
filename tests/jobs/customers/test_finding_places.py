"""Places from addresses: which answer is the house, the register over a real connection, the pages, the API."""

import json
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from io import StringIO
from urllib.parse import parse_qs, urlsplit

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from jobs.customers import services, tasks
from jobs.customers.domain.address_match import Candidate, Outcome, best_match, house_number
from jobs.customers.errors import LookupFailed, NoGeocoder
from jobs.customers.models import AddressLookup, Property
from jobs.customers.selectors import properties_to_look_up, properties_without_place
from shared.errors import Conflict
from tests.factories import make_job, make_property

HOUSE = {
    "lat": "40.0125",
    "lon": "-83.0210",
    "display_name": "12, Alder Street, Sampleton",
    "address": {"house_number": "12", "postcode": "00001"},
}
STREET = {
    "lat": "40.02",
    "lon": "-83.03",
    "display_name": "Alder Street, Sampleton",
    "address": {"road": "Alder Street"},
}


NUMBERS = st.text("12 bB-,.x", max_size=6)


class Register:
    """A stand-in for an address register on this machine: it answers what it is told and keeps what it was asked."""

    def __init__(self) -> None:
        self.answer: bytes = b"[]"
        self.status = 200
        self.asked: list[dict[str, list[str]]] = []
        self.agents: list[str] = []
        register = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                register.asked.append(parse_qs(urlsplit(self.path).query))
                register.agents.append(self.headers.get("User-Agent", ""))
                self.send_response(register.status)
                self.send_header("Content-Type", "application/json")
                self.end_headers()
                self.wfile.write(register.answer)

            def log_message(self, *args: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def says(self, *entries: dict) -> None:
        self.answer = json.dumps(entries).encode()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server.server_port}"


@pytest.fixture
def register(settings) -> Iterator[Register]:
    made = Register()
    settings.WALLDAY_GEOCODER_URL = made.url
    settings.WALLDAY_GEOCODER_AGENT = "wallday-tests"
    yield made
    made.server.shutdown()
    made.server.server_close()


def lost(**over) -> Property:
    return make_property(**{"street": "12 Alder Street", "latitude": None, "longitude": None, **over})


def candidate(number: str = "12", postal_code: str = "", latitude: float = 40.0) -> Candidate:
    return Candidate(latitude, -83.0, "", number, postal_code)


@pytest.mark.parametrize(
    ("street", "number"),
    [
        ("12 Alder Street", "12"),
        ("12B Alder Street", "12b"),
        ("12 B, Alder Street", "12b"),
        (" 7-9 Alder Street", "7-9"),
        ("Alder Street", ""),
        ("1st Street", ""),
        ("", ""),
    ],
)
def test_the_house_number_is_what_the_line_begins_with(street, number):
    assert house_number(street) == number


def test_only_the_house_itself_is_taken_without_asking():
    """Same number, same ZIP code where both are known; two entries of one house count as one."""
    house = candidate()
    assert best_match([house], street="12 Alder Street", postal_code="").place == house
    assert best_match([candidate(postal_code="00001-22")], street="12 Alder", postal_code="00001").place is not None
    beside = candidate(latitude=40.0002)
    assert best_match([candidate(number=""), house, beside], street="12 Alder", postal_code="").place == house


@pytest.mark.parametrize(
    ("candidates", "street", "postal_code"),
    [
        ([candidate(number="14")], "12 Alder Street", ""),
        ([candidate(number="")], "12 Alder Street", ""),
        ([candidate(number="")], "Alder Street", ""),
        ([candidate(postal_code="00002")], "12 Alder Street", "00001"),
        ([candidate(), candidate(latitude=40.1)], "12 Alder Street", ""),
    ],
)
def test_a_person_chooses_where_it_may_be_another_house(candidates, street, postal_code):
    """Another number, no number, another ZIP code, two houses far apart."""
    assert best_match(candidates, street=street, postal_code=postal_code).outcome == Outcome.UNSURE


@given(
    st.lists(
        st.builds(Candidate, st.floats(-90, 90), st.floats(-180, 180), st.text(), st.text(), st.text()), max_size=4
    ),
    st.text(),
    st.text(),
)
def test_what_is_taken_was_offered_and_has_the_number(candidates, street, postal_code):
    """Whatever the register answers, a taken place is one of its answers and bears the asked number."""
    finding = best_match(candidates, street=street, postal_code=postal_code)
    assert (finding.place is not None) == (finding.outcome == Outcome.FOUND)
    if finding.place is not None:
        assert finding.place in candidates
        assert "".join(finding.place.house_number.split()).lower() == house_number(street) != ""


@pytest.mark.django_db
def test_a_house_that_is_found_gets_its_place(register, office):
    """The register is asked field by field under our name; the history says who set the place."""
    register.says(STREET, HOUSE)
    place = lost()
    assert services.place_find(place=place, actor=office).outcome == "found"
    place.refresh_from_db()
    assert (place.latitude, place.longitude) == (40.0125, -83.0210)
    assert register.asked[0]["street"] == ["12 Alder Street"]
    assert register.asked[0]["postalcode"] == ["00001"]
    assert register.agents == ["wallday-tests"]
    assert not properties_to_look_up().exists()


@pytest.mark.filterwarnings("ignore:Latitude normalization")
@pytest.mark.django_db
@pytest.mark.parametrize(
    ("status", "answer"),
    [
        (500, b"[]"),
        (429, b"[]"),
        (403, b"[]"),
        (200, b"<html>"),
        (200, b'{"error": "no"}'),
        (200, b'[{"lat": "x", "lon": "y", "display_name": "z"}]'),
        (200, b'[{"lat": "140", "lon": "1", "display_name": "z"}]'),
        (200, b'[{"display_name": "z"}]'),
        (200, b"[1]"),
    ],
)
def test_a_register_that_fails_or_talks_nonsense_changes_nothing(register, status, answer):
    """The failure is noted with the property and asked again later."""
    register.status, register.answer = status, answer
    place = lost()
    with pytest.raises(LookupFailed):
        services.place_find(place=place)
    place.refresh_from_db()
    assert not place.has_place
    assert AddressLookup.objects.get().outcome == "failed"
    assert list(properties_to_look_up()) == [place]


@pytest.mark.django_db
def test_a_register_that_is_down_is_asked_once_in_a_round(settings):
    """Nobody listens on port 9 of this machine; the round stops at the first address."""
    settings.WALLDAY_GEOCODER_URL = "http://127.0.0.1:9"
    for _ in range(3):
        lost()
    result = services.places_find(limit=10, pause=lambda _seconds: None)
    assert (result.found, result.failed) == (0, 1)
    assert AddressLookup.objects.count() == 1


@pytest.mark.django_db
def test_the_pace_is_kept_between_two_questions(register, settings):
    """One pause fewer than there are addresses."""
    settings.WALLDAY_GEOCODER_SECONDS = 1.5
    register.says(HOUSE)
    for _ in range(3):
        lost()
    pauses: list[float] = []
    assert services.places_find(limit=10, pause=pauses.append).found == 3
    assert pauses == [1.5, 1.5]


@pytest.mark.django_db
def test_an_answer_for_an_address_that_changed_meanwhile_is_dropped(register, monkeypatch):
    """Somebody corrects the street, or sets the place, while the register thinks."""
    register.says(HOUSE)
    for change in ({"street": "13 Alder Street"}, {"latitude": 41.0, "longitude": -80.0}):
        place = lost()
        stale = Property.objects.get(pk=place.pk)
        Property.objects.filter(pk=place.pk).update(**change)
        tasks_before = AddressLookup.objects.count()
        with pytest.raises(Conflict):
            services.place_find(place=stale)
        assert AddressLookup.objects.count() == tasks_before


@pytest.mark.django_db
def test_another_address_takes_the_found_place_away(register, office):
    """A place from the register belongs to its address; one set by hand stays."""
    register.says(HOUSE)
    found, by_hand = lost(), make_property()
    services.place_find(place=found)
    found.refresh_from_db()
    services.property_update(place=found, actor=office, street="99 Birch Street")
    services.property_update(place=by_hand, actor=office, street="99 Birch Street")
    found.refresh_from_db()
    by_hand.refresh_from_db()
    assert not found.has_place
    assert by_hand.has_place
    assert list(properties_to_look_up()) == [found]


@pytest.mark.django_db
def test_a_new_property_is_looked_up_in_the_background(register, office, client_of, django_capture_on_commit_callbacks):
    """The office takes a house down without coordinates; it has them a moment later."""
    register.says(HOUSE)
    owner_of = make_property().customer
    address = reverse("customers:property_new", args=[owner_of.pk])
    with django_capture_on_commit_callbacks(execute=True):
        client_of(office).post(address, {"street": "12 Alder Street", "postal_code": "00001", "storeys": 1})
    assert Property.objects.get(street="12 Alder Street").latitude == 40.0125


@pytest.mark.django_db
def test_the_clock_does_nothing_without_a_register():
    """And the command says so."""
    lost()
    tasks.find_places()
    assert not AddressLookup.objects.exists()
    with pytest.raises(CommandError, match="WALLDAY_GEOCODER_URL"):
        call_command("find_places")


@pytest.mark.django_db
def test_the_command_tells_what_it_found(register):
    """A dry run asks nothing; a register that fails gives exit 1."""
    register.says(HOUSE)
    lost()
    lost(street="Alder Street")
    out = StringIO()
    call_command("find_places", "--dry-run", stdout=out)
    assert not register.asked
    call_command("find_places", stdout=out)
    assert "1 found, 1 to choose by hand, 0 not known" in out.getvalue()
    register.status = 500
    lost()
    with pytest.raises(CommandError, match="could not be asked"):
        call_command("find_places", stdout=out)
    with pytest.raises(CommandError, match="at least 1"):
        call_command("find_places", "--limit", "0")


@pytest.mark.django_db
def test_the_list_to_fix_puts_open_jobs_first(office, client_of, assert_query_count):
    """A house with work waiting is the one that matters."""
    idle, waiting = lost(street="1 Alder Street"), lost(street="2 Alder Street")
    make_job(property=waiting)
    make_property(street="3 Placed Street")
    assert [place.pk for place in properties_without_place()] == [waiting.pk, idle.pk]
    client = client_of(office)
    with assert_query_count("customers:without_place"):
        page = client.get(reverse("customers:without_place")).content.decode()
    assert "2 Alder Street" in page
    assert "Placed Street" not in page
    assert "2 properties have no place yet" in client.get(reverse("customers:property_list")).content.decode()


@pytest.mark.django_db
def test_the_office_looks_up_and_chooses(register, office, client_of):
    """Unsure answers are offered by number; taking one sets the place; a number that is not there changes nothing."""
    register.says(STREET)
    place, client = lost(), client_of(office)
    answer = client.post(reverse("customers:place_look_up", args=[place.pk]), follow=True)
    page = answer.content.decode()
    assert "Alder Street, Sampleton" in page
    assert "OpenStreetMap" in page
    client.post(reverse("customers:place_take", args=[place.pk, 7]))
    place.refresh_from_db()
    assert not place.has_place
    client.post(reverse("customers:place_take", args=[place.pk, 0]))
    place.refresh_from_db()
    assert place.latitude == 40.02


@pytest.mark.django_db
def test_the_office_sets_the_place_by_hand(office, client_of):
    """Both degrees or neither; half a place is refused with words."""
    place, client = lost(), client_of(office)
    address = reverse("customers:place_edit", args=[place.pk])
    assert client.post(address, {"latitude": "40.1", "longitude": ""}).status_code == 422
    assert client.post(address, {"latitude": "140.1", "longitude": "1"}).status_code == 422
    assert client.post(address, {"latitude": "40.1", "longitude": "-83.1"}).status_code == 302
    place.refresh_from_db()
    assert (place.latitude, place.longitude) == (40.1, -83.1)


@pytest.mark.django_db
def test_crews_may_not_set_places(crew_lead, client_of):
    place, client = lost(), client_of(crew_lead)
    assert client.get(reverse("customers:without_place")).status_code == 403
    assert client.post(reverse("customers:place_look_up", args=[place.pk])).status_code == 403
    assert client.put(f"/api/properties/{place.pk}/place/", "{}", content_type="application/json").status_code == 403


@pytest.mark.django_db
def test_programs_set_and_look_up_places(register, office, client_of):
    """PUT sets it; POST asks the register, 503 where it fails, 422 where none is set."""
    place, api = lost(), client_of(office)
    address = f"/api/properties/{place.pk}/place/"
    register.says(STREET)
    body = api.post(f"{address}look-up/").json()
    assert (body["outcome"], body["latitude"], len(body["candidates"])) == ("unsure", None, 1)
    register.status = 500
    assert api.post(f"{address}look-up/").status_code == 503
    half = api.put(address, {"latitude": 40.0, "longitude": None}, content_type="application/json")
    assert half.status_code == 400
    done = api.put(address, {"latitude": 40.0, "longitude": -83.0}, content_type="application/json")
    assert (done.status_code, done.json()["latitude"]) == (200, 40.0)
    assert api.post(f"{address}look-up/").status_code == 409


@pytest.mark.django_db
def test_a_program_without_a_register_is_told(office, client_of):
    with pytest.raises(NoGeocoder):
        services.place_find(place=lost())
    answer = client_of(office).post(f"/api/properties/{lost().pk}/place/look-up/")
    assert answer.status_code == 422
    assert "WALLDAY_GEOCODER_URL" in answer.json()["detail"]
