"""The walkthrough on the crew's phone and by API: own stops only, once each, readable answers."""

import re
import uuid
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from jobs.walkthroughs.models import Acknowledgement, NobodyHome, Notice, Photo, Walkthrough
from jobs.walkthroughs.services import notice_send, photo_add
from routing.dispatch.services import plan_send_out
from shared.outbox.models import Message
from tests import factories

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 2, 16, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def noon() -> Any:
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


@pytest.fixture
def job(crew_lead: Any) -> Any:
    """A job on crew A's route of today, at a house with one wall."""
    found = factories.make_job(property=factories.make_property(street="14 Elm Street"))
    factories.make_wall(property=found.property, name="north wall")
    send(crew_lead, found)
    return found


@pytest.fixture
def client(client_of: Any, crew_lead: Any) -> Any:
    return client_of(crew_lead)


def send(lead: Any, *jobs: Any) -> None:
    plan_send_out(plan=factories.make_planned_day((factories.make_crew(lead=lead), list(jobs))), expected_version=1)


@pytest.fixture
def stranger(client_of: Any) -> Any:
    """The lead of crew B, who has a route of their own."""
    lead = factories.make_user(role="crew_lead")
    send(lead, factories.make_job())
    return client_of(lead)


def body_of(job: Any, **over: Any) -> dict[str, Any]:
    wall = job.property.walls.get().pk
    return {
        "key": str(uuid.uuid4()),
        f"w{wall}_0": "3",
        f"w{wall}_1": "2",
        f"w{wall}_1_half": "1",
        f"w{wall}_2": "1",
        "days_since_rain": "4",
        f"w{wall}_f_open_window": "1",
        f"w{wall}_f_open_window_note": "kitchen",
        "x_f_outlet": "1",
        "note": "",
        "video_url": "https://example.com/v",
        **over,
    }


def entry_of(at: Any, **over: Any) -> dict[str, Any]:
    wall = at.property.walls.get().pk
    return {
        "key": str(uuid.uuid4()), "job": at.pk, "walked_on": "2026-06-02",
        "walls": [{"wall": wall, "spots": ["2", "2.5", "3"]}], **over,
    }  # fmt: skip


def post(client: Any, body: Any) -> Any:
    return client.post("/api/walkthroughs/", body, content_type="application/json")


def put(client: Any, key: str, photo: uuid.UUID, data: bytes, **headers: str) -> Any:
    return client.put(
        f"/api/walkthroughs/{key}/photos/{photo}/", data, content_type="application/octet-stream", **headers
    )


# --- the plain form ---


def test_a_walkthrough_without_javascript(client: Any, job: Any, assert_query_count: Any) -> None:
    """One form: spots, findings, pictures; sent twice it is there once; then the notice, then the name."""
    address = f"/crew/walkthrough/{job.pk}/"
    with assert_query_count("crew's walkthrough"):
        page = client.get(address).content.decode()
    for words in ("north wall", "Middle", "outlet without a cover", "First walk around the house"):
        assert words in page, words
    picture = SimpleUploadedFile("a.jpg", factories.make_picture())
    sent = body_of(job)
    wall = job.property.walls.get()
    client.post(address, {**sent, f"w{wall.pk}_photos": [picture]})
    picture.seek(0)
    client.post(address, {**sent, f"w{wall.pk}_photos": [picture]})
    row = Walkthrough.objects.get()
    assert (row.wall_findings.get().spots, row.wall_findings.get().reading.reading) == ([3.0, 2.5, 1.0], Decimal("2.5"))
    found = [(finding.kind, finding.wall, finding.note) for finding in row.findings.all()]
    assert found == [("open_window", wall, "kitchen"), ("outlet", None, "")]
    assert (row.days_since_rain, row.photos.get().wall) == (4, wall)
    opened = client.post(f"{address}notice/", follow=True)
    notice = Notice.objects.get()
    assert "north wall: chalk 2.5 of 5" in opened.content.decode()
    named = client.post(f"/crew/notices/{notice.pk}/en/", {"language": "en", "typed_name": "Ann Sample"}, follow=True)
    assert "Ann Sample" in named.content.decode()
    assert Acknowledgement.objects.get().by_link is False


