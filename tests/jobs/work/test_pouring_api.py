"""What was poured, from a program or a phone's queue: own routes only, each once, never what must not meet."""

from datetime import timedelta
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest

from jobs.work.models import Poured, StepMark
from shared import clock
from shared.company.selectors import company_get
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def job() -> Any:
    job = factories.make_job()
    factories.make_wall(property=job.property)
    return job


def test_poured_rinsed_poured(client_of: Any, office: Any, job: Any) -> None:
    client, wall = client_of(office), job.property.walls.get()
    bleach, acid = (factories.make_product(chemistry=what) for what in ("hypochlorite", "acid"))
    body = {"key": str(uuid4()), "product": bleach.pk, "wall": wall.pk, "basis_points": 100, "basis": "trade"}
    for _time in range(2):
        assert client.post(f"/api/jobs/{job.pk}/pour/", body, "application/json").status_code == 200
    refused = client.post(f"/api/jobs/{job.pk}/pour/", {"product": acid.pk, "wall": wall.pk}, "application/json")
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/must_not_meet")
    assert refused.json()["detail"].startswith("STOP. Hypochlorite was poured here and no rinse is recorded")
    assert client.post(f"/api/jobs/{job.pk}/rinse/", {"wall": wall.pk}, "application/json").status_code == 200
    assert client.post(f"/api/jobs/{job.pk}/pour/", {"product": acid.pk}, "application/json").status_code == 200
    listed = client.get(f"/api/jobs/{job.pk}/poured/").json()
    assert [row["chemistry"] for row in listed] == ["acid", "", "hypochlorite"]


def at(minutes_ago: int) -> str:
    return (clock.now() - timedelta(minutes=minutes_ago)).isoformat()


def test_what_came_late_is_kept_with_a_warning(client_of: Any, office: Any, job: Any) -> None:
    """Acid ten minutes ago was allowed; then hypochlorite of an hour ago comes up. Until the rinse nothing more."""
    client, wall = client_of(office), job.property.walls.get()
    bleach, acid, soap = (factories.make_product(chemistry=what) for what in ("hypochlorite", "acid", "surfactant"))

    def send(kind: str, **body: Any) -> Any:
        return client.post(f"/api/jobs/{job.pk}/{kind}/", {"wall": wall.pk, **body}, "application/json")

    assert send("pour", product=acid.pk, at=at(10)).json()["warnings"] == []
    late = send("pour", product=bleach.pk, at=at(60))
    assert late.status_code == 200
    assert late.json()["warnings"][0].startswith(f"STOP, {wall.name}: by the record hypochlorite (")
    notes = client.get(f"/api/jobs/{job.pk}/met/").json()
    assert [(note["is_stop"], note["walls"], len(note["entries"])) for note in notes["met"]] == [(True, [wall.pk], 2)]
    assert notes["unrinsed"] == []
    assert send("pour", product=soap.pk).json()["type"] == "/problems/must_not_meet"
    kept = send("pour", product=soap.pk, happened=True)
    assert (kept.status_code, kept.json()["warnings"]) == (200, late.json()["warnings"])
    assert send("rinse").json()["warnings"] == []
    assert send("pour", product=soap.pk).status_code == 200
    assert [note["is_stop"] for note in client.get(f"/api/jobs/{job.pk}/met/").json()["met"]] == [False]


def test_a_rinse_that_somebody_answers_for(client_of: Any, office: Any, job: Any) -> None:
    client = client_of(office)
    body = {"at": "2026-01-05T15:00:00Z", "reason": "I was there and rinsed it"}
    written = client.post(f"/api/jobs/{job.pk}/rinse-confirm/", body, "application/json").json()
    assert (written["reason"], written["chemistry"]) == ("I was there and rinsed it", "")
    assert Poured.objects.get().recorded_by == office


def test_another_crews_house(client_of: Any, crew_lead: Any, job: Any) -> None:
    client = client_of(crew_lead)
    body = {"at": at(5), "reason": "I rinsed it"}
    assert client.get(f"/api/jobs/{job.pk}/met/").status_code == 404
    assert client.post(f"/api/jobs/{job.pk}/rinse-confirm/", body, "application/json").status_code == 404


