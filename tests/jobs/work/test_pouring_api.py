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