def test_what_is_handed_over_speaks_the_notices_language(client: Any, job: Any) -> None:
    """Name and button below a Spanish notice are Spanish on an English phone; the crew's own words stay English."""
    notice = factories.make_notice(job=job)
    page = client.get(f"/crew/notices/{notice.pk}/es/").content.decode()
    for words in ("Lo he visto", "Su nombre", "Nobody is home", "Back to the walkthrough"):
        assert words in page, words
    assert "I have seen it" not in page
    client.post(f"/crew/notices/{notice.pk}/es/", {"language": "es", "typed_name": "Ana"})
    page = client.get(f"/crew/notices/{notice.pk}/es/").content.decode()
    assert "2026-06-02 12:00 EDT" in page


def test_a_second_name_on_the_phone_is_refused_in_words(client: Any, job: Any) -> None:
    """A page that was still open when somebody else acknowledged says that its name was not taken."""
    notice = factories.make_notice(job=job)
    address = f"/crew/notices/{notice.pk}/en/"
    client.post(address, {"language": "en", "typed_name": "Ann"})
    again = client.post(address, {"language": "en", "typed_name": "Bob"})
    assert (again.status_code, Acknowledgement.objects.get().typed_name) == (422, "Ann")
    assert "acknowledged already. Nothing was changed" in again.content.decode()


def test_nobody_home_on_the_phone(client: Any, job: Any) -> None:
    """How it was sent is written down; a way that is not there comes back in words."""
    notice = factories.make_notice(job=job)
    refused = client.post(f"/crew/notices/{notice.pk}/nobody-home/", {"sent_how": "pigeon"})
    assert refused.status_code == 422
    done = client.post(f"/crew/notices/{notice.pk}/nobody-home/", {"sent_how": "paper", "note": "mat"}, follow=True)
    assert "Nobody was home; the notice was sent" in done.content.decode()
    assert NobodyHome.objects.get().note == "mat"


def test_what_is_wrong_comes_back(client: Any, job: Any) -> None:
    """Two spots only: said in words, what was pressed stays pressed, nothing is stored."""
    wall = job.property.walls.get().pk
    sent = body_of(job)
    del sent[f"w{wall}_2"]
    answer = client.post(f"/crew/walkthrough/{job.pk}/", sent)
    page = answer.content.decode()
    assert (answer.status_code, "three spots" in page, page.count(" checked")) == (422, True, 6)
    assert client.post(f"/crew/walkthrough/{job.pk}/", body_of(job, key="x")).status_code == 422
    assert not Walkthrough.objects.exists()


def test_a_picture_that_is_none_is_named(client: Any, job: Any) -> None:
    """The walkthrough is kept, the ZIP is not."""
    file = SimpleUploadedFile("holiday.jpg", b"PK\x03\x04" + b"\0" * 100)
    answer = client.post(f"/crew/walkthrough/{job.pk}/", {**body_of(job), "x_photos": [file]}, follow=True)
    assert "holiday.jpg: This is no picture that we take" in answer.content.decode()
    assert (Walkthrough.objects.count(), Photo.objects.count()) == (1, 0)


def test_two_hundred_megabytes_are_not_read(client: Any, job: Any) -> None:
    """Refused by their announced length, on the form and by API, before a byte is looked at."""
    large = str(200 * 1024 * 1024)
    answer = client.post(f"/crew/walkthrough/{job.pk}/", body_of(job), CONTENT_LENGTH=large)
    assert (answer.status_code, "too large together" in answer.content.decode()) == (413, True)
    entry = entry_of(job)
    post(client, entry)
    refused = put(client, entry["key"], uuid.uuid4(), b"\xff\xd8\xff", CONTENT_LENGTH=large)
    assert (refused.status_code, refused.json()["type"]) == (413, "/problems/picture_too_large")
    assert not Photo.objects.exists()


def test_the_form_is_protected(job: Any, crew_lead: Any) -> None:
    """Another site cannot send it, although its size is looked at before."""
    from django.test import Client

    strict = Client(enforce_csrf_checks=True)
    strict.force_login(crew_lead)
    assert strict.post(f"/crew/walkthrough/{job.pk}/", body_of(job)).status_code == 400
    assert not Walkthrough.objects.exists()


