"""Agreeing other prices on an open job, and taking down free return visits."""

from datetime import date
from typing import Any

import pytest

from jobs.work.choices import JobState
from jobs.work.domain.states import CLOSED
from jobs.work.errors import JobStale, ReasonMissing
from jobs.work.models import Job, JobLine
from jobs.work.services import LineTerms, job_terms_set, return_visit_create, visit_record
from pricing.earnings.models import EarningEntry
from shared.api_kit.etags import etag_of
from shared.errors import Conflict, Refused
from shared.events.selectors import event_list
from tests import factories

pytestmark = pytest.mark.django_db


def text_of(response: Any) -> str:
    return str(response.content.decode())


def test_a_new_price_keeps_what_the_card_asked(office: Any) -> None:
    """Price, minutes and discount change, the card's price stays; the history has both totals."""
    job = factories.make_job(lines=[{"card_price_cents": 41_000}, {"price_cents": 10_000}], discount_cents=500)
    first, second = job.lines.all()
    terms = [LineTerms(first.pk, 45_000, 150)]
    job_terms_set(job=job, lines=terms, discount_cents=1_000, reason="price to place", actor=office)
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.price_cents, first.estimated_minutes, first.card_price_cents) == (45_000, 150, 41_000)
    assert (second.price_cents, Job.objects.get().discount_cents, Job.objects.get().version) == (10_000, 1_000, 2)
    event = event_list(subject=job).get()
    assert (event.kind, event.reason, event.data) == (
        "job.terms_set", "price to place", {"before_cents": 49_500, "after_cents": 54_000},
    )  # fmt: skip


@pytest.mark.parametrize("state", sorted(CLOSED))
def test_closed_jobs_keep_their_prices(state: str) -> None:
    """What was billed or refused is not priced anew."""
    job = factories.make_job(state=state)
    with pytest.raises(Conflict, match="closed"):
        job_terms_set(job=job, lines=[], discount_cents=0)


@pytest.mark.parametrize(
    ("price", "minutes", "discount", "words"),
    [(-1, 10, 0, "less than nothing"), (10, -1, 0, "less than nothing"), (100, 10, 101, "discount")],
)
def test_unsound_terms_are_refused(price: int, minutes: int, discount: int, words: str) -> None:
    """Nothing of them is stored."""
    job = factories.make_job()
    with pytest.raises(Refused, match=words):
        job_terms_set(job=job, lines=[LineTerms(job.lines.get().pk, price, minutes)], discount_cents=discount)
    assert (JobLine.objects.get().price_cents, Job.objects.get().version) == (40_000, 1)


def test_lines_of_other_jobs_and_old_versions_are_refused() -> None:
    """A line that is not on the job, and a page that is behind."""
    job, other = factories.make_job(), factories.make_job()
    with pytest.raises(Refused, match="not on this job"):
        job_terms_set(job=job, lines=[LineTerms(other.lines.get().pk, 1, 1)], discount_cents=0)
    with pytest.raises(JobStale):
        job_terms_set(job=job, lines=[], discount_cents=0, expected_version=7)


def test_a_return_visit_has_no_price() -> None:
    """Nor can it get one later."""
    job = factories.make_job(callback_of=factories.make_job(state="done"), lines=[{"price_cents": 0}])
    with pytest.raises(Refused, match="no price"):
        job_terms_set(job=job, lines=[LineTerms(job.lines.get().pk, 1, 10)], discount_cents=0)


