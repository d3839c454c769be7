"""Notices and their answers for programs: the same guards as on the pages."""

import uuid
from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine

from jobs.walkthroughs.models import Acknowledgement, NobodyHome, Notice, StartOverride
from jobs.walkthroughs.services import photo_add
from pricing.catalogue.services import catalogue_defaults
from routing.dispatch.services import plan_send_out
from tests import factories

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 2, 16, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def noon() -> Any:
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def job(crew_lead: Any) -> Any:
    """On crew A's route of today, with a walkthrough that found chalk and a picture."""
    found = factories.make_job()
    factories.make_wall(property=found.property, name="north wall", area_sqft=500)
    plan = factories.make_planned_day((factories.make_crew(lead=crew_lead), [found]))
    plan_send_out(plan=plan, expected_version=1)
    walkthrough = factories.make_walkthrough(job=found)
    photo_add(walkthrough=walkthrough, key=uuid.uuid4(), data=factories.make_picture(), now=NOON)
    return found


@pytest.fixture
def client(client_of: Any, crew_lead: Any) -> Any:
    return client_of(crew_lead)


def post(client: Any, path: str, body: dict[str, Any] | None = None) -> Any:
    return client.post(path, body or {}, content_type="application/json")


def test_from_walkthrough_to_acknowledgement(client: Any, job: Any) -> None:
    """Seen, made, shown, acknowledged once; the gate says where it stands at each step."""
    path = f"/api/jobs/{job.pk}/walkthroughs/"
    before = client.get(path).json()
    assert (before["gate"]["state"], before["gate"]["may_start"]) == ("unshown", False)
    found = before["walkthroughs"][0]
    assert (found["walls"][0]["name"], found["walls"][0]["reading"]) == ("north wall", "3.0")
    assert not {"latitude", "longitude", "taken_at", "file"} & found["photos"][0].keys()
    made = post(client, f"/api/jobs/{job.pk}/notice/").json()
    assert post(client, f"/api/jobs/{job.pk}/notice/").json() == made
    assert {row["language"] for row in made["prints"]} == {"en", "es"}
    address = f"/api/notices/{made['id']}/"
    answer = post(client, f"{address}acknowledgement/", {"language": "es", "typed_name": " Ana  Sample "})
    assert (answer.status_code, answer.json()["typed_name"], answer.json()["by_link"]) == (200, "Ana Sample", False)
    again = post(client, f"{address}acknowledgement/", {"language": "en", "typed_name": "Bob"})
    assert (again.status_code, again.json()["type"]) == (409, "/problems/notice_closed")
    assert client.get(address).json()["acknowledgement"] == answer.json()
    assert client.get(path).json()["gate"]["state"] == "acknowledged"


def test_nobody_home(client: Any, job: Any) -> None:
    """By email with its message, each way once."""
    address = f"/api/notices/{factories.make_notice(job=job).pk}/nobody-home/"
    first = post(client, address, {"sent_how": "email"})
    assert (first.status_code, first.json()["message"] is not None) == (200, True)
    assert post(client, address, {"sent_how": "email"}).json() == first.json()
    assert post(client, address, {"sent_how": "pigeon"}).status_code == 400
    assert NobodyHome.objects.count() == 1


def test_the_owner_lets_it_start(client: Any, client_of: Any, owner: Any, office: Any, job: Any) -> None:
    """With a reason, which the gate then says; nobody else."""
    path = f"/api/jobs/{job.pk}/start-override/"
    for other in (client, client_of(office)):
        assert post(other, path, {"reason": "in a hurry"}).status_code == 403
    assert post(client_of(owner), path, {"reason": " "}).status_code == 400
    assert not StartOverride.objects.exists()
    gate = post(client_of(owner), path, {"reason": "he is abroad"}).json()
    assert (gate["state"], gate["reason"], gate["may_start"]) == ("overridden", "he is abroad", True)


def test_the_office_opens_the_removal(client: Any, client_of: Any, office: Any, job: Any) -> None:
    """Once; without a price on the card it is refused in words."""
    path = f"/api/walkthroughs/{job.walkthroughs.get().key}/removal/"
    assert post(client, path).status_code == 403
    refused = post(client_of(office), path)
    assert (refused.status_code, "No price" in refused.json()["detail"]) == (422, True)
    catalogue_defaults(on=factories.MOMENT.date())
    opened = post(client_of(office), path)
    assert (opened.status_code, post(client_of(office), path).json()) == (200, opened.json())


def test_another_crew_sees_and_changes_nothing(client_of: Any, job: Any) -> None:
    """Each operation answers that this stop is not on the route."""
    notice = factories.make_notice(job=job)
    stranger = client_of(factories.make_user(role="crew_lead"))
    assert stranger.get(f"/api/jobs/{job.pk}/walkthroughs/").status_code == 404
    assert stranger.get(f"/api/notices/{notice.pk}/").status_code == 404
    for path, body in (
        (f"/api/jobs/{job.pk}/notice/", {}),
        (f"/api/notices/{notice.pk}/acknowledgement/", {"language": "en", "typed_name": "Mallory"}),
        (f"/api/notices/{notice.pk}/nobody-home/", {"sent_how": "paper"}),
    ):
        assert post(stranger, path, body).status_code == 404, path
    assert (Notice.objects.count(), Acknowledgement.objects.count(), NobodyHome.objects.count()) == (1, 0, 0)