def test_a_wall_left_out_and_a_house_without_walls(client: Any, job: Any, crew_lead: Any) -> None:
    """A reason stands for the spots, but not both; four sides and the street's direction where no wall is known."""
    wall = job.property.walls.get().pk
    without = {name: value for name, value in body_of(job).items() if not name.startswith(f"w{wall}_") or "_f_" in name}
    address = f"/crew/walkthrough/{job.pk}/"
    assert "say why not: north wall" in client.post(address, without).content.decode()
    assert client.post(address, {**without, f"w{wall}_out": "no_access"}).status_code == 302
    assert Walkthrough.objects.get().left_out.get().reason == "no_access"
    assert client.post(address, body_of(job, **{f"w{wall}_out": "no_access"})).status_code == 302
    assert not Walkthrough.objects.latest("pk").left_out.exists()
    bare = factories.make_job()
    send(crew_lead, bare)
    page = client.get(f"/crew/walkthrough/{bare.pk}/").content.decode()
    for words in ("front wall", "left wall", "Which way does the street side look", "Garage door"):
        assert words in page, words
    spots = {f"n{side}_{spot}": "1" for side in range(4) for spot in range(3)}
    client.post(f"/crew/walkthrough/{bare.pk}/", {"key": str(uuid.uuid4()), "front_degrees": "180", **spots})
    walls = {wall.name: wall.facing_degrees for wall in bare.property.walls.all()}
    assert walls == {"front wall": 180, "right wall": 90, "back wall": 0, "left wall": 270}


# --- the queue's API ---


def test_up_once_however_often(client: Any, job: Any) -> None:
    """The entry and its picture repeated: the same answers, one row each; other content under the key: 409."""
    entry, photo, data = entry_of(job), uuid.uuid4(), factories.make_picture()
    first = post(client, entry)
    assert (first.status_code, post(client, entry).json()) == (200, first.json())
    sent = put(client, entry["key"], photo, data, QUERY_STRING=f"wall={job.property.walls.get().pk}")
    assert (sent.status_code, put(client, entry["key"], photo, data).json()) == (200, sent.json())
    assert (Walkthrough.objects.count(), Photo.objects.count()) == (1, 1)
    assert Photo.objects.get().wall == job.property.walls.get()
    changed = post(client, {**entry, "note": "otherwise"})
    assert (changed.status_code, changed.json()["type"]) == (409, "/problems/recorded_already")


@pytest.mark.parametrize(
    ("over", "status"),
    [
        ({"walls": []}, 422),
        ({"walls": [{"spots": ["1", "1", "1"]}]}, 400),
        ({"walls": [{"name": "x", "spots": ["1", "1"]}]}, 422),
        ({"walls": [{"name": "x", "spots": ["9.9"] * 3}]}, 422),
        ({"walked_on": "2026-06-03"}, 422),
        ({"key": "no uuid"}, 400),
        ({"job": 999_999}, 404),
        ({"video_url": "javascript:alert(1)"}, 422),
        ({"photo_count": 25}, 400),
        ({"walls": [], "findings": [{"kind": "outlet"}]}, 422),
        ({"left_out": [{"reason": "no_access"}]}, 400),
        ({"left_out": [{"reason": "too tired", "name": "back wall"}]}, 400),
        ({"front_degrees": 360}, 400),
    ],
)
def test_what_the_api_refuses(client: Any, job: Any, over: dict[str, Any], status: int) -> None:
    """Nothing is stored."""
    assert post(client, entry_of(job, **over)).status_code == status
    assert not Walkthrough.objects.exists()


def test_what_waited_on_the_phone_still_goes_up(client: Any, job: Any, noon: Any) -> None:
    """Three days later the stop is on nobody's page, but its crew's entry is taken; after ten days it is not."""
    noon.shift(3 * 86_400)
    assert client.get(f"/crew/walkthrough/{job.pk}/").status_code == 404
    assert post(client, entry_of(job)).status_code == 200
    noon.shift(7 * 86_400)
    assert post(client, entry_of(job)).status_code == 404


# --- who may see what ---


def test_crew_b_sees_nothing_of_crew_a(stranger: Any, client: Any, client_of: Any, office: Any, job: Any) -> None:
    """Neither page, notice, PDF nor picture, and can write nothing; crew A and the office can."""
    walkthrough = factories.make_walkthrough(job=job)
    photo = photo_add(walkthrough=walkthrough, key=uuid.uuid4(), data=factories.make_picture(), now=NOON)
    notice = factories.make_notice(walkthrough=walkthrough)
    pages = [
        f"/crew/walkthrough/{job.pk}/", f"/walkthroughs/photos/{photo.pk}/", f"/crew/notices/{notice.pk}/en/",
        f"/crew/notices/{notice.pk}/en.pdf", f"/crew/notices/{notice.pk}/en/pictures/{photo.digest}/",
    ]  # fmt: skip
    for page in pages:
        assert stranger.get(page).status_code == 404, page
        assert client.get(page).status_code == 200, page
        assert client_of(office).get(page).status_code == 200, page
    assert stranger.post(f"/crew/notices/{notice.pk}/en/", {"language": "en", "typed_name": "X"}).status_code == 404
    assert stranger.post(f"/crew/notices/{notice.pk}/nobody-home/", {"sent_how": "paper"}).status_code == 404
    assert stranger.post(f"/crew/walkthrough/{job.pk}/notice/").status_code == 404
    assert post(stranger, entry_of(job)).status_code == 404
    assert put(stranger, str(walkthrough.key), uuid.uuid4(), factories.make_picture(size=(9, 9))).status_code == 404
    assert (Walkthrough.objects.count(), Photo.objects.count(), Acknowledgement.objects.count()) == (1, 1, 0)