def test_a_return_visit_from_the_first_job(office: Any) -> None:
    """Its services and walls at no price, the minutes split by the estimates; booked, it eats the first job's hours."""
    place = factories.make_property()
    wall = factories.make_wall(property=place)
    lines = [{"estimated_minutes": 90, "walls": [wall]}, {"estimated_minutes": 30, "price_cents": 9_000}]
    first = factories.make_job(property=place, lines=lines)
    visit_record(job=first, work_date=date(2026, 6, 2), on_site_minutes=120)
    again = return_visit_create(
        job=first, on_site_minutes=40, reason="streaks", created_at=factories.MOMENT, actor=office
    )
    assert [(line.price_cents, line.estimated_minutes) for line in again.lines.all()] == [(0, 30), (0, 10)]
    assert (again.callback_of, again.state, again.note) == (first, "agreed", "streaks")
    assert again.lines.all()[0].walls.get() == wall
    visit_record(job=again, work_date=date(2026, 6, 9), on_site_minutes=40)
    entries = EarningEntry.objects.filter(job_ref=first.pk, kind="callback")
    assert (sum(entry.on_site_minutes for entry in entries), sum(entry.price_cents for entry in entries)) == (40, 0)


@pytest.mark.parametrize("state", sorted(set(JobState.values) - {"done"}))
def test_only_done_work_is_made_good(state: str) -> None:
    """There is nothing to make good before."""
    job = factories.make_job(state=state)
    with pytest.raises(Conflict, match="was done"):
        return_visit_create(job=job, on_site_minutes=30, reason="streaks", created_at=factories.MOMENT)


def test_a_return_visit_needs_a_reason_and_minutes() -> None:
    """The crew has to know what to make good."""
    job = factories.make_job(state="done")
    with pytest.raises(ReasonMissing):
        return_visit_create(job=job, on_site_minutes=30, reason=" ", created_at=factories.MOMENT)
    with pytest.raises(Refused, match="how many minutes"):
        return_visit_create(job=job, on_site_minutes=0, reason="streaks", created_at=factories.MOMENT)


# --- pages and API ---


def test_terms_on_the_page(client_of: Any, office: Any) -> None:
    """One form with every line; a price below nothing comes back."""
    client, job = client_of(office), factories.make_job()
    line = job.lines.get().pk
    body = {
        "version": 1, "terms-discount_cents": "10", "terms-reason": "neighbour", "agreed-TOTAL_FORMS": 1,
        "agreed-INITIAL_FORMS": 1, "agreed-0-line_id": line, "agreed-0-price_cents": "480.50",
        "agreed-0-estimated_minutes": 130,
    }  # fmt: skip
    page = text_of(client.post(f"/jobs/{job.pk}/terms/", body, follow=True))
    assert "$470.50" in page
    assert "prices or minutes changed, office: neighbour" in page
    wrong = client.post(f"/jobs/{job.pk}/terms/", {**body, "version": 2, "agreed-0-price_cents": "-1"})
    assert wrong.status_code == 422
    assert JobLine.objects.get().price_cents == 48_050


def test_a_return_visit_on_the_page(client_of: Any, office: Any, crew_lead: Any) -> None:
    """For the office only; the answer is the new job's page."""
    job = factories.make_job(state="done")
    address, body = f"/jobs/{job.pk}/return-visit/", {"again-on_site_minutes": 30, "again-reason": "streaks"}
    assert client_of(crew_lead).post(address, body).status_code == 403
    page = text_of(client_of(office).post(address, body, follow=True))
    assert "free return visit for" in page
    assert client_of(office).post(address, {"again-reason": "x"}).status_code == 422
    assert Job.objects.count() == 2


def test_terms_by_api(client_of: Any, office: Any) -> None:
    """Under If-Match; a line of another job is 422."""
    client, job, other = client_of(office), factories.make_job(), factories.make_job()

    def put(line: int) -> Any:
        lines = [{"line": line, "price_cents": 50_000, "estimated_minutes": 100}]
        body = {"lines": lines, "discount_cents": 0}
        headers = {"If-Match": etag_of(Job.objects.get(pk=job.pk))}
        return client.put(f"/api/jobs/{job.pk}/terms/", body, content_type="application/json", headers=headers)

    assert put(job.lines.get().pk).json()["price_cents"] == 50_000
    assert put(other.lines.get().pk).status_code == 422
