"""What was poured, from a program or a phone's queue: own routes only, each once, never what must not meet."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest

from jobs.work.models import Poured, StepMark
from shared import clock
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
    + [("rinse", {"key": "x"}, 400), ("rinse", {"wall": 999_999}, 404)]
    + [("steps", {"step": value}, 400) for value in ("", "x" * 31, "a b")]
    + [("steps", {"line": value}, 400) for value in (0, -1, 10**30)],
)
def test_no_entry_with(client_of: Any, office: Any, job: Any, kind: str, over: dict[str, Any], status: int) -> None:
    """Refused as a problem, and nothing is written down."""
    body = {
        "pour": {"product": factories.make_product().pk},
        "rinse": {},
        "steps": {"line": job.lines.get().pk, "step": "rinse"},
    }[kind]
    answer = client_of(office).post(f"/api/jobs/{job.pk}/{kind}/", body | over, "application/json")
    assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")
    assert (Poured.objects.count(), StepMark.objects.count()) == (0, 0)