def test_pages_of_the_office(client_of: Any, office: Any, job: Any) -> None:
    """Job, wall and house say what met; the job's page takes the word of who rinsed."""
    client, wall = client_of(office), job.property.walls.get()
    for what, ago in (("acid", 30), ("hypochlorite", 60)):
        body = {"product": factories.make_product(chemistry=what).pk, "at": at(ago), "wall": wall.pk}
        client.post(f"/api/jobs/{job.pk}/pour/", body, "application/json")
    pages = (f"/jobs/{job.pk}/", f"/walls/{wall.pk}/", f"/properties/{job.property_id}/")
    for page in pages:
        assert f"STOP, {wall.name}: by the record hypochlorite" in client.get(page).content.decode(), page
    assert "the record shows that two products met" in client.get(pages[0]).content.decode()
    assert "I answer for it" in client.get(pages[0]).content.decode()
    here = clock.now().astimezone(ZoneInfo(company_get().timezone)) - timedelta(minutes=1)
    body = {"wall": wall.pk, "day": here.date().isoformat(), "clock": here.strftime("%H:%M"), "reason": ""}
    refused = client.post(f"/jobs/{job.pk}/rinse-confirm/", body)
    assert (refused.status_code, "How you know" in refused.content.decode()) == (422, True)
    assert client.post(f"/jobs/{job.pk}/rinse-confirm/", body | {"wall": 10**6, "reason": "seen"}).status_code == 404
    client.post(f"/jobs/{job.pk}/rinse-confirm/", body | {"reason": "the lead told me"})
    for page in pages:
        shown = client.get(page).content.decode()
        assert "STOP" not in shown, page
        assert f"{wall.name.capitalize()}: by the record hypochlorite" in shown, page
        assert "met with no rinse between; rinsed" in shown, page
    assert "I answer for it" not in client.get(pages[0]).content.decode()
    assert "rinsed, confirmed afterwards: the lead told me" in client.get(pages[1]).content.decode()


def test_a_step(client_of: Any, office: Any, job: Any) -> None:
    line = job.lines.get()
    at = clock.now() - timedelta(hours=1)
    body = {"key": str(uuid4()), "line": line.pk, "step": "rinse", "at": at.isoformat()}
    client = client_of(office)
    for _time in range(2):
        assert client.post(f"/api/jobs/{job.pk}/steps/", body, "application/json").status_code == 200
    assert StepMark.objects.get().at == at
    other = factories.make_job().lines.get()
    assert client.post(f"/api/jobs/{job.pk}/steps/", body | {"line": other.pk}, "application/json").status_code == 404


def test_another_crews_job(client_of: Any, crew_lead: Any, job: Any) -> None:
    answer = client_of(crew_lead).post(f"/api/jobs/{job.pk}/rinse/", {}, "application/json")
    assert answer.status_code == 404
    assert not Poured.objects.exists()


@pytest.mark.parametrize(
    ("kind", "over", "status"),
    [("pour", {"basis_points": value, "basis": "trade"}, 400) for value in (-1, 0, 20_000, "NaN", 1.5, 10**30)]
    + [("pour", {"basis_points": 100}, 422), ("pour", {"basis": "trade"}, 422), ("pour", {"basis": "volts"}, 400)]
    + [("pour", {"product": value}, 400) for value in (0, -1, 10**30, None, "x")]
    + [("rinse", {"wall": value}, 400) for value in (0, -1, 10**30, "x")]
    + [("rinse", {"at": value}, 400) for value in ("yesterday", 5)]
    + [("rinse", {"at": "2999-01-01T00:00:00Z"}, 422), ("rinse", {"at": "2020-01-01T00:00:00Z"}, 422)]
    + [("rinse-confirm", {"reason": value}, 400) for value in ("", "ok", "x" * 201, None)]
    + [("rinse-confirm", {"at": value}, 400) for value in (None, "then")]
    + [("rinse-confirm", {"at": "2999-01-01T00:00:00Z"}, 422), ("rinse-confirm", {"wall": 999_999}, 404)]
    + [("pour", {"happened": "perhaps"}, 400)]
    + [("rinse", {"key": "x"}, 400), ("rinse", {"wall": 999_999}, 404)]
    + [("steps", {"step": value}, 400) for value in ("", "x" * 31, "a b")]
    + [("steps", {"line": value}, 400) for value in (0, -1, 10**30)],
)
def test_no_entry_with(client_of: Any, office: Any, job: Any, kind: str, over: dict[str, Any], status: int) -> None:
    """Refused as a problem, and nothing is written down."""
    body = {
        "pour": {"product": factories.make_product().pk},
        "rinse": {},
        "rinse-confirm": {"at": at(5), "reason": "I rinsed it"},
        "steps": {"line": job.lines.get().pk, "step": "rinse"},
    }[kind]
    answer = client_of(office).post(f"/api/jobs/{job.pk}/{kind}/", body | over, "application/json")
    assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")
    assert (Poured.objects.count(), StepMark.objects.count()) == (0, 0)
