"""Jobs for programs: pages of the list, new jobs, steps under If-Match."""

from datetime import date
from typing import Any

import pytest
import time_machine

from jobs.work.models import Job
from shared.api_kit.etags import etag_of
from tests import factories

pytestmark = pytest.mark.django_db
DAY = date(2026, 6, 2)


@pytest.fixture(autouse=True)
def today() -> Any:
    with time_machine.travel("2026-06-02T16:00:00Z", tick=False):
        yield


@pytest.fixture
def client(client_of: Any, office: Any) -> Any:
    return client_of(office)


def post(client: Any, path: str, body: Any, job: Job | None = None, method: str = "post") -> Any:
    headers = {"If-Match": etag_of(job)} if job else {}
    return getattr(client, method)(path, body, content_type="application/json", headers=headers)


def test_closed_to_crew_leads_and_strangers(client_of: Any, crew_lead: Any) -> None:
    """403 for the wrong role, as problem details."""
    job = factories.make_job(state="lead")
    for path in ("/api/jobs/", f"/api/jobs/{job.pk}/"):
        assert client_of(crew_lead).get(path).status_code == 403
    assert post(client_of(crew_lead), f"/api/jobs/{job.pk}/agree/", {}, job).status_code == 403


def test_the_list_is_ordered_and_bounded(client: Any, assert_query_count: Any) -> None:
    """Newest first, so many a page, in a few queries; filters as on the page."""
    jobs = [factories.make_job(state=state) for state in ("done", "agreed", "agreed")]
    with assert_query_count("api jobs"):
        body = client.get("/api/jobs/?page_size=2").json()
    assert body["count"] == 3
    assert [job["id"] for job in body["results"]] == [jobs[2].pk, jobs[1].pk]
    assert [job["id"] for job in client.get("/api/jobs/?state=done").json()["results"]] == [jobs[0].pk]
    assert client.get("/api/jobs/?state=sold").status_code == 400


def test_one_job_carries_its_etag(client: Any) -> None:
    """All that a program needs to change it."""
    job = factories.make_job(windows=[{"first_date": DAY, "last_date": DAY}], discount_cents=500)
    response = client.get(f"/api/jobs/{job.pk}/")
    body = response.json()
    assert response["ETag"] == f'"{job.pk}-1"'
    assert (body["state"], body["price_cents"], body["discount_cents"]) == ("agreed", 39_500, 500)
    assert body["windows"] == [
        {
            "first_date": "2026-06-02",
            "last_date": "2026-06-02",
            "start_minute": 0,
            "end_minute": 1439,
            "promised": False,
        }
    ]
    assert client.get("/api/jobs/999/").json()["type"].endswith("not_found")


def test_a_new_job(client: Any) -> None:
    """Created with 201; a service off the card needs minutes and price."""
    place, service = factories.make_property(), factories.make_service(code="awning", unit="each")
    line = {"service": "awning", "quantity": 2, "estimated_minutes": 40, "price_cents": 8_000}
    body = {"property": place.pk, "lines": [line], "windows": [{"first_date": "2026-06-05", "last_date": "2026-06-06"}]}
    response = post(client, "/api/jobs/", body)
    assert response.status_code == 201
    job = Job.objects.get()
    assert (response.json()["id"], job.state, job.lines.get().service) == (job.pk, "lead", service)
    bare = post(client, "/api/jobs/", {"property": place.pk, "lines": [{"service": "awning"}]})
    assert (bare.status_code, "rate card" in bare.json()["detail"]) == (422, True)


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"lines": []}, 422),
        ({"property": 999}, 400),
        ({"state": "done"}, 422),
        ({"state": "sold"}, 400),
        ({"discount_cents": 9_000_000}, 422),
        ({"windows": [{"first_date": "2026-06-05", "last_date": "2026-06-04"}]}, 400),
        ({"windows": [{"first_date": "2026-06-05", "last_date": "2026-06-06", "promised": True}]}, 400),
        ({"callback_of": 999}, 400),
    ],
)
def test_unsound_jobs_are_problems(client: Any, change: dict[str, Any], status: int) -> None:
    """Each with its status, and nothing stored."""
    factories.make_service(code="awning", unit="each")
    line = {"service": "awning", "estimated_minutes": 40, "price_cents": 8_000}
    body = {"property": factories.make_property().pk, "lines": [line], **change}
    response = post(client, "/api/jobs/", body)
    assert (response.status_code, response["Content-Type"]) == (status, "application/problem+json")
    assert not Job.objects.exists()


@pytest.mark.parametrize(
    ("state", "step", "becomes"),
    [
        ("lead", "estimate", "estimated"),
        ("estimated", "agree", "agreed"),
        ("planned", "agree-again", "agreed"),
        ("lead", "decline", "declined"),
        ("agreed", "call-off", "called_off"),
    ],
)
def test_steps(client: Any, state: str, step: str, becomes: str) -> None:
    """Each step answers with the job as it is now, under its new ETag."""
    job = factories.make_job(state=state)
    response = post(client, f"/api/jobs/{job.pk}/{step}/", {"reason": "said so"}, job)
    assert (response.status_code, response.json()["state"]) == (200, becomes)
    assert response["ETag"] == f'"{job.pk}-2"'


def test_steps_name_the_version_they_saw(client: Any) -> None:
    """428 without If-Match, 412 with an old one, 409 where the state does not allow it, 422 without a reason."""
    job = factories.make_job()
    address = f"/api/jobs/{job.pk}/call-off/"
    assert post(client, address, {"reason": "x"}).status_code == 428
    old = Job(pk=job.pk, version=9)
    assert post(client, address, {"reason": "x"}, old).status_code == 412
    assert post(client, address, {}, job).status_code == 422
    refused = post(client, f"/api/jobs/{job.pk}/agree/", {}, job)
    assert (refused.status_code, refused.json()["state"]) == (409, "agreed")
    assert Job.objects.get().version == 1


def test_days_are_set_as_a_whole(client: Any) -> None:
    """What the body does not name is gone."""
    job = factories.make_job(windows=[{"first_date": DAY, "last_date": DAY}])
    window = {"first_date": "2026-06-09", "last_date": "2026-06-09", "promised": True, "end_minute": 600}
    response = post(client, f"/api/jobs/{job.pk}/days/", {"windows": [window]}, job, "put")
    assert response.status_code == 200
    assert [(w.first_date, w.end_minute, w.promised) for w in job.windows.all()] == [(date(2026, 6, 9), 600, True)]