def test_pictures_have_no_public_address(client: Any, job: Any) -> None:
    """The file's own name leads nowhere, and no page holds place or time of the picture."""
    walkthrough = factories.make_walkthrough(job=job)
    photo = photo_add(walkthrough=walkthrough, key=uuid.uuid4(), data=factories.make_picture(), now=NOON)
    for path in (f"/media/{photo.file}", f"/{photo.file}", f"/static/{photo.file}"):
        assert client.get(path).status_code == 404
    answer = client.get(f"/walkthroughs/photos/{photo.pk}/")
    assert answer["Cache-Control"] == "private, no-store"


def test_the_office_sees_it_on_job_and_property(client_of: Any, office: Any, owner: Any, job: Any) -> None:
    """Spots, findings, notice and its answer; only the owner gets the form that lets a job start."""
    factories.make_notice(job=job)
    page = client_of(office).get(f"/jobs/{job.pk}/").content.decode()
    for words in ("chalk 3 of 5 (3, 3, 3)", "not acknowledged"):
        assert words in page, words
    assert "Let it start" not in page
    assert "Let it start" in client_of(owner).get(f"/jobs/{job.pk}/").content.decode()
    assert "chalk 3 of 5 (3, 3, 3)" in client_of(office).get(f"/properties/{job.property_id}/").content.decode()


def test_where_and_when_a_picture_was_taken_is_the_offices(client_of: Any, office: Any, client: Any, job: Any) -> None:
    """On the job's page with the distance to the house; on no page of crew or homeowner."""
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = "2026:06:02 08:15:00"
    exif.get_ifd(0x8825).update({1: "N", 2: (40.0, 0.0, 0.0), 3: "W", 4: (83.0, 0.0, 0.0)})
    job.property.latitude, job.property.longitude = 40.0, -83.001
    job.property.save()
    walkthrough = factories.make_walkthrough(job=job)
    photo_add(walkthrough=walkthrough, key=uuid.uuid4(), data=factories.make_picture(exif=exif), now=NOON)
    notice = factories.make_notice(walkthrough=walkthrough)
    # a thousandth of a degree of longitude at 40 N is 85.2 m
    assert "2026-06-02 08:15, 279 ft from the house" in client_of(office).get(f"/jobs/{job.pk}/").content.decode()
    for path in (f"/crew/walkthrough/{job.pk}/", f"/crew/notices/{notice.pk}/en/"):
        page = client.get(path).content.decode()
        assert "08:15" not in page
        assert "ft from the house" not in page


def test_how_the_message_fares_is_shown(client_of: Any, office: Any, job: Any) -> None:
    """A notice that was sent by email says whether it is waiting, sent or failed, with a link to it."""
    notice_send(notice=factories.make_notice(job=job), sent_how="email", now=NOON)
    page = client_of(office).get(f"/jobs/{job.pk}/").content.decode()
    assert f'<a href="/messages/{Message.objects.get().pk}/">waiting</a>' in page


def test_the_worker_has_the_crews_scope(client: Any) -> None:
    """A script, from an address whose scope is the crew's pages."""
    answer = client.get("/crew/worker.js")
    assert (answer["Content-Type"], answer["Service-Worker-Allowed"]) == ("text/javascript", "/crew/")
    assert b"fetch" in answer.content


def test_in_spanish(client: Any, job: Any) -> None:
    """The crew's page and the gate speak the phone's language."""
    page = client.get(f"/crew/walkthrough/{job.pk}/", headers={"Accept-Language": "es"}).content.decode()
    for words in (
        "Revisión",
        "Primero dé la vuelta",
        "enchufe sin tapa",
        "Listo: anotarlo",
        "pared norte",
        "Arriba",
        "no se puede",
    ):
        assert words in page, words
    # What the homeowner may choose to read in English is there in English too.
    page = re.sub(r'<script id="sentences".*?</script>|<form class="form" lang="en".*?</form>', "", page, flags=re.S)
    for words in ("Walkthrough", "High", "Picture", "Not tested"):
        assert words not in page, words
