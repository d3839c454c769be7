"""Access and soil of a job: what its minutes are forecast by."""

import pytest
from django.core.exceptions import ValidationError

from jobs.work.services import job_conditions_set
from pricing.catalogue.domain import Access, Soil
from pricing.minutes.models import JobConditions
from pricing.minutes.selectors import conditions_of
from shared.errors import Conflict
from shared.events.models import Event
from tests import factories

pytestmark = pytest.mark.django_db


def test_both_are_kept_with_their_history(office):
    """Said, and said otherwise; the agreed minutes stay."""
    job = factories.make_job()
    agreed = [line.estimated_minutes for line in job.lines.all()]
    job_conditions_set(job=job, access="tight", soil="usual", actor=office)
    job_conditions_set(job=job, access="tight", soil="heavy", actor=office)
    assert conditions_of(job_refs=[job.pk]) == {job.pk: (Access.TIGHT, Soil.HEAVY)}
    assert [line.estimated_minutes for line in job.lines.all()] == agreed
    first, second = Event.objects.filter(kind="job.conditions_set").order_by("pk")
    assert (first.data["from"], second.data["from"], second.actor) == (None, ["tight", "usual"], office)


def test_a_closed_job_and_an_unknown_level_are_refused():
    """Nothing is stored, and nothing goes into the history."""
    with pytest.raises(Conflict):
        job_conditions_set(job=factories.make_job(state="done"), access="easy", soil="light")
    with pytest.raises(ValidationError):
        job_conditions_set(job=factories.make_job(), access="narrow", soil="light")
    assert not JobConditions.objects.exists()
    assert not Event.objects.filter(kind="job.conditions_set").exists()


def test_on_the_page(client_of, office):
    """Usual until somebody says otherwise; a level that does not exist shows the page again."""
    client, job = client_of(office), factories.make_job()
    assert "usual access, usual soil" in client.get(f"/jobs/{job.pk}/").content.decode()
    sent = {"conditions-access": "tight", "conditions-soil": "heavy"}
    answer = client.post(f"/jobs/{job.pk}/conditions/", sent, follow=True)
    assert "tight access, heavy soil" in answer.content.decode()
    assert "access or soil changed" in answer.content.decode()
    wrong = client.post(f"/jobs/{job.pk}/conditions/", sent | {"conditions-soil": "mud"})
    assert wrong.status_code == 422
    assert conditions_of(job_refs=[job.pk]) == {job.pk: (Access.TIGHT, Soil.HEAVY)}


def test_for_programs(client_of, office, crew_lead):
    """Read, set, refused; a crew lead is not asked."""
    client, address = client_of(office), f"/api/jobs/{factories.make_job().pk}/conditions/"
    assert client.get(address).json() == {"access": "usual", "soil": "usual"}
    body = {"access": "easy", "soil": "light"}
    assert client.put(address, body, content_type="application/json").json() == body
    assert client.get(address).json() == body
    assert client.put(address, {"access": "easy"}, content_type="application/json").status_code == 400
    assert client_of(crew_lead).get(address).status_code == 403
    closed = factories.make_job(state="done")
    address = f"/api/jobs/{closed.pk}/conditions/"
    assert client.put(address, body, content_type="application/json").status_code == 409
